//! The second approach to uncertainty: the whole account drawn many times.
//!
//! The seed is a hash of what the statement is a function of, so that the draws are part of the
//! function: same inputs, same draws, same bytes, however many threads drew them.

use super::Figure;
use super::draft::Draft;
use crate::accounting::inputs::StatementInputs;
use crate::accounting::methodology::Sides;
use crate::accounting::rounding::{FIGURE_DIGITS, from_statistic, to_digits, to_statistic};
use crate::accounting::trace::{LedgerError, LedgerModel, NodeRef};
use crate::statistics::StatisticsError;
use crate::statistics::monte_carlo::{
    Contribution, Contributions, Quantile, Simulated, Summary, contributions, simulate,
};
use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};
use std::num::NonZero;

/// Inputs named beside a simulated figure.
const SHOWN_CONTRIBUTIONS: usize = 8;
/// Draws of each set that contributions are found from, by the draws of the figures.
const DRAWS_PER_CONTRIBUTION_DRAW: u64 = 8;
const CONTRIBUTION_DRAWS: (u64, u64) = (128, 2_048);
/// A quantile is known well enough when its own 95 % error is within this part of the value.
const SUFFICIENT: f64 = 0.01;
const TWO_SIDED_95: f64 = 1.96;
/// Decimals of an index, as of a share of the variance.
const INDEX_DECIMALS: u32 = 4;
/// A Student t has no variance up to 2 degrees of freedom and no mean up to 1.
const NO_VARIANCE_TO: f64 = 2.0;
const NO_MEAN_TO: f64 = 1.0;

/// How the account was drawn, and what came of it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Simulation {
    pub draws: u64,
    /// 16 hexadecimal digits: the first 8 bytes of a SHA-256 over programme, period, methodology
    /// and position.
    pub seed: String,
    /// Draws of each of the sets that contributions were found from.
    pub contribution_draws: u64,
    /// Evaluations of the account for contributions: `contribution_draws * (inputs + 2)`.
    pub contribution_evaluations: u64,
    /// In the order of the statement's figures.
    pub figures: Vec<SimulatedFigure>,
}

impl Simulation {
    pub fn figure(&self, id: &str) -> Option<&SimulatedFigure> {
        self.figures.iter().find(|figure| figure.id == id)
    }
}

/// One figure as its draws have it, in the unit of the figure, rounded as figures are.
///
/// What no number can be given for is absent: a mean or standard deviation that does not exist
/// because a survey has too few units, a bound of draws that came to no number.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SimulatedFigure {
    pub id: String,
    #[serde(with = "rust_decimal::serde::str_option", default)]
    pub mean: Option<Decimal>,
    #[serde(with = "rust_decimal::serde::str_option", default)]
    pub standard_deviation: Option<Decimal>,
    /// Quantiles of the same two-sided confidence as the figure's own interval.
    #[serde(with = "rust_decimal::serde::str_option", default)]
    pub lower: Option<Decimal>,
    #[serde(with = "rust_decimal::serde::str_option", default)]
    pub upper: Option<Decimal>,
    /// Standard errors of the two, from the number of draws.
    #[serde(with = "rust_decimal::serde::str_option", default)]
    pub lower_error: Option<Decimal>,
    #[serde(with = "rust_decimal::serde::str_option", default)]
    pub upper_error: Option<Decimal>,
    /// Lower bound of the one-sided interval, where the claim rule is one-sided.
    #[serde(
        with = "rust_decimal::serde::str_option",
        default,
        skip_serializing_if = "Option::is_none"
    )]
    pub lower_one_sided: Option<Decimal>,
    /// Whether both quantiles are known within 1 % of the value (at 95 %).
    pub draws_suffice: bool,
    /// Draws left out because they came to no number.
    pub not_finite: u64,
    /// Indices of the inputs, the largest total first.
    pub contributions: Vec<InputContribution>,
}

/// What an input brings to the variance of a figure: alone, and with all it interacts with.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct InputContribution {
    pub input: String,
    pub nodes: Vec<String>,
    #[serde(with = "rust_decimal::serde::str")]
    pub first_order: Decimal,
    #[serde(with = "rust_decimal::serde::str")]
    pub first_order_error: Decimal,
    #[serde(with = "rust_decimal::serde::str")]
    pub total: Decimal,
    #[serde(with = "rust_decimal::serde::str")]
    pub total_error: Decimal,
}

