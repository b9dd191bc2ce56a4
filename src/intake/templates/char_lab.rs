//! Char laboratory results: one row per sample. Fractions of the dry char.

use super::shared::{self, DRY_FRACTION};
use crate::accounting::char_lab::Composition;
use crate::intake::kinds::BatchKind;
use crate::intake::rejection::{Fault, code};
use crate::intake::template::{Column, RowRule, SoundCells, Template, ValueRule};
use rust_decimal::Decimal;

pub(in crate::intake) const SAMPLE_CODE: usize = 0;
pub(in crate::intake) const LABORATORY: usize = 1;
pub(in crate::intake) const SAMPLED_ON: usize = 2;
pub(in crate::intake) const FEEDSTOCK: usize = 3;
pub(in crate::intake) const CARBON_TOTAL: usize = 4;
pub(in crate::intake) const CARBON_INORGANIC: usize = 5;
pub(in crate::intake) const HYDROGEN: usize = 6;
pub(in crate::intake) const ASH: usize = 7;

pub(in crate::intake) static TEMPLATE: Template = Template {
    kind: BatchKind::CharLab,
    title: "Char laboratory result",
    columns: &[
        shared::own_code(
            "sample_code",
            "The programme's own code of the sample",
            "CS-001",
        ),
        shared::own_code("laboratory", "Code of the laboratory", "LAB-1"),
        shared::day(
            "sampled_on",
            "Day on which the sample was taken",
            "2025-04-08",
        ),
        Column {
            name: "feedstock",
            value: ValueRule::OneOf(shared::FEEDSTOCKS),
            required: true,
            unit: None,
            description: "Fuel that the char was made from",
            example: "coconut_husk",
        },
        Column {
            example: "0.784",
            ..part(
                "carbon_total",
                100,
                "Total carbon, a fraction of the dry char: 0.784, not 78.4 percent",
            )
        },
        Column {
            example: "0.006",
            // A carbonate of calcium holds 0.12, of magnesium 0.142 of its mass as carbon.
            ..part(
                "carbon_inorganic",
                15,
                "Carbon of carbonates, a fraction of the dry char; 0 where it was found to be none",
            )
        },
        Column {
            example: "0.021",
            // Dry wood holds about 0.06; the bound catches 0.9 percent written as 0.9.
            ..part("hydrogen", 10, "Hydrogen, a fraction of the dry char")
        },
        Column {
            required: false,
            example: "0.075",
            ..part("ash", 100, "Ash, a fraction of the dry char")
        },
    ],
    rules: &[
        RowRule {
            says: "carbon_inorganic is at most carbon_total",
            check: inorganic_is_a_part,
        },
        RowRule {
            says: "carbon_total and hydrogen together are at most 1",
            check: parts_fit_the_whole,
        },
        RowRule {
            says: "organic carbon, hydrogen and ash are of one char: not over 1.05 together, \
                   molar H/C_org not over 2",
            check: of_one_char,
        },
    ],
};

/// A fraction of the dry char, from 0 to `max_percent` hundredths.
const fn part(name: &'static str, max_percent: u32, description: &'static str) -> Column {
    Column {
        name,
        value: ValueRule::Decimal {
            min: Decimal::ZERO,
            max: Decimal::from_parts(max_percent, 0, 0, false, 2),
            scale_max: 6,
        },
        required: true,
        unit: Some(DRY_FRACTION),
        description,
        example: "",
    }
}

fn inorganic_is_a_part(cells: &SoundCells<'_>) -> Option<(&'static str, Fault)> {
    let (total, inorganic) = (
        cells.decimal(CARBON_TOTAL)?,
        cells.decimal(CARBON_INORGANIC)?,
    );
    (inorganic > total).then(|| {
        let detail =
            format!("{inorganic} of the char is inorganic carbon, but all carbon is {total}");
        (
            "carbon_inorganic",
            Fault::new(code::PARTS_OVER_WHOLE, detail),
        )
    })
}

/// What no statement could read is refused here, by the statement's own rule.
fn of_one_char(cells: &SoundCells<'_>) -> Option<(&'static str, Fault)> {
    let (total, inorganic) = (
        cells.decimal(CARBON_TOTAL)?,
        cells.decimal(CARBON_INORGANIC)?,
    );
    if inorganic > total {
        return None;
    }
    let (hydrogen, ash) = (cells.decimal(HYDROGEN)?, cells.decimal(ASH));
    // Said by the other rule already.
    if total.checked_add(hydrogen)? > Decimal::ONE {
        return None;
    }
    let found = Composition::from_fractions(total, inorganic, hydrogen, ash);
    let detail = found.err()?.to_string();
    Some(("carbon_total", Fault::new(code::PARTS_OVER_WHOLE, detail)))
}

fn parts_fit_the_whole(cells: &SoundCells<'_>) -> Option<(&'static str, Fault)> {
    let (carbon, hydrogen) = (cells.decimal(CARBON_TOTAL)?, cells.decimal(HYDROGEN)?);
    let sum = carbon.checked_add(hydrogen)?;
    (sum > Decimal::ONE).then(|| {
        let detail = format!("carbon {carbon} and hydrogen {hydrogen} are {sum} of the char");
        ("hydrogen", Fault::new(code::PARTS_OVER_WHOLE, detail))
    })
}
