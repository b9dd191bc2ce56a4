//! The statement's simulation: the same draws each time, its claims, its notes, its advice.

use super::example::*;
use crate::accounting::claim::Basis;
use crate::accounting::factor::Spread;
use crate::accounting::inputs::StatementInputs;
use crate::accounting::methodology::{Approach, Sides};
use crate::accounting::rounding::to_statistic;
use crate::accounting::statement::{SimulatedFigure, Statement, compare, state};

/// Thirty kitchens in each group, so that every mean and variance exists.
fn well_surveyed() -> StatementInputs {
    let mut inputs = example();
    let kitchens = |arm: &str, device: &str, base: u32| {
        let one = |at: u32| {
            let kg = format!("{}.{}", base + at * 7 % 5, at * 3 % 10);
            kitchen(&format!("{arm}{at}"), &[(device, kg.as_str())])
        };
        (0..30).map(one).collect::<Vec<_>>()
    };
    inputs.baseline_kitchens = kitchens("b", "three_stone_fire", 13);
    inputs.project_kitchens = kitchens("p", "gasifier", 5);
    inputs.methodology.uncertainty.draws = 20_000;
    inputs.methodology.uncertainty.agreement = decimal("0.05");
    inputs
}

fn spread(inputs: &mut StatementInputs, code: &str, spread: Spread) {
    let factor = inputs.factors.iter_mut().find(|factor| factor.code == code);
    factor.unwrap().spread = spread;
}

fn drawn<'a>(statement: &'a Statement, id: &str) -> &'a SimulatedFigure {
    statement.simulation.as_ref().unwrap().figure(id).unwrap()
}

fn number(value: Option<rust_decimal::Decimal>) -> f64 {
    to_statistic(value.unwrap())
}

#[test]
fn the_same_inputs_are_drawn_alike_and_another_position_otherwise() {
    let inputs = example();
    let (first, again) = (stated(&inputs), stated(&inputs));
    assert_eq!(first, again);
    let mut later = inputs;
    later.position += 1;
    let later = stated(&later);
    let seed = |statement: &Statement| statement.simulation.as_ref().unwrap().seed.clone();
    assert_eq!(seed(&first).len(), 16);
    assert_ne!(seed(&first), seed(&later));
    let places: Vec<String> = compare(&first, &later)
        .into_iter()
        .map(|one| one.place)
        .collect();
    assert!(
        places.contains(&"simulation, seed".to_owned()),
        "{places:?}"
    );
    assert!(
        places
            .iter()
            .any(|place| place.starts_with("simulated figure reductions_co2e"))
    );
}

#[test]
fn a_doctored_simulation_or_advice_is_found() {
    let statement = stated(&well_surveyed());
    let mut doctored = statement.clone();
    let simulation = doctored.simulation.as_mut().unwrap();
    simulation.figures[0].lower = Some(decimal("1"));
    doctored.advice[0].sentence.push('!');
    let places: Vec<String> = compare(&doctored, &statement)
        .into_iter()
        .map(|one| one.place)
        .collect();
    assert_eq!(places.len(), 2, "{places:?}");
    assert_eq!(places[0], "simulated figure reductions_co2e, lower");
    doctored.simulation = None;
    assert!(!compare(&doctored, &statement).is_empty());
}

/// With narrow symmetric inputs the two approaches agree (IPCC 2006 Vol 1 Ch 3, section 3.2.3: with
/// low uncertainty both give the same; SEEN(24) of the reference sheet).
#[test]
fn both_approaches_agree_where_doubt_is_small() {
    let statement = stated(&well_surveyed());
    for id in ["fuel_saved", "household_days_in_use", "reductions_co2e"] {
        let (figure, drawn) = (statement.figure(id).unwrap(), drawn(&statement, id));
        let value = to_statistic(figure.value);
        for (propagated, simulated, error) in [
            (figure.lower, drawn.lower, drawn.lower_error),
            (figure.upper, drawn.upper, drawn.upper_error),
        ] {
            let apart = (to_statistic(propagated) - number(simulated)).abs();
            assert!(
                apart <= 4.0 * number(error) + 0.01 * value,
                "{id} {apart} {value}"
            );
        }
        assert!(drawn.draws_suffice, "{id}");
        assert_eq!(drawn.not_finite, 0);
    }
    assert!(
        statement
            .notes
            .iter()
            .all(|note| note.code != "approaches-part"),
        "{:?}",
        statement.notes
    );
}

