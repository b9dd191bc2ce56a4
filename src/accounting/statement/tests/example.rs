//! A small invented programme with round numbers, for the other tests to bend.

use crate::accounting::factor::{Factor, FactorId, Quantity, SourceMark, Spread};
use crate::accounting::inputs::*;
use crate::accounting::methodology::*;
use crate::accounting::statement::{Statement, state};
use rust_decimal::Decimal;
use std::collections::BTreeMap;
use std::str::FromStr;
use uuid::Uuid;

pub fn decimal(text: &str) -> Decimal {
    Decimal::from_str(text).unwrap()
}

pub fn id(code: &str) -> FactorId {
    FactorId {
        code: code.into(),
        version: 1,
    }
}

/// A factor without doubt; tests add spread where they want it.
pub fn factor(code: &str, quantity: Quantity, value: &str, unit: &str) -> Factor {
    Factor {
        code: code.into(),
        version: 1,
        quantity,
        species: None,
        device: None,
        fuel: None,
        value: decimal(value),
        unit: unit.into(),
        spread: Spread::Exact,
        source: "invented".into(),
        mark: SourceMark::Computed,
        note: None,
        char_treatment: None,
        gwp_set: (quantity == Quantity::GlobalWarmingPotential).then(|| "AR5 GWP100".into()),
    }
}

pub fn of(species: &str, mut factor: Factor) -> Factor {
    factor.species = Some(species.into());
    factor
}

pub fn in_device(device: &str, mut factor: Factor) -> Factor {
    factor.device = Some(device.into());
    factor
}

pub fn for_fuel(fuel: &str, mut factor: Factor) -> Factor {
    factor.fuel = Some(fuel.into());
    factor
}

fn factors() -> Vec<Factor> {
    use Quantity::*;
    let energy = |code: &str, species: &str, value: &str| {
        of(
            species,
            for_fuel("wood", factor(code, EmissionFactor, value, "kg/TJ")),
        )
    };
    let mass = |code: &str, device: &str, value: &str| {
        of(
            "PM2.5",
            in_device(device, factor(code, EmissionFactor, value, "g/kg dry fuel")),
        )
    };
    let share = |code: &str, device: &str, value: &str| {
        in_device(device, factor(code, BlackCarbonShare, value, "fraction"))
    };
    let carbon = |code: &str, class: &str, value: &str| {
        for_fuel(
            class,
            factor(code, CharCarbonFraction, value, "kg C/kg dry char"),
        )
    };
    vec![
        for_fuel(
            "wood",
            factor("ncv-wood", NetCalorificValue, "16", "MJ/kg dry fuel"),
        ),
        energy("co2-wood", "CO2", "100000"),
        energy("ch4-wood", "CH4", "300"),
        energy("n2o-wood", "N2O", "4"),
        of(
            "CH4",
            factor("gwp-ch4", GlobalWarmingPotential, "28", "kg CO2e/kg"),
        ),
        of(
            "N2O",
            factor("gwp-n2o", GlobalWarmingPotential, "265", "kg CO2e/kg"),
        ),
        mass("pm-fire", "three_stone_fire", "6"),
        mass("pm-gasifier", "gasifier", "2"),
        share("bc-share-fire", "three_stone_fire", "0.10"),
        share("bc-share-gasifier", "gasifier", "0.30"),
        carbon("carbon-wood-char", "wood", "0.77"),
        carbon("carbon-shell-char", "nut_shell", "0.75"),
        factor("leakage", LeakageMultiplier, "0.95", "fraction"),
        factor("fnrb-wood", NonRenewableFraction, "0.5", "fraction"),
        factor("fnrb-husk", NonRenewableFraction, "0", "fraction"),
        factor("permanence", CharPermanence, "0.80", "fraction"),
        factor(
            "yield-bound",
            CharYieldBound,
            "0.30",
            "kg dry char/kg dry fuel",
        ),
    ]
}

fn fuel(code: &str, class: &str, char_class: &str, fraction: &str) -> FuelRule {
    FuelRule {
        code: code.into(),
        class: class.into(),
        char_class: char_class.into(),
        non_renewable_fraction: id(fraction),
        made_from: None,
    }
}

