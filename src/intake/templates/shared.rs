//! Columns, value lists and rules that several templates share.

use crate::intake::rejection::{Fault, code};
use crate::intake::template::{Column, RowRule, SoundCells, ValueRule};
use rust_decimal::Decimal;

/// Unit of a moisture on the wet basis.
pub(in crate::intake) const MOISTURE_WB: &str = "fraction of wet mass";

/// Unit of a share between 0 and 1.
pub(in crate::intake) const FRACTION: &str = "fraction";

/// Unit of a part of a sample, weighed dry.
pub(in crate::intake) const DRY_FRACTION: &str = "fraction of dry mass";

pub(super) const WET_KG: &str = "kg wet";

pub(super) const DRY_KG: &str = "kg dry";

pub(super) const CELSIUS: &str = "degree Celsius";

pub(super) const MINUTES: &str = "minutes";

/// A code of the programme's own that must be given.
pub(super) const fn own_code(
    name: &'static str,
    description: &'static str,
    example: &'static str,
) -> Column {
    Column {
        name,
        value: CODE,
        required: true,
        unit: None,
        description,
        example,
    }
}

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

/// Mass of what one test burns, cooks or heats, in kg: never nothing, and the upper bound
/// catches grams written as kilograms.
pub(super) const TEST_MASS: ValueRule = ValueRule::Decimal {
    min: Decimal::from_parts(1, 0, 0, false, 3),
    max: Decimal::ONE_HUNDRED,
    scale_max: 6,
};

/// What one test leaves, in kg: may be nothing.
pub(super) const LEFT_MASS: ValueRule = ValueRule::Decimal {
    min: Decimal::ZERO,
    max: Decimal::ONE_HUNDRED,
    scale_max: 6,
};

/// Minutes that a test took: over 0, to a day.
pub(super) const DURATION: ValueRule = ValueRule::Decimal {
    min: Decimal::from_parts(1, 0, 0, false, 1),
    max: Decimal::from_parts(1440, 0, 0, false, 0),
    scale_max: 3,
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

pub(super) const DEVICE: Column = Column {
    name: "device",
    value: ValueRule::OneOf(DEVICES),
    required: true,
    unit: None,
    description: "What the fuel was burnt in",
    example: "gasifier",
};

pub(super) const FUEL: Column = Column {
    name: "fuel",
    value: ValueRule::OneOf(FUELS),
    required: true,
    unit: None,
    description: "What was burnt",
    example: "coconut_husk",
};

/// Fuel of one test.
pub(super) const TEST_FUEL: Column = Column {
    name: "fuel_wet_kg",
    value: TEST_MASS,
    required: true,
    unit: Some(WET_KG),
    description: "Fuel burnt in the test, as weighed",
    example: "1.24",
};

pub(super) const FUEL_MOISTURE: Column = moisture(
    "moisture_wb",
    "Moisture of the fuel, wet basis: water / wet mass",
    "0.14",
);

pub(super) const CHAR_LEFT: Column = Column {
    name: "char_left_dry_kg",
    value: LEFT_MASS,
    required: true,
    unit: Some(DRY_KG),
    description: "Dry char left over at the end; 0 where none is left",
    example: "0.21",
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

/// Char is what the fuel leaves: it cannot weigh more than the dry fuel.
pub(super) fn char_within_fuel(
    cells: &SoundCells<'_>,
    fuel_wet: usize,
    moisture: usize,
    char_left: usize,
) -> Option<(&'static str, Fault)> {
    let (wet, water) = (cells.decimal(fuel_wet)?, cells.decimal(moisture)?);
    let char_kg = cells.decimal(char_left)?;
    let dry = wet.checked_mul(Decimal::ONE.checked_sub(water)?)?;
    (char_kg > dry).then(|| {
        let detail = format!(
            "{char_kg} kg of char are left of {} kg of dry fuel: more than was burnt",
            dry.normalize()
        );
        (CHAR_LEFT.name, Fault::new(code::CHAR_OVER_FUEL, detail))
    })
}

/// Who came, and from when to when: the last three columns of what is asked or weighed in the
/// field. The screens of pace and of habits read them.
pub(super) const ENUMERATOR: Column = Column {
    name: "enumerator_code",
    value: CODE,
    required: false,
    unit: None,
    description: "The programme's own pseudonym of the enumerator, never a person's name; \
                  the column may be left out",
    example: "EN-01",
};

pub(super) const STARTED_AT: Column = Column {
    name: "started_at",
    value: ValueRule::Minute,
    required: false,
    unit: None,
    description: "When the visit began, in the local time of the programme, to the minute; the column may be left out",
    example: "2025-06-10T09:05",
};

pub(super) const ENDED_AT: Column = Column {
    name: "ended_at",
    value: ValueRule::Minute,
    required: false,
    unit: None,
    description: "When the visit ended, in the local time of the programme, to the minute; the column may be left out",
    example: "2025-06-10T09:40",
};

/// For templates that end in [`STARTED_AT`] and [`ENDED_AT`].
pub(super) const VISIT_IN_ORDER: RowRule = RowRule {
    says: "ended_at is not before started_at",
    check: |cells| {
        let (start, end) = (cells.minute_from_end(2)?, cells.minute_from_end(1)?);
        (end < start).then(|| {
            let detail = "the visit ended before it began".to_owned();
            (ENDED_AT.name, Fault::new(code::END_NOT_AFTER_START, detail))
        })
    },
};