#[test]
fn what_is_counted_is_not_in_doubt() {
    let statement = stated(&example());
    let days = drawn(&statement, "stoves_in_service_days");
    assert_eq!(days.lower, days.upper);
    assert_eq!(days.lower, Some(decimal("150000")));
    assert_eq!(days.mean, Some(decimal("150000")));
    assert!(days.contributions.is_empty());
}

/// Two kitchens leave one degree of freedom: Student's t then has neither mean nor variance.
#[test]
fn what_does_not_exist_is_not_stated_and_the_note_says_why() {
    let mut inputs = example();
    inputs.methodology.uncertainty.agreement = decimal("0.05");
    let statement = stated(&inputs);
    let reductions = drawn(&statement, "reductions_co2e");
    assert_eq!(
        (reductions.mean, reductions.standard_deviation),
        (None, None)
    );
    assert!(reductions.lower.is_some() && reductions.contributions.is_empty());
    let note = statement
        .notes
        .iter()
        .find(|note| note.code == "approaches-part");
    let sentence = &note.unwrap().sentence;
    assert!(sentence.contains("are few, so the tails"), "{sentence}");
}

#[test]
fn a_skewed_factor_is_named_as_the_reason() {
    let mut inputs = well_surveyed();
    let wide = Spread::Lognormal {
        lower: decimal("100"),
        upper: decimal("900"),
        confidence: decimal("0.95"),
    };
    spread(&mut inputs, "ch4-wood", wide);
    let statement = stated(&inputs);
    let notes = statement
        .notes
        .iter()
        .filter(|note| note.code == "approaches-part");
    let sentences: Vec<&str> = notes.map(|note| note.sentence.as_str()).collect();
    let named = sentences.iter().any(|sentence| {
        sentence.contains("ch4-wood@1")
            && sentence.contains("is skewed")
            && sentence.contains("5 %")
    });
    assert!(named, "{sentences:?}");
    let contributions = &drawn(&statement, "ch4_avoided").contributions;
    assert!(
        contributions[0].input.contains("ch4-wood@1"),
        "{contributions:?}"
    );
    assert!(contributions[0].first_order > decimal("0.8"));
}

#[test]
fn the_claim_rests_on_the_draws_where_the_methodology_says_so() {
    for (sides, words) in [
        (Sides::One, "simulated one-sided"),
        (Sides::Two, "simulated two-sided"),
    ] {
        let mut inputs = well_surveyed();
        inputs.methodology.claim.precision = None;
        inputs.methodology.claim.sides = sides;
        inputs.methodology.uncertainty.claim_from = Approach::MonteCarlo;
        let statement = stated(&inputs);
        let drawn = drawn(&statement, "reductions_co2e");
        let bound = match sides {
            Sides::One => drawn.lower_one_sided,
            Sides::Two => drawn.lower,
        };
        let claim = &statement.claims.reductions;
        assert_eq!(
            claim.tonnes.tonnes().to_string(),
            bound.unwrap().floor().to_string()
        );
        assert_eq!(claim.basis, Basis::LowerBound);
        assert!(claim.rule.contains(words), "{}", claim.rule);
    }
}

#[test]
fn draws_out_of_range_are_a_gap() {
    let mut inputs = example();
    inputs.methodology.uncertainty.draws = 10;
    let gaps = state(&inputs).unwrap_err();
    assert!(
        gaps[0].sentence.contains("1,000 to 10,000,000 draws"),
        "{gaps:?}"
    );
}

#[test]
fn advice_names_the_survey_and_what_it_would_bring() {
    let statement = stated(&well_surveyed());
    let advice = &statement.advice[0];
    assert_eq!(advice.figure, "reductions_co2e");
    assert!(advice.half_width_then < advice.half_width);
    assert!(
        advice.sentence.contains("90 % interval of the reductions"),
        "{}",
        advice.sentence
    );
    assert!(
        advice
            .sentence
            .starts_with("With a sample of twice the size of the usage answers, age band 0"),
        "{}",
        advice.sentence
    );
}
