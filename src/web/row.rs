//! One accepted row: its cells, its hash, and the proof that leads from it to the head
//! of the trail.

use super::batches::BatchRow;
use super::corrections::{CELL, CorrectionLine, may_correct, of_row, stands};
use super::links;
use super::page::{PathParts, Section, Shell, draw};
use super::proof::{Climb, climb, climb_commands, leaf_command};
use super::refusal::Refusal;
use super::rows_table::cell;
use super::session::Visitor;
use crate::accounting::records::findings::SubjectKind;
use crate::intake::BatchKind;
use crate::service::{Caller, Service};
use crate::trail::canonical::canonical_json;
use askama::Template;
use axum::extract::State;
use axum::response::Response;
use std::collections::BTreeMap;
use uuid::Uuid;

#[derive(Template)]
#[template(path = "row.html")]
struct RowPage {
    shell: Shell,
    raise: Option<String>,
    batch: BatchRow,
    line: u64,
    cells: Vec<CellView>,
    corrections: Vec<CorrectionLine>,
    /// What became of it; empty where it counts.
    state: &'static str,
    /// `batch/line`
    row_place: String,
    fault: Option<String>,
    may_supersede: bool,
    may_exclude: bool,
    reason: String,
    row_hash: String,
    canonical: String,
    row_command: String,
    in_batch: ProofView,
    entry: EntryView,
    in_trail: ProofView,
}

struct CellView {
    name: &'static str,
    text: String,
    /// What stands in the form.
    typed: String,
    field: String,
    /// The register's story of the code in the cell.
    href: Option<String>,
    unit: &'static str,
    description: &'static str,
}

/// A proof with the steps that it asks for.
struct ProofView {
    index: u64,
    size: u64,
    leaf_hash: String,
    root: String,
    climb: Climb,
    commands: String,
}

/// The trail entry that took the batch.
struct EntryView {
    content: String,
    content_command: String,
    content_hash: String,
}

impl ProofView {
    fn new(proof: crate::service::trail::InclusionProof, leaf: &str) -> Result<Self, Refusal> {
        let climb = climb(&proof).map_err(|e| Refusal::broken(&e))?;
        Ok(ProofView {
            commands: climb_commands(leaf, &climb),
            index: proof.index,
            size: proof.size,
            leaf_hash: proof.leaf_hash,
            root: proof.root,
            climb,
        })
    }
}

pub(super) async fn show(
    State(service): State<Service>,
    Visitor(caller): Visitor,
    PathParts((batch_id, line)): PathParts<(Uuid, u64)>,
) -> Result<Response, Refusal> {
    page(&service, &caller, (batch_id, line), None, &BTreeMap::new()).await
}

/// The page of a row; `fault` says why a form could not be taken, `typed` what stood in it.
pub(super) async fn page(
    service: &Service,
    caller: &Caller,
    (batch_id, line): (Uuid, u64),
    fault: Option<String>,
    typed: &BTreeMap<String, String>,
) -> Result<Response, Refusal> {
    let batch = service.batch(caller, batch_id).await?;
    let row = service.row(caller, batch_id, line).await?;
    let corrections = service.corrections_of_batch(caller, batch_id).await?;
    let proof = service.row_proof(caller, batch_id, line).await?;
    let entry = service.entry_of_batch(caller, batch_id).await?;
    let content = entry.content.unwrap_or_default();
    let content = canonical_json(&content).map_err(|e| Refusal::broken(&e))?;
    let content = String::from_utf8(content).map_err(|e| Refusal::broken(&e))?;
    let kind: BatchKind = batch.kind.parse().map_err(|e| Refusal::broken(&e))?;
    let field = |column: &str| format!("{CELL}{column}");
    let cells = kind.template().columns.iter().map(|column| CellView {
        name: column.name,
        typed: typed
            .get(&field(column.name))
            .cloned()
            .unwrap_or_else(|| cell(&row, column.name).to_owned()),
        field: field(column.name),
        text: cell(&row, column.name).to_owned(),
        href: matches!(column.name, "household_code" | "serial")
            .then(|| links::found(cell(&row, column.name))),
        unit: column.unit.unwrap_or_default(),
        description: column.description,
    });
    let view = BatchRow::new(&batch);
    let title = format!("Row {line} of {}", view.name);
    let corrected = row.corrected.as_ref();
    let may_supersede = may_correct(caller) && stands(corrected);
    draw(&RowPage {
        corrections: of_row(corrections, batch_id, line),
        state: corrected.map_or("", |each| each.kind.code()),
        row_place: format!("{batch_id}/{line}"),
        fault,
        may_supersede,
        may_exclude: may_supersede && corrected.is_none() && kind.needs_round(),
        reason: typed.get("reason").cloned().unwrap_or_default(),
        raise: links::raise(caller, SubjectKind::Row, &format!("{batch_id}/{line}")),
        shell: Shell::of(caller, Section::Evidence, title),
        batch: view,
        line,
        cells: cells.collect(),
        row_hash: row.row_hash,
        row_command: leaf_command(&proof.row),
        in_batch: ProofView::new(proof.in_batch, &proof.row)?,
        in_trail: ProofView::new(proof.batch_in_trail, &entry.leaf)?,
        canonical: proof.row,
        entry: EntryView {
            content_command: format!(
                "printf '%s' '{}' | sha256sum",
                content.replace('\'', r"'\''")
            ),
            content_hash: entry.content_hash,
            content,
        },
    })
}
