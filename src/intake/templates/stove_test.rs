//! Stove tests in a laboratory: one row per burn under a pot of water.

use super::shared::{self, CELSIUS};
use crate::intake::kinds::BatchKind;
use crate::intake::rejection::{Fault, code};
use crate::intake::template::{Column, RowRule, SoundCells, Template, ValueRule};
use rust_decimal::Decimal;

pub(in crate::intake) const TEST_CODE: usize = 0;
pub(in crate::intake) const LABORATORY: usize = 1;
pub(in crate::intake) const TESTED_ON: usize = 2;
pub(in crate::intake) const DEVICE: usize = 3;
pub(in crate::intake) const STOVE_AGE: usize = 4;
pub(in crate::intake) const FUEL: usize = 5;
pub(in crate::intake) const FUEL_WET: usize = 6;
pub(in crate::intake) const MOISTURE: usize = 7;
pub(in crate::intake) const FUEL_NCV: usize = 8;
pub(in crate::intake) const CHAR_LEFT: usize = 9;
pub(in crate::intake) const CHAR_NCV: usize = 10;
pub(in crate::intake) const WATER_START: usize = 11;
pub(in crate::intake) const WATER_END: usize = 12;
pub(in crate::intake) const START_CELSIUS: usize = 13;
pub(in crate::intake) const END_CELSIUS: usize = 14;
pub(in crate::intake) const MINUTES: usize = 15;
pub(in crate::intake) const CO: usize = 16;
pub(in crate::intake) const PM25: usize = 17;
pub(in crate::intake) const SAFETY: usize = 18;
pub(in crate::intake) const DURABILITY: usize = 19;

const NCV_UNIT: &str = "MJ/kg dry";

pub(in crate::intake) static TEMPLATE: Template = Template {
    kind: BatchKind::StoveTest,
    title: "Stove test",
    columns: &[
        shared::own_code(
            "test_code",
            "The programme's own code of the test",
            "ST-001",
        ),
        shared::own_code("laboratory", "Code of the laboratory", "LAB-1"),
        shared::day("tested_on", "Day of the test", "2025-03-04"),
        shared::DEVICE,
        Column {
            name: "stove_age_years",
            value: ValueRule::Integer { min: 0, max: 50 },
            required: true,
            unit: Some("whole years"),
            description: "Whole years that this stove had been in use; 0 for a new one",
            example: "1",
        },
        shared::FUEL,
        shared::TEST_FUEL,
        shared::FUEL_MOISTURE,
        Column {
            name: "fuel_ncv_dry_mj_per_kg",
            value: decimal(5, 50, 3),
            required: true,
            unit: Some(NCV_UNIT),
            description: "Net calorific value of the dry fuel",
            example: "17.1",
        },
        shared::CHAR_LEFT,
        Column {
            name: "char_ncv_mj_per_kg",
            value: decimal(0, 40, 3),
            required: true,
            unit: Some(NCV_UNIT),
            description: "Net calorific value of the dry char left over; 0 where none is left",
            example: "28.5",
        },
        Column {
            name: "water_start_kg",
            value: shared::TEST_MASS,
            required: true,
            unit: Some("kg"),
            description: "Water in the pot at the start",
            example: "5.000",
        },
        Column {
            name: "water_end_kg",
            value: shared::LEFT_MASS,
            required: true,
            unit: Some("kg"),
            description: "Water left in the pot at the end",
            example: "3.412",
        },
        temperature(
            "water_start_c",
            "Temperature of the water at the start",
            "25.4",
        ),
        temperature("water_end_c", "Highest temperature of the water", "98.6"),
        Column {
            name: "minutes",
            value: shared::DURATION,
            required: true,
            unit: Some(shared::MINUTES),
            description: "Time from lighting to the end of the test",
            example: "61",
        },
        Column {
            name: "co_g",
            value: decimal(0, 5_000, 6),
            required: false,
            unit: Some("g"),
            description: "Carbon monoxide given off in the whole test",
            example: "18.4",
        },
        Column {
            name: "pm25_mg",
            value: decimal(0, 1_000_000, 6),
            required: false,
            unit: Some("mg"),
            description: "Fine particulate (PM2.5) given off in the whole test",
            example: "612",
        },
        score(
            "safety_score",
            "Safety score of this stove by ISO 19867-1; the higher the safer",
            "88",
        ),
        score(
            "durability_score",
            "Durability score of this stove by ISO 19867-1; the lower the more lasting",
            "12",
        ),
    ],
    rules: &[
        RowRule {
            says: "char_left_dry_kg is at most the dry fuel, fuel_wet_kg * (1 - moisture_wb)",
            check: |cells| shared::char_within_fuel(cells, FUEL_WET, MOISTURE, CHAR_LEFT),
        },
        RowRule {
            says: "char_ncv_mj_per_kg is over 0 where char is left",
            check: char_has_heat,
        },
        RowRule {
            says: "water_end_kg is at most water_start_kg",
            check: water_did_not_grow,
        },
        RowRule {
            says: "water_end_c is at least water_start_c",
            check: water_did_not_cool,
        },
    ],
};

const fn decimal(min: u32, max: u32, scale_max: u32) -> ValueRule {
    ValueRule::Decimal {
        min: Decimal::from_parts(min, 0, 0, false, 0),
        max: Decimal::from_parts(max, 0, 0, false, 0),
        scale_max,
    }
}

const fn temperature(
    name: &'static str,
    description: &'static str,
    example: &'static str,
) -> Column {
    Column {
        name,
        // Water in an open pot is neither ice nor above its boiling point.
        value: decimal(0, 101, 3),
        required: true,
        unit: Some(CELSIUS),
        description,
        example,
    }
}

/// One score of the whole stove, given with each of its burns or with one of them.
const fn score(name: &'static str, description: &'static str, example: &'static str) -> Column {
    Column {
        name,
        value: decimal(0, 100, 2),
        required: false,
        unit: Some("points of 100"),
        description,
        example,
    }
}

fn char_has_heat(cells: &SoundCells<'_>) -> Option<(&'static str, Fault)> {
    let (left, heat) = (cells.decimal(CHAR_LEFT)?, cells.decimal(CHAR_NCV)?);
    (!left.is_zero() && heat.is_zero()).then(|| {
        let detail = format!("{left} kg of char are left, so its calorific value is not 0");
        (
            "char_ncv_mj_per_kg",
            Fault::new(code::CHAR_HEAT_MISSING, detail),
        )
    })
}

fn water_did_not_grow(cells: &SoundCells<'_>) -> Option<(&'static str, Fault)> {
    let (start, end) = (cells.decimal(WATER_START)?, cells.decimal(WATER_END)?);
    (end > start).then(|| {
        let detail = format!("{end} kg are left of {start} kg: more water than there was");
        ("water_end_kg", Fault::new(code::WATER_GREW, detail))
    })
}

fn water_did_not_cool(cells: &SoundCells<'_>) -> Option<(&'static str, Fault)> {
    let (start, end) = (cells.decimal(START_CELSIUS)?, cells.decimal(END_CELSIUS)?);
    (end < start).then(|| {
        let detail = format!("the water ends at {end} degrees, below the {start} it began with");
        ("water_end_c", Fault::new(code::WATER_COOLED, detail))
    })
}