fn methodology(factors: &[Factor]) -> Methodology {
    Methodology {
        code: "kitchen-test".into(),
        version: 3,
        title: "Kitchen tests of independent groups (invented)".into(),
        citations: vec![],
        fuel_method: FuelMethod::KitchenTestIndependent,
        fuel_per: FuelPer::Household,
        displacement: None,
        designs: SampleDesigns::default(),
        grace_days: 0,
        minimum_answers_per_age_band: 30,
        gwp_set: "AR5 GWP100".into(),
        non_renewable_on: NonRenewableOn::Co2,
        short_lived_sets: vec![],
        fuels: vec![
            fuel("wood", "wood", "wood", "fnrb-wood"),
            fuel("coconut_husk", "crop_residue", "nut_shell", "fnrb-husk"),
        ],
        species: vec!["PM2.5".into(), "BC".into()],
        factors: factors.iter().map(Factor::id).collect(),
        leakage: Leakage::Multiplier(id("leakage")),
        char_rule: CharRule {
            counted_in: CharPlace::SoilSink,
            durable_fates: vec!["soil".into()],
            carbon: CharCarbon::Cited,
            permanence: Permanence::Factor(id("permanence")),
            yield_bound: id("yield-bound"),
        },
        uncertainty: UncertaintyRule {
            // As few as may be: hundreds of statements are drawn in these tests.
            draws: 1_000,
            // Two kitchens in a group always part the approaches; no note on that here.
            agreement: decimal("1000000"),
            ..UncertaintyRule::default()
        },
        claim: ClaimRule {
            confidence: decimal("0.90"),
            sides: Sides::One,
            precision: Some(decimal("0.30")),
            fallback: Fallback::LowerBound,
            floor_t: None,
        },
    }
}

pub fn burn(device: &str) -> Burn {
    Burn {
        device: device.into(),
        fuel: "wood".into(),
    }
}

/// A kitchen of three days and nine standard-adult days; kg over all days.
pub fn kitchen(code: &str, dry: &[(&str, &str)]) -> KitchenHousehold {
    KitchenHousehold {
        household: code.into(),
        site: "north".into(),
        days: 3,
        adult_days: decimal("9"),
        dry_kg: dry
            .iter()
            .map(|(device, kg)| (burn(device), decimal(kg)))
            .collect(),
    }
}

pub fn lot(feedstock: &str, fate: &str, kg: &str) -> CharLot {
    CharLot {
        feedstock: feedstock.into(),
        fate: fate.into(),
        weighings: 10,
        dry_kg: decimal(kg),
        over_bound_weighings: 0,
        over_bound_dry_kg: Decimal::ZERO,
    }
}

fn cohort(age_band: u32, stove_days: u64) -> CohortDays {
    CohortDays {
        model_code: "drum".into(),
        model_version: 1,
        site_code: "north".into(),
        age_band,
        stove_days,
        stoves: 400,
    }
}

/// See `by_hand.rs` for what this programme must come to.
pub fn example() -> StatementInputs {
    let factors = factors();
    StatementInputs {
        programme: ProgrammeName {
            id: Uuid::nil(),
            code: "isle".into(),
            name: "An invented island".into(),
        },
        period: Period {
            code: "2025".into(),
            starts_on: "2025-01-01".parse().unwrap(),
            ends_on: "2026-01-01".parse().unwrap(),
        },
        position: 42,
        methodology: methodology(&factors),
        factors,
        cohorts: vec![cohort(0, 100_000), cohort(1, 50_000)],
        usage: vec![
            UsageCount {
                age_band: 0,
                in_use: 80,
                not_in_use: 10,
                not_found: 7,
                refused: 3,
                ..UsageCount::default()
            },
            UsageCount {
                age_band: 1,
                in_use: 30,
                not_in_use: 15,
                not_found: 5,
                refused: 0,
                ..UsageCount::default()
            },
        ],
        baseline_kitchens: vec![
            kitchen("b1", &[("three_stone_fire", "12")]),
            kitchen("b2", &[("three_stone_fire", "18")]),
        ],
        project_kitchens: vec![
            kitchen("p1", &[("gasifier", "6"), ("three_stone_fire", "3")]),
            kitchen("p2", &[("gasifier", "6")]),
        ],
        char_lots: vec![
            lot("coconut_husk", "burnt", "500"),
            lot("coconut_husk", "soil", "10000"),
        ],
        baseline_survey: vec![],
        cooking_tests: vec![],
        stove_tests: vec![],
        char_lab: vec![],
        to_draw_from: vec![],
        open_flags: BTreeMap::new(),
        evidence: vec![],
    }
}

pub fn set(inputs: &mut StatementInputs, code: &str, value: &str) {
    let factor = inputs
        .factors
        .iter_mut()
        .find(|factor| factor.code == code)
        .unwrap();
    factor.value = decimal(value);
}

pub fn add(inputs: &mut StatementInputs, factor: Factor) {
    inputs.methodology.factors.push(factor.id());
    inputs.factors.push(factor);
}

pub fn without(inputs: &mut StatementInputs, code: &str) {
    inputs.factors.retain(|factor| factor.code != code);
    inputs.methodology.factors.retain(|id| id.code != code);
}

/// The unrounded-enough value of a node, eight digits.
pub fn node(statement: &Statement, id: &str) -> Decimal {
    statement
        .trace
        .node(id)
        .unwrap_or_else(|| panic!("no node {id}"))
        .value
}

pub fn figure(statement: &Statement, id: &str) -> Decimal {
    statement
        .figure(id)
        .unwrap_or_else(|| panic!("no figure {id}"))
        .value
}

pub fn stated(inputs: &StatementInputs) -> Statement {
    state(inputs).unwrap()
}
