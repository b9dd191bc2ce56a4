//! The two approaches to uncertainty held against each other, and why they part.

use super::Figure;
use super::draft::Draft;
use super::figures::CLAIMED;
use super::simulation::{SimulatedFigure, Simulation};
use crate::accounting::methodology::Approach;
use crate::accounting::rounding::to_statistic;
use crate::accounting::trace::Peculiarity;
use rust_decimal::Decimal;
use std::collections::BTreeMap;

/// Standard errors of a quantile that a distance must exceed before it is more than chance.
const CHANCE: f64 = 3.0;

/// Notes what a reader must know of the draws: where the approaches part, where there are too few.
pub(super) fn note(draft: &mut Draft, figures: &[Figure], simulation: &Simulation) {
    let mut parted: BTreeMap<String, Vec<&str>> = BTreeMap::new();
    let (mut short, mut lost) = (Vec::new(), Vec::new());
    let rests_on_draws = draft.inputs.methodology.uncertainty.claim_from == Approach::MonteCarlo;
    let is_claimed = |figure: &Figure| CLAIMED.iter().any(|(id, _)| *id == figure.id);
    for figure in figures {
        let Some(drawn) = simulation.figure(&figure.id) else {
            continue;
        };
        if !drawn.draws_suffice && rests_on_draws && is_claimed(figure) {
            short.push(figure.label.as_str());
        }
        if drawn.not_finite > 0 {
            lost.push(format!("{} of {}", drawn.not_finite, figure.label));
        }
        if parts(draft, figure, drawn) {
            let why = reasons(draft, figure);
            parted.entry(why).or_default().push(&figure.label);
        }
    }
    let agreement = draft.inputs.methodology.uncertainty.agreement;
    let percent = agreement
        .checked_mul(Decimal::ONE_HUNDRED)
        .unwrap_or(agreement)
        .normalize();
    for (why, labels) in parted {
        let sentence = format!(
            "Propagated and simulated bounds part by more than {percent} % of the value for {}: {why}.",
            listed(&labels)
        );
        draft.note("approaches-part", sentence);
    }
    if !short.is_empty() {
        let sentence = format!(
            "{} draws leave a bound less certain than 1 % of the value for {}.",
            simulation.draws,
            listed(&short)
        );
        draft.note("too-few-draws", sentence);
    }
    if !lost.is_empty() {
        let sentence = format!(
            "Draws that came to no number were left out: {}.",
            lost.join(", ")
        );
        draft.note("draws-without-number", sentence);
    }
}

/// Whether either pair of bounds is further apart than the methodology lets pass.
fn parts(draft: &Draft, figure: &Figure, drawn: &SimulatedFigure) -> bool {
    let agreement = to_statistic(draft.inputs.methodology.uncertainty.agreement);
    let value = to_statistic(figure.value).abs();
    let apart = |propagated: Decimal, drawn: Option<Decimal>, error: Option<Decimal>| {
        let Some(drawn) = drawn else { return true };
        let chance = CHANCE * error.map_or(0.0, to_statistic);
        (to_statistic(propagated) - to_statistic(drawn)).abs() > agreement * value + chance
    };
    apart(figure.lower, drawn.lower, drawn.lower_error)
        || apart(figure.upper, drawn.upper, drawn.upper_error)
}

fn reasons(draft: &Draft, figure: &Figure) -> String {
    let found = match draft.ledger.find(&figure.node) {
        Some(node) => draft.ledger.peculiarities(node),
        None => Default::default(),
    };
    let said: Vec<String> = found.iter().map(words).collect();
    if said.is_empty() {
        return "several wide inputs are multiplied or divided, and propagation follows each only \
                in a straight line"
            .to_owned();
    }
    said.join("; ")
}

fn words(peculiarity: &Peculiarity) -> String {
    match peculiarity {
        Peculiarity::Skewed { input } => {
            format!("the {input} is skewed, and propagation takes it as even on both sides")
        }
        Peculiarity::NearBound { input } => {
            format!("the {input} lie so near nothing or all that an even interval leaves the range")
        }
        Peculiarity::FewDegrees { input } => {
            format!("the {input} are few, so the tails of their mean are long")
        }
        Peculiarity::CutOff { label } => {
            format!("the {label} is cut off at a bound that its interval crosses")
        }
    }
}

/// `a, b and c`
fn listed(labels: &[&str]) -> String {
    match labels {
        [] => String::new(),
        [one] => (*one).to_owned(),
        [most @ .., last] => format!("{} and {last}", most.join(", ")),
    }
}
