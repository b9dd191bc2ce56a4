//! One batch: what it is, and its rows page by page.

use super::batches::BatchRow;
use super::corrections::{CorrectionLine, may_correct};
use super::flags::FlagLine;
use super::page::{PathParts, QueryParts, Section, Shell, draw};
use super::refusal::Refusal;
use super::rows_table::RowsTable;
use super::session::Visitor;
use super::{links, words};
use crate::accounting::records::findings::SubjectKind;
use crate::intake::BatchKind;
use crate::service::corrections::LINE_IN_PLACE;
use crate::service::flags::Wanted;
use crate::service::{Caller, Service};
use askama::Template;
use axum::extract::State;
use axum::response::Response;
use serde::Deserialize;
use uuid::Uuid;

const ROWS_A_PAGE: u32 = 100;
const FLAGS_SHOWN: u32 = 20;

#[derive(Template)]
#[template(path = "batch.html")]
struct BatchPage {
    shell: Shell,
    raise: Option<String>,
    batch: BatchRow,
    id: Uuid,
    file_sha256: String,
    sequence: u64,
    accepted: String,
    flags: Vec<FlagLine>,
    more_flags: bool,
    table: RowsTable,
    first: Option<String>,
    next: Option<String>,
    corrections: Vec<CorrectionLine>,
    fault: Option<String>,
    may_withdraw: bool,
    /// Rows to be withdrawn before the batch can be.
    successors: Vec<SuccessorLine>,
}

/// A row that stands in place of one of the batch.
struct SuccessorLine {
    superseded: u64,
    href: String,
    batch_href: String,
    place: String,
}

#[derive(Deserialize)]
pub(super) struct BatchQuery {
    /// Line after which the page begins.
    after: Option<u64>,
}

pub(super) async fn show(
    State(service): State<Service>,
    Visitor(caller): Visitor,
    PathParts(id): PathParts<Uuid>,
    QueryParts(query): QueryParts<BatchQuery>,
) -> Result<Response, Refusal> {
    page(&service, &caller, id, query.after.unwrap_or(0), None).await
}

/// The page from the row after line `after` on; `fault` says why a form could not be taken.
pub(super) async fn page(
    service: &Service,
    caller: &Caller,
    id: Uuid,
    after: u64,
    fault: Option<String>,
) -> Result<Response, Refusal> {
    let batch = service.batch(caller, id).await?;
    let corrections = service.corrections_of_batch(caller, id).await?;
    let kind: BatchKind = batch.kind.parse().map_err(|e| Refusal::broken(&e))?;
    let mut rows = service
        .batch_rows(caller, id, None, after, ROWS_A_PAGE + 1)
        .await?;
    let more = rows.len() > ROWS_A_PAGE as usize;
    rows.truncate(ROWS_A_PAGE as usize);
    let here = links::batch(id);
    let last = rows.last().map(|row| row.line);
    let view = BatchRow::new(&batch);
    let (flags, more_flags) = flags_of(service, caller, id).await?;
    let may_withdraw = may_correct(caller) && batch.withdrawn_by.is_none();
    let successors = match may_withdraw {
        true => service.standing_successors(caller, id).await?,
        false => Vec::new(),
    };
    draw(&BatchPage {
        flags,
        more_flags,
        raise: links::raise(caller, SubjectKind::Batch, &id.to_string()),
        shell: Shell::of(caller, Section::Evidence, format!("Batch {}", view.name)),
        table: RowsTable::new(format!("Rows of {}", view.name), kind, &rows),
        first: (after > 0).then(|| here.clone()),
        next: last
            .filter(|_| more)
            .map(|line| format!("{here}?after={line}")),
        id,
        file_sha256: batch.file_sha256.clone(),
        sequence: batch.sequence,
        accepted: batch.accepted_at.map(words::instant).unwrap_or_default(),
        batch: view,
        corrections: corrections.into_iter().map(CorrectionLine::new).collect(),
        fault,
        may_withdraw,
        successors: successors
            .into_iter()
            .map(|row| SuccessorLine {
                superseded: row.superseded_line,
                href: links::row(row.batch, LINE_IN_PLACE),
                batch_href: links::batch(row.batch),
                place: format!("line {LINE_IN_PLACE} of batch {}", row.batch),
            })
            .collect(),
    })
}

/// The first flags that were raised when the batch came, and whether there are more. Who is
/// bound to sites sees none: they are of rows of every site.
async fn flags_of(
    service: &Service,
    caller: &Caller,
    batch: Uuid,
) -> Result<(Vec<FlagLine>, bool), Refusal> {
    if caller.sites.is_some() {
        return Ok((Vec::new(), false));
    }
    let wanted = Wanted {
        batch: Some(batch),
        ..Wanted::default()
    };
    let page = service.flags(caller, &wanted, None, FLAGS_SHOWN).await?;
    let more = page.next.is_some();
    Ok((page.items.into_iter().map(FlagLine::new).collect(), more))
}
