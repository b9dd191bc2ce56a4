//! One statement explained by another: each cause, and sums that are exact.

use super::example::*;
use crate::accounting::factor::Spread;
use crate::accounting::inputs::*;
use crate::accounting::methodology::Leakage;
use crate::accounting::statement::{CauseKind, ExplainError, Explanation, FigureChange, explain};
use proptest::prelude::*;
use rust_decimal::Decimal;

fn change<'e>(explanation: &'e Explanation, id: &str) -> &'e FigureChange {
    let found = explanation.figures.iter().find(|figure| figure.id == id);
    found.unwrap_or_else(|| panic!("{id} did not move: {explanation:?}"))
}

/// Every difference is the exact sum of its parts and its rounding.
fn sums_up(explanation: &Explanation) {
    for figure in explanation.figures.iter().chain(&explanation.claims) {
        let parts: Decimal = figure.parts.iter().map(|part| part.moved).sum();
        assert_eq!(
            figure.after - figure.before,
            figure.difference,
            "{}",
            figure.id
        );
        assert_eq!(parts + figure.rounding, figure.difference, "{}", figure.id);
        for part in &figure.parts {
            assert!(
                explanation.causes.get(part.cause).is_some(),
                "{}",
                figure.id
            );
        }
    }
}

fn newer(inputs: &mut StatementInputs, code: &str, value: &str) {
    let old = id(code);
    let factor = inputs
        .factors
        .iter_mut()
        .find(|factor| factor.code == code)
        .unwrap();
    factor.version = 2;
    factor.value = decimal(value);
    let new = factor.id();
    for listed in &mut inputs.methodology.factors {
        if *listed == old {
            *listed = new.clone();
        }
    }
    let rule = &mut inputs.methodology;
    if rule.leakage == Leakage::Multiplier(old.clone()) {
        rule.leakage = Leakage::Multiplier(new.clone());
    }
    for fuel in &mut rule.fuels {
        if fuel.non_renewable_fraction == old {
            fuel.non_renewable_fraction = new.clone();
        }
    }
}

#[test]
fn nothing_moves_nothing() {
    let found = explain(&example(), &example()).unwrap();
    assert_eq!(
        (found.causes.len(), found.figures.len(), found.claims.len()),
        (0, 0, 0)
    );
}

/// Leakage 0.95 to 0.90 takes 0.05 of the gross reductions, which are the stated ones over 0.95.
#[test]
fn a_newer_factor_moves_what_it_multiplies() {
    let mut after = example();
    newer(&mut after, "leakage", "0.90");
    let found = explain(&example(), &after).unwrap();
    sums_up(&found);
    let [cause] = found.causes.as_slice() else {
        panic!("one cause, not {:?}", found.causes);
    };
    assert_eq!(
        (cause.kind, cause.title.as_str()),
        (CauseKind::Factor, "factor leakage")
    );
    assert!(
        cause.change.contains("0.95") && cause.change.contains("leakage@2"),
        "{}",
        cause.change
    );
    let moved = change(&found, "reductions_co2e");
    let gross = moved.before / decimal("0.95");
    let expected = -gross * decimal("0.05");
    assert!(
        (moved.parts[0].moved - expected).abs() < decimal("0.001"),
        "{moved:?}"
    );
    assert!(found.figures.iter().all(|figure| figure.id != "fuel_saved"));
}

/// 12 kg in 3 days becomes 15: half a kilogram more a day in the mean of two kitchens.
#[test]
fn a_corrected_kitchen_is_named_with_its_part() {
    let mut after = example();
    after.baseline_kitchens[0] = kitchen("b1", &[("three_stone_fire", "15")]);
    let found = explain(&example(), &after).unwrap();
    sums_up(&found);
    assert_eq!(found.causes.len(), 1);
    let cause = &found.causes[0];
    assert_eq!(cause.title, "kitchen test of b1, baseline");
    assert_eq!(
        cause.change.matches("three_stone_fire").count(),
        2,
        "{}",
        cause.change
    );
    let place = cause.evidence.as_ref().unwrap();
    assert_eq!(place.role, EvidenceRole::BaselineKitchens);
    assert_eq!(place.at["household_code"], "b1");
    let saved = change(&found, "fuel_saved_per_household_day");
    assert_eq!(saved.parts[0].moved, decimal("0.5"));
}

