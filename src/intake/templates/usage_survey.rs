//! Usage surveys: one row per sampled stove that was looked for.

use super::shared;
use crate::intake::kinds::BatchKind;
use crate::intake::template::{Column, Template, ValueRule};
use rust_decimal::Decimal;

pub(in crate::intake) const HOUSEHOLD_CODE: usize = 0;
pub(in crate::intake) const SERIAL: usize = 1;
pub(in crate::intake) const SURVEYED_ON: usize = 2;
pub(in crate::intake) const OUTCOME: usize = 3;
pub(in crate::intake) const DAYS_USED_LAST_WEEK: usize = 4;
pub(in crate::intake) const SHARE_OF_MEALS: usize = 5;

pub(in crate::intake) static TEMPLATE: Template = Template {
    kind: BatchKind::UsageSurvey,
    title: "Usage survey",
    columns: &[
        shared::HOUSEHOLD_CODE,
        shared::SERIAL,
        shared::day("surveyed_on", "Day of the visit", "2025-06-10"),
        Column {
            name: "outcome",
            value: ValueRule::OneOf(&["in_use", "not_in_use", "not_found", "refused"]),
            required: true,
            unit: None,
            description: "What the enumerator found",
            example: "in_use",
        },
        Column {
            name: "days_used_last_week",
            value: ValueRule::Integer { min: 0, max: 7 },
            required: false,
            unit: Some("days"),
            description: "Days of the last seven on which the stove was used",
            example: "6",
        },
        Column {
            name: "share_of_meals",
            value: ValueRule::Decimal {
                min: Decimal::ZERO,
                max: Decimal::ONE,
                scale_max: 6,
            },
            required: false,
            unit: Some(shared::FRACTION),
            description: "Share of the meals that were cooked on the stove, from 0 to 1",
            example: "0.75",
        },
        shared::ENUMERATOR,
        shared::STARTED_AT,
        shared::ENDED_AT,
    ],
    rules: &[shared::VISIT_IN_ORDER],
};
