//! Corrections: their list, what a row or batch page tells of them, and the forms that make them.

use super::page::{PathParts, QueryParts, Section, Shell, draw};
use super::refusal::Refusal;
use super::session::Visitor;
use super::{batch, links, row, words};
use crate::accounting::records::corrections::CorrectionKind;
use crate::service::corrections::{CorrectionView, LINE_IN_PLACE, NewCells, Reason};
use crate::service::{Caller, Once, Role, Service, ServiceError};
use askama::Template;
use axum::Form;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::{IntoResponse, Redirect, Response};
use serde::Deserialize;
use serde_json::Value;
use std::collections::BTreeMap;
use uuid::Uuid;

/// Corrections on one page.
const A_PAGE: u32 = 100;
/// The latest, on the page of the evidence.
const LATEST: u32 = 20;
/// What the names of the fields for cells begin with.
pub(super) const CELL: &str = "cell-";

/// A correction in a list.
pub(super) struct CorrectionLine {
    pub sequence: u64,
    pub what: String,
    /// The row or batch that was corrected.
    pub href: String,
    pub place: String,
    /// The row in its place.
    pub replaced: Option<String>,
    pub reason: String,
    pub actor: String,
    pub at: String,
}

impl CorrectionLine {
    pub fn new(view: CorrectionView) -> Self {
        let (href, place) = match view.line {
            Some(line) => (
                links::row(view.batch, line),
                format!("row {line} of batch {}", view.batch),
            ),
            None => (links::batch(view.batch), format!("batch {}", view.batch)),
        };
        CorrectionLine {
            sequence: view.sequence,
            what: words::capital(view.kind.code()),
            href,
            place,
            replaced: view.replaced_by.map(|new| links::row(new, LINE_IN_PLACE)),
            reason: view.reason,
            actor: view.actor,
            at: words::instant(view.at),
        }
    }
}

/// Whether the forms are shown; the service asks again.
pub(super) fn may_correct(caller: &Caller) -> bool {
    caller.role == Role::Manager && !caller.read_only
}

/// The latest corrections, for whoever may see every site.
pub(super) async fn latest(
    service: &Service,
    caller: &Caller,
) -> Result<Vec<CorrectionLine>, ServiceError> {
    if caller.sites.is_some() {
        return Ok(Vec::new());
    }
    let page = service.corrections(caller, None, None, LATEST).await?;
    Ok(page.items.into_iter().map(CorrectionLine::new).collect())
}

/// What became of a row: each correction that touches it, the earliest first.
pub(super) fn of_row(
    corrections: Vec<CorrectionView>,
    batch: Uuid,
    line: u64,
) -> Vec<CorrectionLine> {
    let touches = |each: &CorrectionView| {
        each.replaced_by == Some(batch)
            || each.batch == batch && each.line.is_none_or(|corrected| corrected == line)
    };
    let mut lines: Vec<CorrectionLine> = corrections
        .into_iter()
        .filter(touches)
        .map(CorrectionLine::new)
        .collect();
    lines.reverse();
    lines
}

/// Whether a form can still correct the row: nothing stands in its place.
pub(super) fn stands(corrected: Option<&CorrectionView>) -> bool {
    corrected.is_none_or(|each| each.kind == CorrectionKind::Excluded)
}

#[derive(Template)]
#[template(path = "corrections.html")]
struct CorrectionsPage {
    shell: Shell,
    corrections: Vec<CorrectionLine>,
    first: Option<String>,
    next: Option<String>,
}

#[derive(Deserialize)]
pub(super) struct ListQuery {
    after: Option<u64>,
}

pub(super) async fn list(
    State(service): State<Service>,
    Visitor(caller): Visitor,
    QueryParts(query): QueryParts<ListQuery>,
) -> Result<Response, Refusal> {
    let page = service
        .corrections(&caller, None, query.after, A_PAGE)
        .await?;
    draw(&CorrectionsPage {
        shell: Shell::of(&caller, Section::Evidence, "Corrections"),
        corrections: page.items.into_iter().map(CorrectionLine::new).collect(),
        first: query.after.map(|_| "/corrections".to_owned()),
        next: page.next.map(|next| format!("/corrections?after={next}")),
    })
}

#[derive(Deserialize)]
pub(super) struct ReasonForm {
    #[serde(default)]
    reason: String,
}

pub(super) async fn supersede(
    State(service): State<Service>,
    Visitor(caller): Visitor,
    PathParts((batch, line)): PathParts<(Uuid, u64)>,
    Form(typed): Form<BTreeMap<String, String>>,
) -> Result<Response, Refusal> {
    let cells = typed.iter().filter_map(|(name, text)| {
        let column = name.strip_prefix(CELL)?;
        Some((column.to_owned(), Value::String(text.trim().to_owned())))
    });
    let new = NewCells {
        cells: cells.collect(),
        reason: typed.get("reason").cloned().unwrap_or_default(),
    };
    let once = Once::unkeyed();
    match service
        .supersede_row(&caller, (batch, line), &new, &once)
        .await
    {
        Ok(done) => {
            let new = done.replaced_by.unwrap_or(batch);
            Ok(Redirect::to(&links::row(new, LINE_IN_PLACE)).into_response())
        }
        Err(error) => {
            let (status, fault): (StatusCode, String) = words::fault(error)?;
            let page = row::page(&service, &caller, (batch, line), Some(fault), &typed).await?;
            Ok((status, page).into_response())
        }
    }
}

pub(super) async fn exclude(
    State(service): State<Service>,
    Visitor(caller): Visitor,
    PathParts((batch, line)): PathParts<(Uuid, u64)>,
    Form(form): Form<ReasonForm>,
) -> Result<Response, Refusal> {
    let reason = Reason {
        reason: form.reason,
    };
    let once = Once::unkeyed();
    match service
        .exclude_row(&caller, (batch, line), &reason, &once)
        .await
    {
        Ok(_) => Ok(Redirect::to(&links::row(batch, line)).into_response()),
        Err(error) => {
            let (status, fault): (StatusCode, String) = words::fault(error)?;
            let typed = BTreeMap::new();
            let page = row::page(&service, &caller, (batch, line), Some(fault), &typed).await?;
            Ok((status, page).into_response())
        }
    }
}

pub(super) async fn withdraw(
    State(service): State<Service>,
    Visitor(caller): Visitor,
    PathParts(id): PathParts<Uuid>,
    Form(form): Form<ReasonForm>,
) -> Result<Response, Refusal> {
    let reason = Reason {
        reason: form.reason,
    };
    match service
        .withdraw_batch(&caller, id, &reason, &Once::unkeyed())
        .await
    {
        Ok(_) => Ok(Redirect::to(&links::batch(id)).into_response()),
        Err(error) => {
            let (status, fault): (StatusCode, String) = words::fault(error)?;
            let page = batch::page(&service, &caller, id, 0, Some(fault)).await?;
            Ok((status, page).into_response())
        }
    }
}
