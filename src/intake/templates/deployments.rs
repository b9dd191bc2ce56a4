//! Deployments: one row per stove unit in one household.

use super::shared;
use crate::intake::kinds::BatchKind;
use crate::intake::rejection::{Fault, code};
use crate::intake::template::{Column, RowRule, SoundCells, Template, ValueRule};

pub(in crate::intake) const SERIAL: usize = 0;
pub(in crate::intake) const MODEL_CODE: usize = 1;
pub(in crate::intake) const MODEL_VERSION: usize = 2;
pub(in crate::intake) const HOUSEHOLD_CODE: usize = 3;
pub(in crate::intake) const INSTALLED_ON: usize = 4;
pub(in crate::intake) const ENDED_ON: usize = 5;
pub(in crate::intake) const END_REASON: usize = 6;
pub(in crate::intake) const SECOND_STOVE: usize = 7;

pub(in crate::intake) static TEMPLATE: Template = Template {
    kind: BatchKind::Deployments,
    title: "Deployments",
    columns: &[
        shared::SERIAL,
        Column {
            name: "model_code",
            value: shared::CODE,
            required: true,
            unit: None,
            description: "Code of the stove model",
            example: "G1",
        },
        Column {
            name: "model_version",
            value: ValueRule::Integer { min: 1, max: 9_999 },
            required: true,
            unit: None,
            description: "Version of the stove model's design",
            example: "1",
        },
        shared::HOUSEHOLD_CODE,
        shared::INSTALLED_ON,
        Column {
            name: "ended_on",
            value: ValueRule::Date,
            required: false,
            unit: None,
            description: "First day without the stove; empty while it is in the household",
            example: "",
        },
        Column {
            name: "end_reason",
            value: ValueRule::OneOf(shared::END_REASONS),
            required: false,
            unit: None,
            description: "Why the deployment ended",
            example: "",
        },
        Column {
            name: "second_stove",
            value: ValueRule::YesNo,
            required: false,
            unit: None,
            description: "Whether the stove stands beside another one of the programme; empty = no",
            example: "no",
        },
    ],
    rules: &[
        RowRule {
            says: "ended_on and end_reason are given together or not at all",
            check: end_is_complete,
        },
        RowRule {
            says: "ended_on is after installed_on",
            check: |cells| shared::end_after_start(cells, INSTALLED_ON, ENDED_ON),
        },
    ],
};

fn end_is_complete(cells: &SoundCells<'_>) -> Option<(&'static str, Fault)> {
    match (cells.is_given(ENDED_ON)?, cells.is_given(END_REASON)?) {
        (true, false) => Some((
            "end_reason",
            Fault::new(
                code::END_INCOMPLETE,
                "ended_on is given without the reason of the end",
            ),
        )),
        (false, true) => Some((
            "ended_on",
            Fault::new(
                code::END_INCOMPLETE,
                "end_reason is given without the day of the end",
            ),
        )),
        _ => None,
    }
}
