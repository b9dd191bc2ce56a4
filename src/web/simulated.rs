//! The simulated side of a statement as its page shows it.

use super::{links, words};
use crate::accounting::statement::{Figure, InputContribution, SimulatedFigure, Statement};
use uuid::Uuid;

/// One figure's interval by both approaches.
pub(super) struct BothView {
    pub label: String,
    pub unit: String,
    pub propagated: String,
    pub simulated: String,
    pub mean: String,
    pub href: String,
}

/// An input's indices, in percent of the variance.
pub(super) struct ContributionView {
    pub input: String,
    pub first_order: String,
    pub total: String,
    pub href: Option<String>,
}

/// Every figure that is in doubt, by both approaches.
pub(super) fn both(id: Uuid, statement: &Statement) -> Vec<BothView> {
    let in_doubt = |figure: &&Figure| figure.lower != figure.upper;
    let view = |figure: &Figure| {
        let drawn = statement.simulation.as_ref()?.figure(&figure.id)?;
        Some(BothView {
            label: words::capital(&words::label(&figure.label)),
            unit: words::unit(&figure.unit),
            propagated: words::figure_bounds(figure.lower, figure.value, figure.upper),
            simulated: interval(figure, drawn)?,
            mean: drawn
                .mean
                .map_or_else(|| "none: too few units surveyed".to_owned(), words::figure),
            href: links::node(id, &figure.node),
        })
    };
    let doubted = statement.figures.iter().filter(in_doubt);
    doubted.filter_map(view).collect()
}

/// The simulated interval of one figure, e.g. `301 to 958`.
pub(super) fn interval(figure: &Figure, drawn: &SimulatedFigure) -> Option<String> {
    let (lower, upper) = drawn.lower.zip(drawn.upper)?;
    (lower != upper).then(|| words::figure_bounds(lower, figure.value, upper))
}

pub(super) fn contributions(id: Uuid, drawn: &SimulatedFigure) -> Vec<ContributionView> {
    let view = |one: &InputContribution| ContributionView {
        input: words::capital(&words::label(&one.input)),
        first_order: within(one.first_order, one.first_order_error),
        total: within(one.total, one.total_error),
        href: one.nodes.first().map(|node| links::node(id, node)),
    };
    drawn.contributions.iter().map(view).collect()
}

/// `42 % (within 3 %)`, at about 95 %.
fn within(index: rust_decimal::Decimal, error: rust_decimal::Decimal) -> String {
    let twice = error.saturating_add(error);
    format!(
        "{} (within {})",
        words::percent(index),
        words::percent(twice)
    )
}
