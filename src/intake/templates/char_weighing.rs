//! Char weighings: one row per weighing of the char of one household.

use super::shared::{self, mass, moisture};
use crate::intake::kinds::BatchKind;
use crate::intake::rejection::{Fault, code};
use crate::intake::template::{Column, RowRule, SoundCells, Template, ValueRule};

pub(in crate::intake) const HOUSEHOLD_CODE: usize = 0;
pub(in crate::intake) const WEIGHED_ON: usize = 1;
pub(in crate::intake) const FEEDSTOCK: usize = 2;
pub(in crate::intake) const FUEL_BURNT: usize = 3;
pub(in crate::intake) const FUEL_MOISTURE: usize = 4;
pub(in crate::intake) const CHAR: usize = 5;
pub(in crate::intake) const CHAR_MOISTURE: usize = 6;
pub(in crate::intake) const FATE: usize = 7;

pub(in crate::intake) static TEMPLATE: Template = Template {
    kind: BatchKind::CharWeighing,
    title: "Char weighing",
    columns: &[
        shared::HOUSEHOLD_CODE,
        shared::day("weighed_on", "Day of the weighing", "2025-05-12"),
        Column {
            name: "feedstock",
            value: ValueRule::OneOf(shared::FEEDSTOCKS),
            required: true,
            unit: None,
            description: "Fuel that the char was made from",
            example: "coconut_husk",
        },
        Column {
            name: "fuel_burnt_wet_kg",
            value: shared::MASS,
            required: false,
            unit: Some(shared::WET_KG),
            description: "Fuel burnt to make this char, where it was weighed too",
            example: "5.40",
        },
        Column {
            name: "fuel_moisture_wb",
            value: shared::MOISTURE,
            required: false,
            unit: Some(shared::MOISTURE_WB),
            description: "Moisture of that fuel, wet basis: water / wet mass",
            example: "0.13",
        },
        mass("char_wet_kg", "Char as weighed", "1.05"),
        moisture(
            "char_moisture_wb",
            "Moisture of the char as weighed, wet basis: water / wet mass",
            "0.06",
        ),
        Column {
            name: "fate",
            value: ValueRule::OneOf(&["soil", "burnt", "sold_as_fuel", "discarded", "unknown"]),
            required: true,
            unit: None,
            description: "What became of the char",
            example: "soil",
        },
        shared::ENUMERATOR,
        shared::STARTED_AT,
        shared::ENDED_AT,
    ],
    rules: &[
        shared::VISIT_IN_ORDER,
        RowRule {
            says: "fuel_burnt_wet_kg and fuel_moisture_wb are given together or not at all",
            check: fuel_is_complete,
        },
    ],
};

fn fuel_is_complete(cells: &SoundCells<'_>) -> Option<(&'static str, Fault)> {
    match (cells.is_given(FUEL_BURNT)?, cells.is_given(FUEL_MOISTURE)?) {
        (true, false) => Some((
            "fuel_moisture_wb",
            Fault::new(
                code::FUEL_INCOMPLETE,
                "fuel_burnt_wet_kg is given without its moisture: without it the dry mass is unknown",
            ),
        )),
        (false, true) => Some((
            "fuel_burnt_wet_kg",
            Fault::new(
                code::FUEL_INCOMPLETE,
                "fuel_moisture_wb is given without the fuel's mass",
            ),
        )),
        _ => None,
    }
}