/// Draws the account behind `figures`.
pub(super) fn run(draft: &mut Draft, figures: &[Figure]) -> Option<Simulation> {
    let inputs = draft.inputs;
    let nodes: Vec<NodeRef> = figures
        .iter()
        .filter_map(|figure| draft.ledger.find(&figure.node))
        .collect();
    let model = draft.ledger.model(&nodes);
    let model = draft.keep(model)?;
    let seed = seed(inputs);
    let threads = std::thread::available_parallelism().unwrap_or(NonZero::<usize>::MIN);
    let confidence = to_statistic(inputs.methodology.claim.confidence);
    let tail = (1.0 - confidence) / 2.0;
    let probabilities = [tail, 1.0 - tail, 1.0 - confidence];
    let draws = inputs.methodology.uncertainty.draws;
    let drawn = simulate(&model.model, draws, seed, &probabilities, threads);
    let drawn = drawn.map_err(|reason| match reason {
        StatisticsError::Draws(_) => LedgerError::Statistics {
            id: "methodology".to_owned(),
            reason,
        },
        reason => LedgerError::Statistics {
            id: "simulation".to_owned(),
            reason,
        },
    });
    let drawn = draft.keep(drawn)?;
    let (fewest, most) = CONTRIBUTION_DRAWS;
    let wanted = (draws / DRAWS_PER_CONTRIBUTION_DRAW).clamp(fewest, most);
    let ranked = contributions(&model.model, wanted, seed, threads);
    let simulated = figures
        .iter()
        .enumerate()
        .filter_map(|(at, figure)| shown(draft, &model, (at, figure), &drawn, &ranked))
        .collect();
    Some(Simulation {
        draws: drawn.draws,
        seed: format!("{seed:016x}"),
        contribution_draws: ranked.draws,
        contribution_evaluations: ranked.evaluations,
        figures: simulated,
    })
}

/// Fixed by the inputs alone.
fn seed(inputs: &StatementInputs) -> u64 {
    let mut hash = Sha256::new();
    let methodology = inputs.methodology.id();
    let position = inputs.position.to_string();
    let period = &inputs.period;
    let (from, to) = (period.starts_on.to_string(), period.ends_on.to_string());
    let programme = inputs.programme.id.to_string();
    for part in [
        &programme,
        &period.code,
        &from,
        &to,
        &methodology,
        &position,
    ] {
        // The length first, so that no two lists of parts are written alike.
        hash.update((part.len() as u64).to_be_bytes());
        hash.update(part.as_bytes());
    }
    let digest = hash.finalize();
    digest
        .iter()
        .take(8)
        .fold(0, |seed, byte| (seed << 8) | u64::from(*byte))
}

fn shown(
    draft: &Draft,
    model: &LedgerModel,
    (at, figure): (usize, &Figure),
    drawn: &Simulated,
    ranked: &Contributions,
) -> Option<SimulatedFigure> {
    let summary = drawn.outputs.get(at)?;
    let fewest = model.model.least_degrees_of_freedom(at);
    let with_variance = fewest > NO_VARIANCE_TO;
    let quantile = |place: usize| summary.quantiles.get(place);
    let value = |place: usize| quantile(place).and_then(|quantile| rounded(quantile.value));
    let error = |place: usize| quantile(place).and_then(|found| rounded(found.standard_error));
    let one_sided = draft.inputs.methodology.claim.sides == Sides::One;
    let contributions = ranked
        .outputs
        .get(at)
        .filter(|_| with_variance)
        .map_or_else(Vec::new, |found| indices(draft, model, found));
    Some(SimulatedFigure {
        id: figure.id.clone(),
        mean: (fewest > NO_MEAN_TO)
            .then(|| rounded(summary.mean))
            .flatten(),
        standard_deviation: with_variance
            .then(|| rounded(summary.standard_deviation))
            .flatten(),
        lower: value(0),
        upper: value(1),
        lower_error: error(0),
        upper_error: error(1),
        lower_one_sided: one_sided.then(|| value(2)).flatten(),
        draws_suffice: suffice(summary, to_statistic(figure.value)),
        not_finite: summary.not_finite,
        contributions,
    })
}

fn rounded(value: f64) -> Option<Decimal> {
    from_statistic(value).map(|value| to_digits(value, FIGURE_DIGITS))
}

fn suffice(summary: &Summary, value: f64) -> bool {
    let known =
        |quantile: &Quantile| TWO_SIDED_95 * quantile.standard_error <= SUFFICIENT * value.abs();
    summary.quantiles.iter().take(2).all(known)
}

fn indices(draft: &Draft, model: &LedgerModel, found: &[Contribution]) -> Vec<InputContribution> {
    let index =
        |value: f64| from_statistic(value).map(|value| value.round_dp(INDEX_DECIMALS).normalize());
    let named = |one: &Contribution| {
        let (input, nodes) = draft.ledger.group(model, one.group);
        Some(InputContribution {
            input,
            nodes,
            first_order: index(one.first_order)?,
            first_order_error: index(one.first_order_error)?,
            total: index(one.total)?,
            total_error: index(one.total_error)?,
        })
    };
    let mut all: Vec<InputContribution> = found.iter().filter_map(named).collect();
    all.retain(|one| !one.total.is_zero());
    all.sort_by(|a, b| b.total.cmp(&a.total).then_with(|| a.nodes.cmp(&b.nodes)));
    all.truncate(SHOWN_CONTRIBUTIONS);
    all
}
