//! A batch: a file from the field, accepted whole or refused whole.
//!
//! The way of the data: bytes -> rows or located errors -> staging by COPY ->
//! set-based checks under the write lock -> one insert -> one trail entry -> commit.

use super::evidence::touches_own_sites;
use super::upload::Spooled;
use super::write::Begun;
use super::{Caller, Once, Role, Service, ServiceError, id_of};
use crate::accounting::records::{BatchRecord, kind};
use crate::intake::{BatchKind, CellTexts, Column, CsvReader, Rejection, Rejections};
use crate::store;
use crate::store::staging;
use crate::trail::canonical::FlatObject;
use crate::trail::merkle::{Frontier, Hash, leaf_hash};
use serde::{Deserialize, Serialize};
use sqlx::PgConnection;
use std::io::BufReader;
use tokio::sync::mpsc;
use utoipa::ToSchema;
use uuid::Uuid;

pub use crate::store::sites::OTHER_SITE;

/// Bytes handed to COPY at a time.
const CHUNK_BYTES: usize = 256 * 1024;

/// What was accepted.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct BatchView {
    pub id: Uuid,
    pub kind: String,
    pub round: Option<String>,
    pub file_name: Option<String>,
    /// SHA-256 of the uploaded bytes.
    pub file_sha256: String,
    pub rows: u64,
    /// RFC 9162 tree head over the rows.
    pub root: String,
    /// Trail entry that accepted it.
    pub sequence: u64,
    pub accepted_at: Option<chrono::DateTime<chrono::Utc>>,
    /// True where the very same file had been accepted before: nothing was added.
    pub repeated: bool,
}

/// An upload as it arrives.
pub struct Upload {
    pub kind: BatchKind,
    pub round: Option<String>,
    pub file_name: Option<String>,
    pub file: Spooled,
}

struct Parsed {
    rows: u64,
    root: Hash,
    rejections: Rejections,
}

impl Service {
    /// Accepts a file whole, or refuses it whole with every wrong row named.
    ///
    /// # Errors
    /// `Rejected` with the located errors; the database is then unchanged.
    pub async fn accept_batch(
        &self,
        caller: &Caller,
        upload: Upload,
        key: Option<String>,
    ) -> Result<BatchView, ServiceError> {
        caller.must_be(&[Role::Manager, Role::Monitor])?;
        let batch_kind = upload.kind;
        if !store::sites::tell_apart(batch_kind) {
            caller.must_see_every_site()?;
        }
        let record = BatchRecord {
            id: batch_id(caller, &upload),
            kind: batch_kind.code().into(),
            round: upload.round.clone(),
            file_name: upload.file_name.as_deref().map(plain_file_name),
            file_sha256: upload.file.sha256.to_string(),
            rows: 0,
            root: String::new(),
        };
        let once = Once::new(key, "accept-batch", record.id.as_bytes());
        let mut writing = match self.begin(caller, &once).await? {
            Begun::Answered(answer) => return Ok(answer),
            Begun::Go(writing) => writing,
        };
        let connection = &mut *writing.transaction;
        check_round(connection, caller, batch_kind, record.round.as_deref()).await?;
        if let Some(known) = known_batch(connection, caller, record.id).await? {
            return writing.finish(caller, known).await;
        }
        staging::open(connection, batch_kind.template()).await?;
        let parsed = stage(connection, batch_kind, upload.file).await?;

        store::trail::lock(connection, caller.programme_id).await?;
        // The same file may have been accepted while this one was read.
        if let Some(known) = known_batch(connection, caller, record.id).await? {
            return writing.finish(caller, known).await;
        }
        let rejections = self
            .check_staged(
                connection,
                caller,
                batch_kind,
                record.round.as_deref(),
                parsed.rejections,
            )
            .await?;
        if rejections.count > 0 {
            return Err(ServiceError::Rejected(rejections));
        }
        let record = BatchRecord {
            rows: parsed.rows,
            root: parsed.root.to_string(),
            ..record
        };
        let view = self
            .record_batch(connection, caller, batch_kind, record, parsed.root)
            .await?;
        self.raise_flags(connection, caller, batch_kind, &view)
            .await?;
        let view = writing.finish(caller, view).await?;
        if let Err(problem) = self.refresh_statistics(batch_kind, view.rows).await {
            // The batch is in whatever becomes of this; what follows may be slow for a minute.
            tracing::warn!(%problem, "the planner's statistics were not refreshed");
        }
        Ok(view)
    }

    async fn refresh_statistics(
        &self,
        batch_kind: BatchKind,
        rows: u64,
    ) -> Result<(), ServiceError> {
        let mut connection = self.pool.acquire().await?;
        Ok(staging::refresh_statistics(&mut connection, batch_kind, rows).await?)
    }

