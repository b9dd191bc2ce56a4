//! Baseline surveys: one row per household, day, device and fuel before the programme.

use super::shared::{self, FUEL_MOISTURE};
use crate::intake::kinds::BatchKind;
use crate::intake::template::{Column, Template};

pub(in crate::intake) const HOUSEHOLD_CODE: usize = 0;
pub(in crate::intake) const SURVEYED_ON: usize = 1;
pub(in crate::intake) const DEVICE: usize = 2;
pub(in crate::intake) const FUEL: usize = 3;
pub(in crate::intake) const FUEL_PER_DAY: usize = 4;
pub(in crate::intake) const MOISTURE: usize = 5;
/// Children, women, men, men over 59 stand here and in the next three columns.
pub(in crate::intake) const PEOPLE: usize = 6;

pub(in crate::intake) static TEMPLATE: Template = Template {
    kind: BatchKind::BaselineSurvey,
    title: "Baseline survey",
    columns: &[
        shared::HOUSEHOLD_CODE,
        shared::day("surveyed_on", "Day of the visit", "2022-09-14"),
        Column {
            example: "three_stone_fire",
            ..shared::DEVICE
        },
        Column {
            example: "wood",
            ..shared::FUEL
        },
        Column {
            name: "fuel_wet_kg_per_day",
            value: shared::MASS,
            required: true,
            unit: Some("kg wet per day"),
            description: "Fuel that the household burns on a usual day, as told or as shown and weighed",
            example: "4.5",
        },
        FUEL_MOISTURE,
        shared::CHILDREN,
        shared::WOMEN,
        shared::MEN,
        shared::OLDER_MEN,
        shared::ENUMERATOR,
        shared::STARTED_AT,
        shared::ENDED_AT,
    ],
    rules: &[shared::VISIT_IN_ORDER],
};
