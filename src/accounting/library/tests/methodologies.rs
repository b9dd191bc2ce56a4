//! The supplied methodologies: every need of a statement has one answer among their factors.

use super::super::supplied_methodologies;
use super::{by_id, decimal};
use crate::accounting::factor::{Factor, FactorId, Quantity};
use crate::accounting::methodology::{
    CharPlace, CharRule, Leakage, Methodology, Permanence, Sides,
};
use rust_decimal::Decimal;
use std::collections::BTreeSet;

const DEVICES: [&str; 2] = ["three_stone_fire", "gasifier"];

fn answers<'a>(
    listed: &'a [Factor],
    quantity: Quantity,
    species: Option<&str>,
    device: &str,
    fuel_class: &str,
) -> Vec<&'a Factor> {
    let specificity = |factor: &Factor| {
        let fuel = factor.fuel.as_deref().map(|fuel| fuel == fuel_class);
        let device = factor.device.as_deref().map(|named| named == device);
        match (device, fuel) {
            (Some(false), _) | (_, Some(false)) => None,
            (Some(true), Some(true)) => Some(3),
            (None, Some(true)) => Some(2),
            (Some(true), None) => Some(1),
            (None, None) => Some(0),
        }
    };
    let fitting: Vec<(u8, &Factor)> = listed
        .iter()
        .filter(|factor| factor.quantity == quantity && factor.species.as_deref() == species)
        .filter_map(|factor| Some((specificity(factor)?, factor)))
        .collect();
    let best = fitting.iter().map(|(specificity, _)| *specificity).max();
    fitting
        .into_iter()
        .filter(|(s, _)| Some(*s) == best)
        .map(|(_, factor)| factor)
        .collect()
}

fn leakage_of(methodology: &Methodology) -> &FactorId {
    match &methodology.leakage {
        Leakage::Multiplier(id) => id,
        Leakage::Items(_) => panic!("{} itemises its leakage", methodology.code),
    }
}

fn permanence_of(rule: &CharRule) -> &FactorId {
    match &rule.permanence {
        Permanence::Factor(id) => id,
        Permanence::HydrogenToCarbon(rule) => &rule.unmeasured,
    }
}

fn listed_factors(methodology: &Methodology) -> Vec<Factor> {
    let published = by_id();
    methodology
        .factors
        .iter()
        .map(|id| {
            published
                .get(id)
                .unwrap_or_else(|| panic!("{id} is not published"))
                .clone()
        })
        .collect()
}

#[test]
fn each_methodology_lists_every_factor_it_names_once() {
    for methodology in supplied_methodologies().expect("the files are sound") {
        let listed: BTreeSet<&FactorId> = methodology.factors.iter().collect();
        assert_eq!(
            listed.len(),
            methodology.factors.len(),
            "{}",
            methodology.code
        );
        let published = by_id();
        let rule = &methodology.char_rule;
        let named = methodology
            .fuels
            .iter()
            .map(|fuel| (&fuel.non_renewable_fraction, Quantity::NonRenewableFraction));
        let named = named.chain([
            (leakage_of(&methodology), Quantity::LeakageMultiplier),
            (permanence_of(rule), Quantity::CharPermanence),
            (&rule.yield_bound, Quantity::CharYieldBound),
        ]);
        for (id, quantity) in named {
            assert!(listed.contains(id), "{} leaves out {id}", methodology.code);
            assert_eq!(
                published.get(id).map(|factor| factor.quantity),
                Some(quantity),
                "{id}"
            );
        }
    }
}

#[test]
fn exactly_one_factor_answers_each_need_of_each_methodology() {
    for methodology in supplied_methodologies().expect("the files are sound") {
        let listed = listed_factors(&methodology);
        let mut used: BTreeSet<FactorId> = BTreeSet::new();
        let mut single = |quantity, species: Option<&str>, device: &str, fuel: &str| {
            let found = answers(&listed, quantity, species, device, fuel);
            assert_eq!(
                found.len(),
                1,
                "{}: {quantity:?} {species:?} {device} {fuel}",
                methodology.code
            );
            used.extend(found.iter().map(|factor| factor.id()));
            found[0].unit.clone()
        };
        for device in DEVICES {
            for fuel in &methodology.fuels {
                let class = fuel.class.as_str();
                let unit = single(Quantity::NetCalorificValue, None, device, class);
                assert_eq!(unit, "MJ/kg dry fuel");
                for gas in ["CO2", "CH4", "N2O"] {
                    let unit = single(Quantity::EmissionFactor, Some(gas), device, class);
                    assert_eq!(unit, "kg/TJ");
                }
                for species in methodology
                    .species
                    .iter()
                    .filter(|species| *species != "BC")
                {
                    let unit = single(Quantity::EmissionFactor, Some(species), device, class);
                    assert_eq!(unit, "g/kg dry fuel");
                }
                single(Quantity::CharCarbonFraction, None, device, &fuel.char_class);
                // Black carbon: its own factor where one fits, else a share of the particulate.
                let own = answers(&listed, Quantity::EmissionFactor, Some("BC"), device, class);
                if own.is_empty() {
                    single(Quantity::BlackCarbonShare, None, device, class);
                } else {
                    single(Quantity::EmissionFactor, Some("BC"), device, class);
                }
            }
        }
        for gas in ["CH4", "N2O"] {
            single(Quantity::GlobalWarmingPotential, Some(gas), "", "");
        }
        let rule = &methodology.char_rule;
        used.extend(
            [
                leakage_of(&methodology),
                permanence_of(rule),
                &rule.yield_bound,
            ]
            .map(Clone::clone),
        );
        used.extend(
            methodology
                .fuels
                .iter()
                .map(|fuel| fuel.non_renewable_fraction.clone()),
        );
        let listed: BTreeSet<FactorId> = methodology.factors.iter().cloned().collect();
        assert_eq!(
            used, listed,
            "{} lists a factor it never needs",
            methodology.code
        );
    }
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
    let methodologies = supplied_methodologies().expect("the files are sound");
    let find = |code: &str| {
        methodologies
            .iter()
            .find(|methodology| methodology.code == code)
            .expect("supplied")
    };
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

#[test]
fn the_factor_set_of_a_methodology_is_the_one_it_states() {
    for methodology in supplied_methodologies().expect("the files are sound") {
        let prefix = format!(
            "gwp-{}-100-",
            methodology
                .gwp_set
                .split(' ')
                .next()
                .unwrap_or_default()
                .to_lowercase()
        );
        let potentials = listed_factors(&methodology)
            .into_iter()
            .filter(|factor| factor.quantity == Quantity::GlobalWarmingPotential);
        for potential in potentials {
            assert!(potential.code.starts_with(&prefix), "{}", potential.code);
        }
    }
}
