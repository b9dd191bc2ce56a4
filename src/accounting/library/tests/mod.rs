//! The shipped data: its form, the tables it cites, the needs of a statement.

mod methodologies;
mod tables;

use super::published_factors;
use crate::accounting::factor::{Factor, FactorId, Quantity, SourceMark, Spread};
use rust_decimal::Decimal;
use std::collections::{BTreeMap, BTreeSet};

fn by_id() -> BTreeMap<FactorId, Factor> {
    published_factors()
        .expect("the table is sound")
        .into_iter()
        .map(|factor| (factor.id(), factor))
        .collect()
}

fn factor(code: &str) -> Factor {
    published_factors()
        .expect("the table is sound")
        .into_iter()
        .find(|factor| factor.code == code)
        .unwrap_or_else(|| panic!("no factor {code}"))
}

fn decimal(text: &str) -> Decimal {
    text.parse().expect("a decimal")
}

fn written_bounds(factor: &Factor) -> Option<(Decimal, Decimal)> {
    match factor.spread {
        Spread::Exact | Spread::Normal { .. } => None,
        Spread::Lognormal { lower, upper, .. }
        | Spread::TruncatedNormal { lower, upper, .. }
        | Spread::Triangular { lower, upper }
        | Spread::Uniform { lower, upper } => Some((lower, upper)),
    }
}

#[test]
fn every_factor_is_cited_and_no_code_stands_twice() {
    let factors = published_factors().expect("the table is sound");
    assert!(factors.len() > 150, "{}", factors.len());
    let mut codes = BTreeSet::new();
    for factor in &factors {
        assert!(
            codes.insert((&factor.code, factor.version)),
            "{} stands twice",
            factor.code
        );
        assert!(factor.source.len() > 10, "{} has no citation", factor.code);
        assert!(factor.version >= 1);
        assert!(!factor.unit.is_empty(), "{} has no unit", factor.code);
    }
}

#[test]
fn a_value_from_memory_or_worked_out_says_so_in_its_note() {
    for factor in published_factors().expect("the table is sound") {
        let note = factor.note.as_deref().unwrap_or_default();
        match factor.mark {
            SourceMark::Memory | SourceMark::Computed => {
                assert!(!note.is_empty(), "{} needs a note", factor.code);
            }
            SourceMark::Seen | SourceMark::SeenSecondHand => {
                assert!(
                    !note.contains("a judgement") && !factor.source.contains("recalled"),
                    "{} is marked stronger than its note",
                    factor.code
                );
            }
        }
    }
}

#[test]
fn every_value_lies_inside_its_bounds() {
    for factor in published_factors().expect("the table is sound") {
        if let Some((lower, upper)) = written_bounds(&factor) {
            assert!(
                lower < factor.value && factor.value < upper,
                "{}",
                factor.code
            );
        }
        match &factor.spread {
            Spread::Lognormal {
                lower, confidence, ..
            } => {
                assert!(*lower > Decimal::ZERO, "{}", factor.code);
                assert!(*confidence > Decimal::ZERO && *confidence < Decimal::ONE);
            }
            Spread::Normal { standard_deviation }
            | Spread::TruncatedNormal {
                standard_deviation, ..
            } => {
                assert!(*standard_deviation > Decimal::ZERO, "{}", factor.code);
            }
            Spread::Exact | Spread::Triangular { .. } | Spread::Uniform { .. } => {}
        }
    }
}

#[test]
fn units_fit_the_quantity() {
    for factor in published_factors().expect("the table is sound") {
        let allowed: &[&str] = match factor.quantity {
            Quantity::NetCalorificValue => &["MJ/kg dry fuel", "MJ/kg as received"],
            Quantity::EmissionFactor => &["g/kg dry fuel", "kg/TJ"],
            Quantity::GlobalWarmingPotential => &["kg CO2e/kg"],
            Quantity::NonRenewableFraction => &["fraction"],
            Quantity::LeakageMultiplier => &["multiplier"],
            Quantity::CharCarbonFraction => &["kg carbon/kg dry char"],
            Quantity::CharPermanence => &["fraction of char carbon after 100 years"],
            Quantity::CharYieldBound => &["kg dry char/kg dry fuel"],
            Quantity::BlackCarbonShare => &["fraction of PM2.5"],
            Quantity::ThermalEfficiency => &["fraction, without the char's energy"],
            Quantity::CharcoalConversion => &["kg wood/kg charcoal"],
            Quantity::BaselineFuel => &["kg dry fuel/household-day"],
            Quantity::AnnualEfficiencyLoss | Quantity::CookingShare | Quantity::LeakageShare => {
                &["fraction"]
            }
            Quantity::PermanenceIntercept
            | Quantity::PermanenceSlope
            | Quantity::PermanenceResidual => &["fraction"],
        };
        assert!(
            allowed.contains(&factor.unit.as_str()),
            "{}: {}",
            factor.code,
            factor.unit
        );
    }
}
