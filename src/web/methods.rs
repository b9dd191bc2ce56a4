//! One period by every methodology of the programme, side by side.

use super::page::{PathParts, Section, Shell, draw};
use super::refusal::Refusal;
use super::session::Visitor;
use super::words;
use crate::accounting::statement::Figure;
use crate::service::Service;
use crate::service::comparison::MethodView;
use askama::Template;
use axum::extract::State;
use axum::response::Response;

#[derive(Template)]
#[template(path = "methods.html")]
struct MethodsPage {
    shell: Shell,
    period: String,
    lines: Vec<MethodLine>,
    confidence_note: &'static str,
}

struct MethodLine {
    methodology: String,
    title: String,
    /// In order: fuel saved per household-day and in all, reductions, removals.
    figures: Vec<String>,
    reductions_claim: String,
    removals_claim: String,
    gaps: Vec<String>,
}

pub(super) async fn show(
    State(service): State<Service>,
    Visitor(caller): Visitor,
    PathParts(period): PathParts<String>,
) -> Result<Response, Refusal> {
    let methods = service.methods(&caller, &period, &[]).await?;
    draw(&MethodsPage {
        shell: Shell::of(&caller, Section::Statements, "Methods side by side"),
        period,
        lines: methods.into_iter().map(line).collect(),
        confidence_note: "Each interval is two-sided, at the confidence of its methodology.",
    })
}

fn line(method: MethodView) -> MethodLine {
    let claim = |tonnes: u64, unit: &str| format!("{} {unit}", words::count(tonnes));
    let (reductions, removals) = method.claims.as_ref().map_or_else(
        || (String::new(), String::new()),
        |claims| {
            (
                claim(claims.reductions.tonnes.tonnes(), &claims.reductions.unit),
                claim(claims.removals.tonnes.tonnes(), &claims.removals.unit),
            )
        },
    );
    MethodLine {
        methodology: method.methodology,
        title: method.title,
        figures: method.figures.iter().map(figure).collect(),
        reductions_claim: reductions,
        removals_claim: removals,
        gaps: method.gaps.into_iter().map(|gap| gap.sentence).collect(),
    }
}

fn figure(figure: &Figure) -> String {
    format!(
        "{} ({}) {}",
        words::figure(figure.value),
        words::figure_bounds(figure.lower, figure.value, figure.upper),
        words::unit(&figure.unit)
    )
}