    /// Adds one row given as JSON, as a batch of one. Errors name the field.
    pub async fn accept_row(
        &self,
        caller: &Caller,
        batch_kind: BatchKind,
        row: &serde_json::Map<String, serde_json::Value>,
        key: Option<String>,
    ) -> Result<BatchView, ServiceError> {
        let csv = super::evidence::csv_of_row(batch_kind, row)?;
        let upload = Upload {
            kind: batch_kind,
            round: None,
            file_name: None,
            file: Spooled::from_bytes(&csv)?,
        };
        self.accept_batch(caller, upload, key)
            .await
            .map_err(|error| match error {
                ServiceError::Rejected(rejections)
                    if rejections.list.iter().any(|row| row.code == OTHER_SITE) =>
                {
                    let row = rejections
                        .list
                        .into_iter()
                        .find(|row| row.code == OTHER_SITE);
                    ServiceError::Forbidden(row.map(|row| row.detail).unwrap_or_default())
                }
                ServiceError::Rejected(rejections) => ServiceError::Invalid(
                    rejections
                        .list
                        .into_iter()
                        .map(|rejection| super::FieldProblem {
                            field: rejection.column.unwrap_or_else(|| "row".into()),
                            detail: rejection.detail,
                        })
                        .collect(),
                ),
                other => other,
            })
    }

    async fn check_staged(
        &self,
        connection: &mut PgConnection,
        caller: &Caller,
        batch_kind: BatchKind,
        round: Option<&str>,
        mut rejections: Rejections,
    ) -> Result<Rejections, ServiceError> {
        let every_row = rejections.is_empty();
        let findings = staging::check(
            connection,
            caller.programme_id,
            batch_kind,
            round,
            every_row,
        )
        .await?;
        let located = findings.rejections.len() as u64;
        for rejection in findings.rejections {
            rejections.push(rejection);
        }
        rejections.count += findings.count.saturating_sub(located);
        if let Some(own) = &caller.sites {
            let (foreign, count) =
                store::sites::foreign_rows(connection, caller.programme_id, batch_kind, own)
                    .await?;
            let located = foreign.len() as u64;
            for rejection in foreign {
                rejections.push(rejection);
            }
            rejections.count += count.saturating_sub(located);
        }
        Ok(rejections)
    }

    async fn record_batch(
        &self,
        connection: &mut PgConnection,
        caller: &Caller,
        batch_kind: BatchKind,
        record: BatchRecord,
        root: Hash,
    ) -> Result<BatchView, ServiceError> {
        let subject = record.id.to_string();
        let sequence = self
            .log(connection, caller, kind::BATCH_ACCEPTED, &subject, &record)
            .await?;
        let file_sha256 = hex::decode(&record.file_sha256)
            .map_err(|e| ServiceError::Internal(format!("file hash: {e}")))?;
        store::batches::insert(
            connection,
            caller.programme_id,
            &record,
            &file_sha256,
            &root.0,
            sequence,
        )
        .await?;
        let inserted = staging::insert(
            connection,
            caller.programme_id,
            batch_kind,
            record.round.as_deref(),
            record.id,
            sequence,
        )
        .await?;
        if inserted != record.rows {
            return Err(ServiceError::Internal(format!(
                "{} rows were read but {inserted} stored",
                record.rows
            )));
        }
        let accepted_at = Some(self.now());
        Ok(BatchView {
            accepted_at,
            ..view(record, sequence, false)
        })
    }
}

/// The same rows in the same round are the same batch, whoever sends them.
fn batch_id(caller: &Caller, upload: &Upload) -> Uuid {
    id_of(&[
        "batch",
        &caller.programme_id.to_string(),
        upload.kind.code(),
        upload.round.as_deref().unwrap_or(""),
        &upload.file.sha256.to_string(),
    ])
}

/// The last part of what a browser calls the file, without control characters.
fn plain_file_name(name: &str) -> String {
    let last = name.rsplit(['/', '\\']).next().unwrap_or_default();
    last.chars().filter(|c| !c.is_control()).take(120).collect()
}

fn view(record: BatchRecord, sequence: u64, repeated: bool) -> BatchView {
    BatchView {
        id: record.id,
        kind: record.kind,
        round: record.round,
        file_name: record.file_name,
        file_sha256: record.file_sha256,
        rows: record.rows,
        root: record.root,
        sequence,
        accepted_at: None,
        repeated,
    }
}

pub(super) fn view_of_row(row: store::batches::BatchRow) -> BatchView {
    BatchView {
        accepted_at: Some(row.accepted_at),
        ..view(row.record, row.sequence, false)
    }
}

