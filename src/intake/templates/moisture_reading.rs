//! Moisture readings: one row per household, day and fuel.

use super::shared;
use crate::intake::kinds::BatchKind;
use crate::intake::template::{Column, Template};

pub(in crate::intake) const HOUSEHOLD_CODE: usize = 0;
pub(in crate::intake) const MEASURED_ON: usize = 1;
pub(in crate::intake) const FUEL: usize = 2;
pub(in crate::intake) const MOISTURE: usize = 3;

pub(in crate::intake) static TEMPLATE: Template = Template {
    kind: BatchKind::MoistureReading,
    title: "Moisture reading",
    columns: &[
        shared::HOUSEHOLD_CODE,
        shared::day("measured_on", "Day of the reading", "2025-06-17"),
        Column {
            description: "What was read",
            ..shared::FUEL
        },
        Column {
            description: "Moisture of the fuel, wet basis: water / wet mass; the mean where \
                          several pieces were read",
            ..shared::FUEL_MOISTURE
        },
        shared::ENUMERATOR,
        shared::STARTED_AT,
        shared::ENDED_AT,
    ],
    rules: &[shared::VISIT_IN_ORDER],
};
