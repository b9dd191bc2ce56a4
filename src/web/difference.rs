//! What moved one statement into another, cause by cause.

use super::page::{PathParts, QueryParts, Section, Shell, draw};
use super::refusal::Refusal;
use super::session::Visitor;
use super::{links, words};
use crate::accounting::statement::{CauseKind, Explanation, FigureChange};
use crate::service::Service;
use askama::Template;
use axum::extract::State;
use axum::response::Response;
use rust_decimal::Decimal;
use serde::Deserialize;
use uuid::Uuid;

#[derive(Debug, Deserialize)]
pub(super) struct DifferenceQuery {
    from: Uuid,
}

#[derive(Template)]
#[template(path = "difference.html")]
struct DifferencePage {
    shell: Shell,
    period: String,
    from: String,
    from_position: u64,
    to: String,
    to_position: u64,
    changes: Vec<ChangeView>,
    causes: Vec<CauseView>,
    batches: Vec<BatchView>,
}

/// One figure or claim that moved.
struct ChangeView {
    label: String,
    unit: String,
    before: String,
    after: String,
    difference: String,
    parts: Vec<(String, String)>,
}

struct CauseView {
    kind: &'static str,
    title: String,
    change: String,
}

struct BatchView {
    what: &'static str,
    id: String,
    href: String,
    role: &'static str,
    rows: String,
}

pub(super) async fn show(
    State(service): State<Service>,
    Visitor(caller): Visitor,
    PathParts(id): PathParts<Uuid>,
    QueryParts(query): QueryParts<DifferenceQuery>,
) -> Result<Response, Refusal> {
    let (earlier, _) = service.statement(&caller, query.from).await?;
    let (later, _) = service.statement(&caller, id).await?;
    let found = service.explain(&caller, query.from, id).await?;
    let moved = found.claims.iter().chain(&found.figures);
    draw(&DifferencePage {
        shell: Shell::of(&caller, Section::Statements, "What moved the statement"),
        period: later.period,
        from: links::statement(earlier.id),
        from_position: earlier.position,
        to: links::statement(later.id),
        to_position: later.position,
        changes: moved.map(|change| view(&found, change)).collect(),
        causes: found
            .causes
            .iter()
            .map(|cause| CauseView {
                kind: kind(cause.kind),
                title: words::capital(&words::label(&cause.title)),
                change: words::label(&cause.change),
            })
            .collect(),
        batches: batches(&found),
    })
}

fn view(found: &Explanation, change: &FigureChange) -> ChangeView {
    let mut parts: Vec<(String, String)> = change
        .parts
        .iter()
        .filter_map(|part| {
            let cause = found.causes.get(part.cause)?;
            let title = words::capital(&words::label(&cause.title));
            Some((title, signed(part.moved)))
        })
        .collect();
    if !change.rounding.is_zero() {
        parts.push((
            "Rounding of the two stated figures".to_owned(),
            signed(change.rounding),
        ));
    }
    ChangeView {
        label: words::capital(&words::label(&change.label)),
        unit: words::unit(&change.unit),
        before: words::whole(change.before),
        after: words::whole(change.after),
        difference: signed(change.difference),
        parts,
    }
}

/// All recorded digits with the sign, so that a reader can add them up.
fn signed(value: Decimal) -> String {
    let text = words::whole(value.normalize());
    if value > Decimal::ZERO {
        format!("+{text}")
    } else {
        text
    }
}

fn kind(kind: CauseKind) -> &'static str {
    match kind {
        CauseKind::Evidence => "evidence",
        CauseKind::Factor => "factor",
        CauseKind::Rule => "rule",
        CauseKind::Together => "together",
    }
}

fn batches(found: &Explanation) -> Vec<BatchView> {
    let added = found.batches_added.iter().map(|batch| ("added", batch));
    let removed = found
        .batches_removed
        .iter()
        .map(|batch| ("no longer read", batch));
    added
        .chain(removed)
        .map(|(what, of)| BatchView {
            what,
            id: of.batch.id.to_string(),
            href: links::batch(of.batch.id),
            role: words::evidence_role(of.role),
            rows: words::count(of.batch.rows),
        })
        .collect()
}
