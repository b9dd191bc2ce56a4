//! A batch: a file from the field, accepted whole or refused whole.
//!
//! The way of the data: bytes -> rows or located errors -> staging by COPY ->
//! set-based checks under the write lock -> one insert -> one trail entry -> commit.

mod keep;
mod known;
mod parse;
mod refused;

pub(super) use parse::{OwnNames, stage};
pub use refused::{KEPT_DAYS, MarkedFile, Refused};

use super::drawn_rounds::takes_rows;
use super::upload::Spooled;
use super::write::Begun;
use super::{Caller, Once, Role, Service, ServiceError};
use crate::accounting::records::{BatchRecord, kind};
use crate::intake::{BatchKind, Rejections};
use crate::store;
use crate::store::staging::{self, Staged};
use crate::trail::merkle::Hash;
use keep::keep;
pub(super) use known::check_round;
use known::{batch_id, known_batch};
use serde::{Deserialize, Serialize};
use sqlx::PgConnection;
use utoipa::ToSchema;
use uuid::Uuid;

pub use crate::store::sites::OTHER_SITE;

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
    /// Trail entry that withdrew it: its rows count no more from there on.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub withdrawn_by: Option<u64>,
    /// True where the file was only checked: this is what would be accepted, and nothing was
    /// written.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub dry_run: bool,
}

/// How a file is taken.
#[derive(Debug, Clone, Default)]
pub struct Taking {
    /// Does everything and writes nothing.
    pub dry_run: bool,
    /// Whether a file that a dry run refuses is given back marked, as any other refused one.
    pub marks_dry_run: bool,
    /// Mapping by which the columns are named; absent = the saved default, where the header does
    /// not fit without it.
    pub mapping: Option<String>,
}

/// An upload as it arrives.
pub struct Upload {
    pub kind: BatchKind,
    pub round: Option<String>,
    pub file_name: Option<String>,
    pub file: Spooled,
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
        let id = batch_id(caller, &upload);
        self.accept_batch_as(caller, id, upload, key).await
    }

    /// The same for what is known by another id than that of its rows.
    pub(super) async fn accept_batch_as(
        &self,
        caller: &Caller,
        id: Uuid,
        upload: Upload,
        key: Option<String>,
    ) -> Result<BatchView, ServiceError> {
        self.take(caller, id, upload, &Taking::default(), key)
            .await
            .map_err(|error| match error {
                ServiceError::RejectedFile(refused) => ServiceError::Rejected(refused.rejections),
                other => other,
            })
    }

    /// Checks a file in full; where it is sound and this is no dry run, it is accepted.
    ///
    /// # Errors
    /// `RejectedFile` with the located errors; the database is then unchanged.
    async fn take(
        &self,
        caller: &Caller,
        id: Uuid,
        upload: Upload,
        taking: &Taking,
        key: Option<String>,
    ) -> Result<BatchView, ServiceError> {
        caller.must_be(&[Role::Manager, Role::Monitor])?;
        let batch_kind = upload.kind;
        let progress = upload.file.progress();
        if !store::sites::tell_apart(batch_kind) {
            caller.must_see_every_site()?;
        }
        let sent = upload.file.sent()?;
        let record = BatchRecord {
            id,
            kind: batch_kind.code().into(),
            round: upload.round.clone(),
            file_name: upload.file_name.as_deref().map(plain_file_name),
            file_sha256: upload.file.sha256.to_string(),
            file_kept: sent.is_some(),
            rows: 0,
            root: String::new(),
        };
        let key = key.filter(|_| !taking.dry_run);
        let once = Once::new(key, "accept-batch", record.id.as_bytes());
        let mut writing = match self.begin(caller, &once).await? {
            Begun::Answered(answer) => return Ok(answer),
            Begun::Go(writing) => writing,
        };
        let connection = &mut *writing.transaction;
        check_round(connection, caller, batch_kind, record.round.as_deref()).await?;
        if let (_, Some(known)) = known_batch(connection, caller, id).await? {
            return writing.finish(caller, taking.view(known)).await;
        }
        let names = self
            .own_names(connection, caller, batch_kind, taking)
            .await?;
        staging::open(connection, batch_kind.template()).await?;
        let parsed = stage(connection, batch_kind, names, upload.file).await?;

        store::trail::lock(connection, caller.programme_id).await?;
        // The same file may have been accepted while this one was read.
        let (id, known) = known_batch(connection, caller, id).await?;
        if let Some(known) = known {
            return writing.finish(caller, taking.view(known)).await;
        }
        let round = record.round.as_deref();
        takes_rows(connection, caller, round).await?;
        let rejections = self
            .check_staged(connection, caller, batch_kind, round, parsed.rejections)
            .await?;
        if rejections.count > 0 {
            let refused = Refused::new(batch_kind, rejections, &parsed.layout);
            return Err(ServiceError::RejectedFile(Box::new(refused)));
        }
        progress.checked(parsed.rows)?;
        let record = BatchRecord {
            id,
            rows: parsed.rows,
            root: parsed.root.to_string(),
            ..record
        };
        if let Some(sent) = sent {
            keep(connection, caller, &record.file_sha256, sent).await?;
        }
        let view = self
            .record_batch(connection, caller, batch_kind, record, parsed.root)
            .await?;
        self.raise_flags(connection, caller, batch_kind, &view)
            .await?;
        if taking.dry_run {
            // Let go of without a commit: all was done, and nothing of it stays.
            return Ok(taking.view(view));
        }
        progress.wrote(view.rows);
        let view = writing.finish(caller, view).await?;
        if let Err(problem) = self.refresh_statistics(batch_kind, view.rows).await {
            // The batch is in whatever becomes of this; what follows may be slow for a minute.
            tracing::warn!(%problem, "the planner's statistics were not refreshed");
        }
        Ok(view)
    }

    /// The programme's own column names that the file may use.
    async fn own_names(
        &self,
        connection: &mut PgConnection,
        caller: &Caller,
        batch_kind: BatchKind,
        taking: &Taking,
    ) -> Result<OwnNames, ServiceError> {
        let name = taking.mapping.as_deref();
        let mapping = super::mappings::saved(connection, caller, batch_kind, name).await?;
        Ok(OwnNames {
            mapping,
            always: name.is_some(),
        })
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
            file: Spooled::from_bytes(&csv)?.typed_in(),
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
        let staged = match rejections.is_empty() {
            true => Staged::WholeFile,
            false => Staged::PartOfFile,
        };
        let findings =
            staging::check(connection, caller.programme_id, batch_kind, round, staged).await?;
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

impl Taking {
    fn view(&self, view: BatchView) -> BatchView {
        BatchView {
            dry_run: self.dry_run,
            ..view
        }
    }
}

/// The last part of what a browser calls the file, without control characters.
fn plain_file_name(name: &str) -> String {
    let last = name.rsplit(['/', '\\']).next().unwrap_or_default();
    last.chars().filter(|c| !c.is_control()).take(120).collect()
}

pub(super) fn view(record: BatchRecord, sequence: u64, repeated: bool) -> BatchView {
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
        withdrawn_by: None,
        dry_run: false,
    }
}

pub(super) fn view_of_row(row: store::batches::BatchRow) -> BatchView {
    BatchView {
        accepted_at: Some(row.accepted_at),
        withdrawn_by: row.withdrawn,
        ..view(row.record, row.sequence, false)
    }
}
