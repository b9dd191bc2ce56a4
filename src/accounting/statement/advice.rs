//! What would make a claim's interval narrower, and by how much.

use super::Figure;
use super::draft::Draft;
use crate::accounting::inputs::EvidenceRole;
use crate::accounting::rounding::{from_statistic, to_statistic};
use crate::accounting::trace::{Improvement, Origin};
use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};

/// A gain of less than this part of the value is not worth a word.
const WORTH_A_WORD: f64 = 0.001;

/// One way to a narrower interval, in a plain sentence.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Advice {
    /// The figure whose interval it is.
    pub figure: String,
    /// The input to improve, as the ranking of variances calls it.
    pub input: String,
    /// Half-width of the propagated interval over the value, now and then.
    #[serde(with = "rust_decimal::serde::str")]
    pub half_width: Decimal,
    #[serde(with = "rust_decimal::serde::str")]
    pub half_width_then: Decimal,
    pub sentence: String,
}

/// For each of the claim figures: the input that gains most, and where that is no survey of the
/// programme's own, the survey that does.
pub(super) fn advice(
    draft: &mut Draft,
    figures: &[Figure],
    claimed: &[(&str, &str)],
) -> Option<Vec<Advice>> {
    let mut given = Vec::new();
    for (id, word) in claimed {
        let Some(figure) = figures.iter().find(|figure| figure.id == *id) else {
            continue;
        };
        let Some(node) = draft.ledger.find(&figure.node) else {
            continue;
        };
        let value = to_statistic(draft.ledger.value(node));
        let found = draft.ledger.improvements(node);
        let found = draft.keep(found)?;
        if value <= 0.0 {
            continue;
        }
        let worth =
            |one: &&Improvement| one.half_width - one.half_width_then >= WORTH_A_WORD * value;
        let is_survey = |one: &&Improvement| matches!(one.origin, Origin::Survey(_));
        let best = found.iter().find(worth);
        let survey = found.iter().filter(is_survey).find(worth);
        let survey = survey.filter(|_| !best.as_ref().is_some_and(is_survey));
        let confidence = figure.confidence;
        let told = [best, survey].into_iter().flatten();
        given.extend(told.filter_map(|one| sentence(one, id, word, value, confidence)));
    }
    Some(given)
}

fn sentence(
    one: &Improvement,
    figure: &str,
    word: &str,
    value: f64,
    confidence: Decimal,
) -> Option<Advice> {
    let part = |half_width: f64| Some(from_statistic(half_width / value)?.round_dp(4).normalize());
    let (half_width, half_width_then) = (part(one.half_width)?, part(one.half_width_then)?);
    let confidence = confidence.checked_mul(Decimal::ONE_HUNDRED)?.normalize();
    let (now, then) = percents(half_width, half_width_then)?;
    Some(Advice {
        figure: figure.to_owned(),
        input: one.input.clone(),
        half_width,
        half_width_then,
        sentence: format!(
            "{}, the {confidence} % interval of the {word} would shrink from ±{now} % to ±{then} %.",
            condition(one)
        ),
    })
}

/// `With twice as many households in the project kitchen tests`
fn condition(one: &Improvement) -> String {
    // The size of the sample stands in brackets at the end of its name.
    let short = one.input.split(" (").next().unwrap_or(&one.input);
    match one.origin {
        Origin::Survey(EvidenceRole::BaselineKitchens | EvidenceRole::ProjectKitchens) => {
            format!("With twice as many households in the {short}")
        }
        Origin::Survey(_) => format!("With a sample of twice the size of the {short}"),
        Origin::Factor | Origin::Assumption => {
            format!("If the {} were known half as widely", one.input)
        }
    }
}

/// Whole percent, or with a decimal where the two would look alike.
fn percents(now: Decimal, then: Decimal) -> Option<(Decimal, Decimal)> {
    let percent = |part: Decimal, places: u32| {
        Some(
            part.checked_mul(Decimal::ONE_HUNDRED)?
                .round_dp(places)
                .normalize(),
        )
    };
    let whole = (percent(now, 0)?, percent(then, 0)?);
    if whole.0 - whole.1 >= Decimal::ONE {
        return Some(whole);
    }
    Some((percent(now, 1)?, percent(then, 1)?))
}
