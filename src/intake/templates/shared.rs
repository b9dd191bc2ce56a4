//! Columns, value lists and rules that several templates share.

use crate::intake::rejection::{Fault, code};
use crate::intake::template::{Column, SoundCells, ValueRule};
use rust_decimal::Decimal;

/// Unit of a moisture on the wet basis.
pub(in crate::intake) const MOISTURE_WB: &str = "fraction of wet mass";

/// Unit of a share between 0 and 1.
pub(in crate::intake) const FRACTION: &str = "fraction";

pub(super) const WET_KG: &str = "kg wet";

/// Fuels that a kitchen may burn.
pub(super) const FUELS: &[&str] = &[
    "wood",
    "prunings",
    "coconut_husk",
    "pigeon_pea_stalk",
    "maize_cob",
    "crop_residue",
    "charcoal",
    "dung",
    "lpg",
    "kerosene",
];

/// Fuels that a stove can turn into char.
pub(super) const FEEDSTOCKS: &[&str] = &[
    "wood",
    "prunings",
    "coconut_husk",
    "pigeon_pea_stalk",
    "maize_cob",
    "crop_residue",
    "dung",
];

pub(super) const DEVICES: &[&str] = &[
    "three_stone_fire",
    "traditional_stove",
    "charcoal_stove",
    "lpg_stove",
    "kerosene_stove",
    "gasifier",
];

pub(super) const END_REASONS: &[&str] = &["dropped_out", "replaced", "broken", "moved", "returned"];

pub(super) const CODE: ValueRule = ValueRule::Code { max_len: 64 };

/// Wet mass in kg. The bound catches grams written as kilograms.
pub(super) const MASS: ValueRule = ValueRule::Decimal {
    min: Decimal::ZERO,
    max: Decimal::from_parts(500, 0, 0, false, 0),
    scale_max: 6,
};

/// Water over wet mass, 0 to 0.8.
pub(super) const MOISTURE: ValueRule = ValueRule::Decimal {
    min: Decimal::ZERO,
    max: Decimal::from_parts(8, 0, 0, false, 1),
    scale_max: 6,
};

const HEADCOUNT: ValueRule = ValueRule::Integer { min: 0, max: 50 };

pub(super) const HOUSEHOLD_CODE: Column = Column {
    name: "household_code",
    value: CODE,
    required: true,
    unit: None,
    description: "The programme's own pseudonym of the household, never a person's name",
    example: "HH-0001",
};

pub(super) const SERIAL: Column = Column {
    name: "serial",
    value: CODE,
    required: true,
    unit: None,
    description: "Serial number of the stove unit",
    example: "GS-000001",
};

pub(super) const INSTALLED_ON: Column = Column {
    name: "installed_on",
    value: ValueRule::Date,
    required: true,
    unit: None,
    description: "First day of the stove in the household",
    example: "2025-01-15",
};

pub(super) const CHILDREN: Column = Column {
    name: "children_0_14",
    value: HEADCOUNT,
    required: true,
    unit: Some("people"),
    description: "Children from 0 to 14 years",
    example: "3",
};

pub(super) const WOMEN: Column = Column {
    name: "women_over_14",
    value: HEADCOUNT,
    required: true,
    unit: Some("people"),
    description: "Women over 14 years",
    example: "2",
};

pub(super) const MEN: Column = Column {
    name: "men_15_59",
    value: HEADCOUNT,
    required: true,
    unit: Some("people"),
    description: "Men from 15 to 59 years",
    example: "1",
};

pub(super) const OLDER_MEN: Column = Column {
    name: "men_over_59",
    value: HEADCOUNT,
    required: true,
    unit: Some("people"),
    description: "Men over 59 years",
    example: "0",
};

/// A wet mass that must be weighed.
pub(super) const fn mass(
    name: &'static str,
    description: &'static str,
    example: &'static str,
) -> Column {
    Column {
        name,
        value: MASS,
        required: true,
        unit: Some(WET_KG),
        description,
        example,
    }
}

/// A moisture on the wet basis that must be given.
pub(super) const fn moisture(
    name: &'static str,
    description: &'static str,
    example: &'static str,
) -> Column {
    Column {
        name,
        value: MOISTURE,
        required: true,
        unit: Some(MOISTURE_WB),
        description,
        example,
    }
}

/// A day that must be given.
pub(super) const fn day(
    name: &'static str,
    description: &'static str,
    example: &'static str,
) -> Column {
    Column {
        name,
        value: ValueRule::Date,
        required: true,
        unit: None,
        description,
        example,
    }
}

/// Deployments are half-open: a stove that ended on its first day was never there.
pub(super) fn end_after_start(
    cells: &SoundCells<'_>,
    installed_on: usize,
    ended_on: usize,
) -> Option<(&'static str, Fault)> {
    let (start, end) = (cells.date(installed_on)?, cells.date(ended_on)?);
    (end <= start).then(|| {
        let detail = format!(
            "the end {end} is not after the installation {start}; \
             ended_on is the first day without the stove"
        );
        ("ended_on", Fault::new(code::END_NOT_AFTER_START, detail))
    })
}
