//! Thermal efficiencies: the project stove's fuel for the same useful energy, by its age.

use super::{ProjectStove, calorific_value};
use crate::accounting::evidence::StoveTest;
use crate::accounting::factor::{Factor, FactorId, Quantity};
use crate::accounting::inputs::EvidenceRole;
use crate::accounting::methodology::{Ageing, DisplacementRule, EfficiencyRule, ProjectEfficiency};
use crate::accounting::statement::co2e::of_quantity;
use crate::accounting::statement::draft::Draft;
use crate::accounting::statement::fuel::{BurntFuel, sample};
use crate::accounting::statement::lookup::Need;
use crate::accounting::stove_test::efficiency_without_char;
use crate::accounting::trace::{Heading, NodeRef};
use rust_decimal::Decimal;
use std::collections::BTreeMap;

/// Whole years that a stove can be believed to have been in use.
const OLDEST_BAND: u32 = 100;

/// kg dry fuel of the project stove per kg dry fuel of the old device, for the same useful
/// energy: `NCV_b * eta_b / (NCV_p * eta_p)`; with one fuel the calorific values cancel.
pub(super) fn fuel_ratio<'a>(
    draft: &mut Draft<'a>,
    rule: &'a DisplacementRule,
    stove: &ProjectStove<'a>,
    burnt: &BurntFuel<'a>,
    band: u32,
) -> Option<NodeRef> {
    let Some(efficiency) = &rule.efficiency else {
        draft.gap(
            "efficiency-missing",
            "The methodology works by thermal efficiencies, but names none.".to_owned(),
        );
        return None;
    };
    let before = of_baseline(draft, efficiency, burnt);
    let after = of_project(draft, efficiency, &rule.project_device, band);
    let (mut before, mut after) = (before?, after?);
    let (device, fuel) = (&burnt.burn.device, &burnt.burn.fuel);
    if *fuel != stove.burn.fuel {
        before = useful_energy(draft, device, fuel, "baseline", (burnt, before))?;
        after = useful_energy_of_project(draft, stove, band, after)?;
    }
    let heading = Heading::new(
        format!("efficiency/ratio/{device}/{fuel}/band/{band}"),
        format!(
            "project fuel for the same useful energy, per kg dry {fuel} in {device}, stoves in \
             year {}",
            u64::from(band) + 1
        ),
        "efficiency-ratio",
        "1",
    );
    let ratio = draft.ledger.quotient(heading, before, after);
    draft.keep(ratio)
}

/// `NCV * efficiency` of a baseline burn; the same entry for every age band.
fn useful_energy(
    draft: &mut Draft,
    device: &str,
    fuel: &str,
    arm: &str,
    (burnt, efficiency): (&BurntFuel, NodeRef),
) -> Option<NodeRef> {
    let id = format!("efficiency/useful_energy/{arm}/{device}/{fuel}");
    if let Some(known) = draft.ledger.find(&id) {
        return Some(known);
    }
    let energy = calorific_value(draft, device, burnt.rule)?;
    let heading = Heading::new(
        id,
        format!("useful energy of dry {fuel} in {device}"),
        "useful-energy",
        "MJ/kg dry fuel",
    );
    let useful = draft.ledger.product(heading, &[energy, efficiency]);
    draft.keep(useful)
}

fn useful_energy_of_project(
    draft: &mut Draft,
    stove: &ProjectStove,
    band: u32,
    efficiency: NodeRef,
) -> Option<NodeRef> {
    let (device, fuel) = (&stove.burn.device, &stove.burn.fuel);
    let id = format!("efficiency/useful_energy/project/{device}/{fuel}/band/{band}");
    if let Some(known) = draft.ledger.find(&id) {
        return Some(known);
    }
    let energy = calorific_value(draft, device, stove.rule)?;
    let heading = Heading::new(
        id,
        format!(
            "useful energy of dry {fuel} in {device}, stoves in year {}",
            u64::from(band) + 1
        ),
        "useful-energy",
        "MJ/kg dry fuel",
    );
    let useful = draft.ledger.product(heading, &[energy, efficiency]);
    draft.keep(useful)
}

/// The named efficiency where it is of this device or of any, else the device's own.
fn of_baseline(draft: &mut Draft, rule: &EfficiencyRule, burnt: &BurntFuel) -> Option<NodeRef> {
    let factor = draft.named_factor(&rule.baseline, "baseline thermal efficiency")?;
    let device = &burnt.burn.device;
    if factor.device.as_ref().is_none_or(|own| own == device) {
        return of_quantity(draft, factor, Quantity::ThermalEfficiency);
    }
    draft.required(&Need {
        quantity: Quantity::ThermalEfficiency,
        species: None,
        device: Some(device),
        fuel: Some(&burnt.rule.class),
    })
}

/// Efficiency of the project stove in one age band.
fn of_project(
    draft: &mut Draft,
    rule: &EfficiencyRule,
    device: &str,
    band: u32,
) -> Option<NodeRef> {
    if band > OLDEST_BAND {
        let sentence = format!("A stove cannot be {band} years in use.");
        draft.gap("age-band-unbelievable", sentence);
        return None;
    }
    match (&rule.project, &rule.ageing) {
        (ProjectEfficiency::StoveTests, Ageing::MeasuredByAge) => measured_at(draft, device, band),
        (ProjectEfficiency::Cited(_), Ageing::MeasuredByAge) => {
            draft.gap(
                "ageing-contradicts",
                "The methodology cites the project stove's efficiency and yet wants it measured \
                 in each age band."
                    .to_owned(),
            );
            None
        }
        (ProjectEfficiency::StoveTests, Ageing::AnnualLoss(loss)) => {
            let new = tested(draft, device, 0)?;
            note_used_stoves(draft, device);
            aged(draft, device, new, loss, band)
        }
        (ProjectEfficiency::Cited(id), Ageing::AnnualLoss(loss)) => {
            let factor = draft.named_factor(id, "project thermal efficiency")?;
            let new = of_quantity(draft, factor, Quantity::ThermalEfficiency)?;
            aged(draft, device, new, loss, band)
        }
    }
}