async fn known_batch(
    connection: &mut PgConnection,
    caller: &Caller,
    id: Uuid,
) -> Result<Option<BatchView>, ServiceError> {
    let Some(row) = store::batches::by_id(connection, caller.programme_id, id).await? else {
        return Ok(None);
    };
    let known = BatchView {
        repeated: true,
        ..view_of_row(row)
    };
    // To someone of other sites it is not known: the rows are checked, and refused as theirs.
    let may_know = touches_own_sites(connection, caller, &known).await?;
    Ok(may_know.then_some(known))
}

/// Evidence belongs to a round of its kind; the register to none.
async fn check_round(
    connection: &mut PgConnection,
    caller: &Caller,
    batch_kind: BatchKind,
    round: Option<&str>,
) -> Result<(), ServiceError> {
    if !batch_kind.needs_round() {
        return match round {
            None => Ok(()),
            Some(_) => Err(ServiceError::invalid(
                "round",
                format!("{batch_kind} belong to the register, not to a round"),
            )),
        };
    }
    let Some(code) = round else {
        return Err(ServiceError::invalid(
            "round",
            "name the round that these rows belong to",
        ));
    };
    let position = store::trail::size(connection, caller.programme_id).await?;
    let rounds = store::rounds::all(connection, caller.programme_id, position).await?;
    let found = rounds
        .iter()
        .find(|row| row.record.code == code)
        .ok_or_else(|| ServiceError::not_found("round", code))?;
    if batch_kind.round_kinds().contains(&found.record.kind) {
        Ok(())
    } else {
        Err(ServiceError::invalid(
            "round",
            format!(
                "round {code} is for {}, not for {batch_kind}",
                found.record.kind.code()
            ),
        ))
    }
}

/// Parses on a blocking thread while the rows stream into the staging table.
async fn stage(
    connection: &mut PgConnection,
    batch_kind: BatchKind,
    file: Spooled,
) -> Result<Parsed, ServiceError> {
    let (sender, mut receiver) = mpsc::channel(4);
    let parser = tokio::task::spawn_blocking(move || parse(batch_kind, file, &sender));
    let copied = staging::copy(connection, &mut receiver).await;
    drop(receiver);
    let parsed = parser
        .await
        .map_err(|e| ServiceError::Internal(format!("the parser stopped: {e}")))??;
    let copied = copied?;
    if copied != parsed.rows {
        return Err(ServiceError::Internal(format!(
            "{} rows were read but {copied} staged",
            parsed.rows
        )));
    }
    Ok(parsed)
}

fn parse(
    batch_kind: BatchKind,
    file: Spooled,
    chunks: &mpsc::Sender<Vec<u8>>,
) -> Result<Parsed, ServiceError> {
    let template = batch_kind.template();
    let mut tree = Frontier::new();
    let mut rejections = Rejections::default();
    let input = BufReader::with_capacity(CHUNK_BYTES, file.into_file());
    let mut reader = match CsvReader::open(template, input) {
        Ok(reader) => reader,
        Err(rejections) => {
            return Ok(Parsed {
                rows: 0,
                root: tree.root(),
                rejections,
            });
        }
    };
    let names: Vec<&str> = template.columns.iter().map(|column| column.name).collect();
    let may_be_left_out = |name: &str| {
        let column = template
            .column(name)
            .and_then(|at| template.columns.get(at));
        column.is_some_and(Column::may_be_left_out)
    };
    let shape = FlatObject::with_optional(&names, may_be_left_out)
        .map_err(|e| ServiceError::Internal(format!("template of {batch_kind}: {e}")))?;
    let mut texts = CellTexts::default();
    let mut canonical = Vec::new();
    let mut buffer = Vec::with_capacity(CHUNK_BYTES + 1024);
    while let Some(read) = reader.next_row() {
        let row = match read {
            Ok(row) => row,
            Err(broken) => {
                broken
                    .into_iter()
                    .for_each(|rejection: Rejection| rejections.push(rejection));
                continue;
            }
        };
        texts.fill(&row);
        canonical.clear();
        shape.write(|place| texts.get(place), &mut canonical);
        let hash = leaf_hash(&canonical);
        tree.push(hash);
        staging::copy_line(&mut buffer, row.line, &hash, &texts);
        if buffer.len() >= CHUNK_BYTES {
            let full = std::mem::replace(&mut buffer, Vec::with_capacity(CHUNK_BYTES + 1024));
            if chunks.blocking_send(full).is_err() {
                break;
            }
        }
    }
    // A closed channel means that the copy failed; its error is the one to report.
    let _ = chunks.blocking_send(buffer);
    Ok(Parsed {
        rows: tree.size(),
        root: tree.root(),
        rejections,
    })
}