#[test]
fn several_causes_share_out_the_whole() {
    let mut after = example();
    after.usage[0].in_use = 90;
    after.usage[0].not_in_use = 0;
    after
        .project_kitchens
        .push(kitchen("p3", &[("gasifier", "7")]));
    newer(&mut after, "ncv-wood", "17");
    after.methodology.claim.precision = None;
    let found = explain(&example(), &after).unwrap();
    sums_up(&found);
    let titles: Vec<&str> = found
        .causes
        .iter()
        .map(|cause| cause.title.as_str())
        .collect();
    assert_eq!(
        titles,
        [
            "usage answers of , stoves in year 1",
            "kitchen test of p3, project",
            "factor ncv-wood",
            "rule claim"
        ]
    );
    assert_eq!(change(&found, "reductions_co2e").parts.len(), 3);
}

/// A new fNRB factor and the fuel rule that names it can only come together.
#[test]
fn what_cannot_stand_apart_is_one_cause() {
    let mut after = example();
    without(&mut after, "fnrb-wood");
    let mut study = example()
        .factors
        .into_iter()
        .find(|f| f.code == "fnrb-wood")
        .unwrap();
    study.code = "fnrb-study".into();
    study.value = decimal("0.4");
    study.spread = Spread::Exact;
    add(&mut after, study);
    after.methodology.fuels[0].non_renewable_fraction = id("fnrb-study");
    let found = explain(&example(), &after).unwrap();
    sums_up(&found);
    // The study alone moves nothing: no rule names it yet.
    let kinds: Vec<CauseKind> = found.causes.iter().map(|cause| cause.kind).collect();
    assert_eq!(kinds, [CauseKind::Factor, CauseKind::Together]);
    assert_eq!(found.causes[1].title, "factor fnrb-wood; rule fuels");
    let moved = change(&found, "reductions_co2e");
    assert_eq!((moved.parts.len(), moved.parts[0].cause), (1, 1));
}

#[test]
fn other_periods_and_unstatable_inputs_are_refused() {
    let mut other = example();
    other.period.code = "2026".into();
    assert_eq!(explain(&example(), &other), Err(ExplainError::OtherPeriod));
    let mut broken = example();
    broken.project_kitchens.clear();
    assert!(matches!(
        explain(&example(), &broken),
        Err(ExplainError::Gaps(_))
    ));
}

#[test]
fn batches_read_by_one_alone_are_listed() {
    let batch = |digit: u128| BatchRef {
        id: uuid::Uuid::from_u128(digit),
        rows: 3,
        root: "00".into(),
    };
    let set = |batches| EvidenceSet {
        role: EvidenceRole::Usage,
        rounds: vec!["u".into()],
        batches,
    };
    let (mut before, mut after) = (example(), example());
    before.evidence = vec![set(vec![batch(1), batch(2)])];
    after.evidence = vec![set(vec![batch(2), batch(3)])];
    let found = explain(&before, &after).unwrap();
    assert_eq!(found.batches_added[0].batch, batch(3));
    assert_eq!(found.batches_removed[0].batch, batch(1));
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]
    #[test]
    fn parts_always_add_up(
        used in 1u64..200, baseline in 1i64..4000, project in 1i64..3000, days in 1u64..900_000,
        leakage in 50i64..100, char in 0i64..20_000,
    ) {
        let mut after = example();
        after.usage[1].in_use = used;
        after.cohorts[0].stove_days = days;
        let kg = |hundredths: i64| Decimal::new(hundredths, 2).to_string();
        after.baseline_kitchens[1] = kitchen("b2", &[("three_stone_fire", &kg(baseline))]);
        after.project_kitchens[0] = kitchen("p1", &[("gasifier", &kg(project))]);
        after.char_lots[1].dry_kg = Decimal::from(char);
        newer(&mut after, "leakage", &Decimal::new(leakage, 2).to_string());
        let found = explain(&example(), &after).unwrap();
        sums_up(&found);
        let back = explain(&after, &example()).unwrap();
        sums_up(&back);
    }
}
