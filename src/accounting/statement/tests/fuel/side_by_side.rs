//! One body of evidence under several methodologies.

use super::*;
use crate::accounting::methodology::FinitePopulation;
use crate::accounting::statement::side_by_side;

fn named(inputs: &StatementInputs, code: &str) -> (Methodology, Vec<Factor>) {
    let mut methodology = inputs.methodology.clone();
    methodology.code = code.into();
    (methodology, inputs.factors.clone())
}

/// All the evidence of the tests of this folder together.
fn all_evidence() -> StatementInputs {
    let mut inputs = by_cooking_tests();
    inputs.project_kitchens = example().project_kitchens;
    inputs
}

#[test]
fn each_methodology_states_what_it_would_state_alone() {
    let inputs = all_evidence();
    let methodologies = [
        named(&example(), "kitchen"),
        named(&by_cooking_tests(), "cooking"),
        named(&by_efficiencies(), "efficiency"),
    ];
    let found = side_by_side(&inputs, &methodologies);
    // 275, 159.75 and 233.889 t: the same as each method's own tests by hand.
    for (side, (code, saved)) in found.iter().zip([
        ("kitchen", "275"),
        ("cooking", "159.75"),
        ("efficiency", "233.889"),
    ]) {
        assert_eq!(side.methodology.code, code);
        let headline = side.outcome.as_ref().unwrap();
        let ids: Vec<&str> = headline.figures.iter().map(|f| f.id.as_str()).collect();
        assert_eq!(
            ids,
            [
                "fuel_saved_per_household_day",
                "fuel_saved",
                "reductions_co2e",
                "removals_co2"
            ]
        );
        assert_eq!(headline.figures[1].value, decimal(saved), "{code}");
        assert_eq!(headline.claims.removals.tonnes.tonnes(), 22);
    }
    assert_eq!(found.len(), 3);
}

#[test]
fn what_one_methodology_lacks_does_not_stop_the_others() {
    let inputs = example();
    let found = side_by_side(
        &inputs,
        &[
            named(&by_cooking_tests(), "cooking"),
            named(&example(), "kitchen"),
        ],
    );
    let gaps = found[0].outcome.as_ref().unwrap_err();
    assert!(
        gaps.iter().any(|gap| gap.code == "no-cooking-test"),
        "{gaps:?}"
    );
    assert!(found[1].outcome.is_ok());
}

#[test]
fn evidence_counted_by_other_rules_is_refused() {
    let mut late = named(&example(), "late");
    late.0.grace_days = 30;
    let mut strict = named(&example(), "strict");
    for factor in strict.1.iter_mut().filter(|f| f.code == "yield-bound") {
        factor.value = decimal("0.25");
    }
    let codes: Vec<Vec<String>> = side_by_side(&example(), &[late, strict])
        .into_iter()
        .map(|side| side.outcome.unwrap_err())
        .map(|gaps| gaps.into_iter().map(|gap| gap.code).collect())
        .collect();
    assert_eq!(
        codes,
        [["stove-days-counted-otherwise"], ["char-counted-otherwise"]]
    );
}

#[test]
fn a_methodology_that_counts_populations_wants_them_counted() {
    let inputs = example();
    let (mut counting, factors) = named(&inputs, "counting");
    counting.designs.finite_population = FinitePopulation::Register;
    let found = side_by_side(&inputs, &[(counting.clone(), factors)]);
    let gaps = found[0].outcome.as_ref().unwrap_err();
    assert_eq!(gaps[0].code, "population-not-counted");
    assert!(
        gaps[0].sentence.starts_with("counting@3 corrects"),
        "{gaps:?}"
    );
    // Counted for one that asks, they serve one that does not.
    let mut counted = example();
    counted.methodology = counting;
    let found = side_by_side(&counted, &[named(&inputs, "kitchen")]);
    assert!(found[0].outcome.is_ok());
}