/// Tests of stoves already in use say nothing of new ones, and the loss is cited here.
fn note_used_stoves(draft: &mut Draft, device: &str) {
    let tests = &draft.inputs.stove_tests;
    let used = tests
        .iter()
        .filter(|test| test.device == device && test.stove_age_years > 0)
        .count();
    if used > 0 {
        draft.note(
            "stove-tests-of-used-stoves",
            format!(
                "{used} stove tests of {device} are of stoves already in use and are left out: \
                 the methodology cites the yearly loss of efficiency."
            ),
        );
    }
}

/// `eta * (1 - loss)^age`.
fn aged(
    draft: &mut Draft,
    device: &str,
    new: NodeRef,
    loss: &FactorId,
    band: u32,
) -> Option<NodeRef> {
    if band == 0 {
        return Some(new);
    }
    let id = format!("efficiency/{device}/band/{band}");
    if let Some(known) = draft.ledger.find(&id) {
        return Some(known);
    }
    let factor: &Factor = draft.named_factor(loss, "yearly loss of efficiency")?;
    let loss = of_quantity(draft, factor, Quantity::AnnualEfficiencyLoss)?;
    let kept_id = format!("efficiency/{device}/kept_each_year");
    let kept = match draft.ledger.find(&kept_id) {
        Some(known) => known,
        None => {
            let whole = draft.convention("one", "the whole", "1", Decimal::ONE)?;
            let heading = Heading::new(
                kept_id,
                format!("efficiency of {device} kept from one year to the next"),
                "efficiency-kept",
                "1",
            );
            let kept = draft.ledger.difference(heading, whole, loss);
            draft.keep(kept)?
        }
    };
    let mut factors = vec![new];
    factors.extend((0..band).map(|_| kept));
    let heading = Heading::new(
        id,
        format!(
            "thermal efficiency of {device} in year {}, without the energy of char",
            u64::from(band) + 1
        ),
        "efficiency-aged",
        "1",
    );
    let aged = draft.ledger.product(heading, &factors);
    draft.keep(aged)
}

/// Efficiency measured at this age, else at the next older age that was measured.
fn measured_at(draft: &mut Draft, device: &str, band: u32) -> Option<NodeRef> {
    let tests = &draft.inputs.stove_tests;
    let older = tests
        .iter()
        .filter(|test| test.device == device && test.stove_age_years >= band)
        .map(|test| test.stove_age_years)
        .min();
    let Some(age) = older else {
        draft.gap(
            "no-stove-test-of-age",
            format!(
                "{device} has stoves in use for {band} whole years, but no test of a stove that \
                 old or older."
            ),
        );
        return None;
    };
    if age > band {
        draft.note(
            "efficiency-of-older-stoves",
            format!(
                "No stove test of {device} at {band} years in use: the efficiency at {age} years \
                 stands for it."
            ),
        );
    }
    tested(draft, device, age)
}

/// Mean efficiency of the stove tests at one age, without the energy of char.
fn tested(draft: &mut Draft, device: &str, age: u32) -> Option<NodeRef> {
    let id = format!("efficiency/{device}/tested/{age}");
    if let Some(known) = draft.ledger.find(&id) {
        return Some(known);
    }
    let mut tests: Vec<&StoveTest> = draft
        .inputs
        .stove_tests
        .iter()
        .filter(|test| test.device == device && test.stove_age_years == age)
        .collect();
    // The last bits of a sum must not tell in which order the rows came.
    tests.sort_by_key(|test| &test.test_code);
    if tests.len() < 2 {
        draft.gap(
            "too-few-stove-tests",
            format!(
                "{device} has {} stove tests at {age} years in use; two at least are needed to \
                 know a spread.",
                tests.len()
            ),
        );
        return None;
    }
    let mut column = Vec::new();
    for test in &tests {
        match efficiency_without_char(test) {
            Ok(efficiency) => column.push(efficiency),
            Err(reason) => {
                let sentence = format!("Stove test {} cannot be used: {reason}.", test.test_code);
                draft.gap("stove-test-unusable", sentence);
                return None;
            }
        }
    }
    let label = format!(
        "thermal efficiency of {device} at {age} years in use, without the energy of char, mean \
         of {} tests",
        tests.len()
    );
    let at = [
        ("device", device.to_owned()),
        ("stove_age_years", age.to_string()),
    ];
    let at: BTreeMap<String, String> = at
        .into_iter()
        .map(|(name, value)| (name.to_owned(), value))
        .collect();
    let named = sample::Named {
        name: format!("stove tests of {device} at {age} years ({})", tests.len()),
        role: EvidenceRole::StoveTests,
        headings: vec![(Heading::new(id, label, "mean-thermal-efficiency", "1"), at)],
    };
    sample::simple(draft, named, &[&column])?.first().copied()
}
