//! A stated figure and a claim as the pages show them.

use super::{links, words};
use crate::accounting::claim::Claim;
use crate::accounting::statement::Figure;
use crate::report::charts::{Interval, interval_bar, share_bar};
use rust_decimal::Decimal;
use uuid::Uuid;

/// One figure, ready to be shown.
pub(super) struct FigureView {
    pub id: String,
    pub label: String,
    pub value: String,
    /// The figure as recorded, for programs that read the page.
    pub recorded: String,
    pub unit: String,
    /// `301 to 958`; absent where there is no doubt at all.
    pub interval: Option<String>,
    /// `90 %`.
    pub confidence: String,
    pub bar: String,
    /// Its node in the trace.
    pub href: String,
}

/// Shows `figure` of the statement with this id; `claimed` is marked on its bar.
pub(super) fn view(statement: Uuid, figure: &Figure, claimed: Option<u64>) -> FigureView {
    let drawn = Interval {
        lower: words::drawn(figure.lower),
        value: words::drawn(figure.value),
        upper: words::drawn(figure.upper),
    };
    FigureView {
        id: figure.id.clone(),
        label: words::capital(&words::label(&figure.label)),
        value: words::figure(figure.value),
        recorded: figure.value.to_string(),
        unit: words::unit(&figure.unit),
        interval: (figure.lower != figure.upper)
            .then(|| words::figure_bounds(figure.lower, figure.value, figure.upper)),
        confidence: words::percent(figure.confidence),
        bar: interval_bar(drawn, claimed.map(|tonnes| tonnes as f64)),
        href: links::node(statement, &figure.node),
    }
}

/// What may be claimed of a figure.
pub(super) struct ClaimView {
    /// `reductions` or `removals`.
    pub id: &'static str,
    pub tonnes: String,
    pub unit: String,
    pub basis: &'static str,
    pub rule: String,
}

pub(super) fn claim<T>(id: &'static str, claim: &Claim<T>, tonnes: u64) -> ClaimView {
    ClaimView {
        id,
        tonnes: words::count(tonnes),
        unit: words::unit(&claim.unit),
        basis: words::basis(claim.basis),
        rule: words::capital(&words::label(&claim.rule)),
    }
}

/// One input's part of a figure's variance.
pub(super) struct ShareView {
    pub input: String,
    pub percent: String,
    pub bar: String,
    /// The first node of the input.
    pub href: Option<String>,
}

/// The ranked inputs of a figure, and what all smaller ones bring together.
pub(super) fn shares(statement: Uuid, figure: &Figure) -> (Vec<ShareView>, Option<String>) {
    let told: Decimal = figure.shares.iter().map(|share| share.share).sum();
    let rest = Decimal::ONE.saturating_sub(told);
    let views = figure
        .shares
        .iter()
        .map(|share| ShareView {
            input: words::capital(&words::label(&share.input)),
            percent: words::percent(share.share),
            bar: share_bar(words::drawn(share.share)),
            href: share.nodes.first().map(|node| links::node(statement, node)),
        })
        .collect();
    let worth_a_word = !figure.shares.is_empty() && rest >= Decimal::new(1, 3);
    (views, worth_a_word.then(|| words::percent(rest)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::accounting::statement::FigureKind;
    use crate::accounting::trace::Share;

    fn figure() -> Figure {
        let decimal = |text: &str| text.parse::<Decimal>().unwrap();
        Figure {
            id: "reductions_co2e".into(),
            label: "dry coconut_husk".into(),
            unit: "tCO2e".into(),
            value: decimal("629.663"),
            lower: decimal("300.895"),
            upper: decimal("958.431"),
            confidence: decimal("0.9"),
            node: "co2e/reductions".into(),
            kind: FigureKind::Reduction,
            shares: vec![Share {
                input: "baseline kitchen tests".into(),
                nodes: vec!["fuel/baseline".into()],
                share: decimal("0.75"),
            }],
        }
    }

    #[test]
    fn a_figure_is_shown_rounded_with_its_interval_and_its_exact_record() {
        let view = view(Uuid::nil(), &figure(), Some(300));
        assert_eq!(
            (view.value.as_str(), view.recorded.as_str()),
            ("629.7", "629.663")
        );
        assert_eq!(view.interval.as_deref(), Some("300.9 to 958.4"));
        assert_eq!(view.confidence, "90 %");
        assert_eq!(view.label, "Dry coconut husk");
        assert!(view.href.ends_with("/trace?node=co2e/reductions"));
        assert!(view.bar.contains("mark"));
    }

    #[test]
    fn a_figure_without_doubt_shows_no_interval() {
        let mut figure = figure();
        (figure.lower, figure.upper) = (figure.value, figure.value);
        assert_eq!(view(Uuid::nil(), &figure, None).interval, None);
    }

    #[test]
    fn what_the_ranked_inputs_leave_is_said() {
        let (views, rest) = shares(Uuid::nil(), &figure());
        assert_eq!(views[0].percent, "75 %");
        assert_eq!(rest.as_deref(), Some("25 %"));
    }
}
