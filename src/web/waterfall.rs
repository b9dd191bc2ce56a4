//! From the gross figure down to what may be claimed, step by step.

use super::{links, words};
use crate::accounting::statement::{Figure, Statement};
use crate::report::charts::step_bar;
use rust_decimal::Decimal;
use uuid::Uuid;

/// One step, ready to be shown.
pub(super) struct StepLine {
    pub label: String,
    /// `−` of what is taken off, `=` of a total that follows, nothing of the first.
    pub sign: &'static str,
    pub value: String,
    pub unit: String,
    pub bar: String,
    /// The figure's node, where it has one.
    pub href: Option<String>,
    pub total: bool,
}

/// A step before it is drawn.
struct Step {
    label: String,
    value: Decimal,
    total: bool,
    href: Option<String>,
}

/// The way from the baseline's emissions to the claim of reductions.
pub(super) fn reductions(id: Uuid, statement: &Statement) -> Vec<StepLine> {
    let claim = &statement.claims.reductions;
    let Some(net) = statement.figure(&claim.figure) else {
        return Vec::new();
    };
    let mut steps = Vec::new();
    if let (Some(baseline), Some(project)) = (
        statement.figure("co2e_baseline"),
        statement.figure("co2e_project"),
    ) {
        steps.push(of(id, baseline, true));
        steps.push(of(id, project, false));
        steps.extend(
            statement
                .figure("leakage_co2e")
                .map(|taken| of(id, taken, false)),
        );
    }
    to_the_claim(id, steps, net, claim.tonnes.tonnes())
}

/// The way from what is stored to the claim of removals.
pub(super) fn removals(id: Uuid, statement: &Statement) -> Vec<StepLine> {
    let claim = &statement.claims.removals;
    statement
        .figure(&claim.figure)
        .map_or_else(Vec::new, |net| {
            to_the_claim(id, Vec::new(), net, claim.tonnes.tonnes())
        })
}

fn of(id: Uuid, figure: &Figure, total: bool) -> Step {
    Step {
        label: figure.label.clone(),
        value: figure.value,
        total,
        href: Some(links::node(id, &figure.node)),
    }
}

/// Ends the way: the net figure, what is held back of it, the whole tonnes that are left.
fn to_the_claim(id: Uuid, mut steps: Vec<Step>, net: &Figure, claimed: u64) -> Vec<StepLine> {
    let claimed = Decimal::from(claimed);
    steps.push(of(id, net, true));
    steps.push(Step {
        label: "held back: for uncertainty and by rounding down to whole tonnes".to_owned(),
        value: net.value.saturating_sub(claimed),
        total: false,
        href: None,
    });
    steps.push(Step {
        label: "may be claimed".to_owned(),
        value: claimed,
        total: true,
        href: None,
    });
    draw(&steps, &net.unit)
}

fn draw(steps: &[Step], unit: &str) -> Vec<StepLine> {
    let mut running = 0.0;
    let spans: Vec<(f64, f64)> = steps
        .iter()
        .map(|step| {
            let value = words::drawn(step.value);
            let span = if step.total {
                (0.0, value)
            } else {
                (running, running - value)
            };
            running = span.1;
            span
        })
        .collect();
    let ends = || spans.iter().flat_map(|(from, to)| [*from, *to]);
    let least = ends().fold(0.0, f64::min);
    let most = ends().fold(0.0, f64::max);
    steps
        .iter()
        .zip(&spans)
        .enumerate()
        .map(|(place, (step, (from, to)))| StepLine {
            label: words::capital(&words::label(&step.label)),
            sign: match (place, step.total) {
                (0, _) => "",
                (_, true) => "=",
                (_, false) => "−",
            },
            value: words::figure(step.value),
            unit: words::unit(unit),
            bar: step_bar(*from, *to, least, most),
            href: step.href.clone(),
            total: step.total,
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_taken_off_hangs_from_the_total_before_it() {
        let step = |label: &str, value: i64, total: bool| Step {
            label: label.into(),
            value: Decimal::from(value),
            total,
            href: None,
        };
        let lines = draw(
            &[
                step("baseline", 100, true),
                step("project", 40, false),
                step("net", 60, true),
            ],
            "tCO2e",
        );
        let signs: Vec<&str> = lines.iter().map(|line| line.sign).collect();
        assert_eq!(signs, ["", "−", "="]);
        // 100 units are 150 wide: the project's 40 end where the baseline ends.
        assert!(
            lines[1].bar.contains(r#"x="95" y="4" width="60""#),
            "{}",
            lines[1].bar
        );
        assert!(
            lines[2].bar.contains(r#"x="5" y="4" width="90""#),
            "{}",
            lines[2].bar
        );
    }
}
