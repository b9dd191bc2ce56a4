//! The supplied methodologies: what they choose, and that no two choose alike.

use super::super::supplied_methodologies;
use super::{by_id, decimal};
use crate::accounting::factor::FactorId;
use crate::accounting::methodology::{
    CharPlace, CharRule, FuelMethod, FuelPer, Leakage, Methodology, NonRenewableOn, Permanence,
    Sides,
};
use rust_decimal::Decimal;
use std::collections::BTreeSet;

fn permanence_of(rule: &CharRule) -> &FactorId {
    match &rule.permanence {
        Permanence::Factor(id) => id,
        Permanence::HydrogenToCarbon(rule) => &rule.unmeasured,
    }
}

fn find(code: &str) -> Methodology {
    supplied_methodologies()
        .expect("the files are sound")
        .into_iter()
        .find(|methodology| methodology.code == code)
        .expect("supplied")
}

/// That each need has one answer is `methodology::validate`'s to say, and it says so of each.
#[test]
fn each_supplied_methodology_is_a_choice_of_its_own() {
    let supplied = supplied_methodologies().expect("the files are sound");
    let mut codes = BTreeSet::new();
    for methodology in &supplied {
        assert!(codes.insert(methodology.id()), "{}", methodology.code);
        let others = supplied
            .iter()
            .filter(|other| other.code != methodology.code);
        for other in others {
            let same = Methodology {
                code: methodology.code.clone(),
                title: methodology.title.clone(),
                citations: methodology.citations.clone(),
                ..other.clone()
            };
            assert_ne!(
                &same, methodology,
                "{} and {}",
                methodology.code, other.code
            );
        }
    }
}

/// The choices of the published families, as the sheets of each family give them (MEMORY).
#[test]
fn the_families_make_their_own_choices() {
    use FuelMethod::*;
    for (code, method, on, sides, precision) in [
        (
            "kitchen-test-paired",
            KitchenTestPaired,
            NonRenewableOn::Co2,
            Sides::One,
            "0.30",
        ),
        (
            "kitchen-test-per-adult",
            KitchenTestIndependent,
            NonRenewableOn::Co2,
            Sides::One,
            "0.30",
        ),
        (
            "stove-efficiency",
            ThermalEfficiency,
            NonRenewableOn::AllGases,
            Sides::Two,
            "0.10",
        ),
        (
            "cooking-test",
            CookingTest,
            NonRenewableOn::AllGases,
            Sides::Two,
            "0.10",
        ),
        (
            "household-energy",
            KitchenTestIndependent,
            NonRenewableOn::Co2,
            Sides::Two,
            "0.10",
        ),
        (
            "black-carbon-beside",
            KitchenTestIndependent,
            NonRenewableOn::Co2,
            Sides::One,
            "0.30",
        ),
    ] {
        let found = find(code);
        assert_eq!(
            (found.fuel_method, found.non_renewable_on),
            (method, on),
            "{code}"
        );
        let claim = (
            found.claim.confidence,
            found.claim.sides,
            found.claim.precision,
        );
        assert_eq!(
            claim,
            (decimal("0.90"), sides, Some(decimal(precision))),
            "{code}"
        );
    }
    assert_eq!(
        find("kitchen-test-per-adult").fuel_per,
        FuelPer::StandardAdult
    );
    assert!(matches!(find("household-energy").leakage, Leakage::Items(items) if items.len() == 1));
    assert_eq!(find("black-carbon-beside").short_lived_sets.len(), 3);
}

#[test]
fn residues_are_renewable_and_only_char_in_soil_counts() {
    for methodology in supplied_methodologies().expect("the files are sound") {
        let fraction = |code: &str| {
            let fuel = methodology
                .fuels
                .iter()
                .find(|fuel| fuel.code == code)
                .expect("a fuel");
            by_id()[&fuel.non_renewable_fraction].value
        };
        assert_eq!(fraction("coconut_husk"), Decimal::ZERO);
        assert_eq!(fraction("pigeon_pea_stalk"), Decimal::ZERO);
        assert_eq!(fraction("wood"), decimal("0.30"));
        assert_eq!(methodology.char_rule.counted_in, CharPlace::SoilSink);
        assert_eq!(methodology.char_rule.durable_fates, ["soil"]);
    }
}

#[test]
fn the_two_methodologies_differ_in_claim_and_warming_potentials() {
    let bound = find("kitchen-test-households");
    assert_eq!((bound.version, bound.gwp_set.as_str()), (1, "AR5 GWP100"));
    assert_eq!(bound.claim.confidence, decimal("0.90"));
    assert_eq!(
        (bound.claim.sides, bound.claim.precision),
        (Sides::Two, None)
    );
    assert_eq!(
        by_id()[permanence_of(&bound.char_rule)].value,
        decimal("0.56")
    );
    let precise = find("kitchen-test-precision");
    assert_eq!(precise.gwp_set, "AR6 GWP100");
    assert_eq!(
        (precise.claim.sides, precise.claim.precision),
        (Sides::One, Some(decimal("0.30")))
    );
}
