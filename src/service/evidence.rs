//! Reading accepted evidence: batches, their rows, and the rows behind a figure.

use super::batches::{BatchView, view_of_row};
use super::corrections::{CorrectionView, of_batches};
use super::register::check_code;
use super::{Caller, Service, ServiceError};
use crate::intake::BatchKind;
use crate::store;
use crate::store::rows::{Place, StoredRow};
use crate::trail::canonical::canonical_json;
use serde::{Deserialize, Serialize};
use serde_json::{Map, Value};
use utoipa::ToSchema;
use uuid::Uuid;

/// One accepted row. `cells` has the columns of the kind's template.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct RowView {
    pub batch: Uuid,
    pub line: u64,
    /// RFC 9162 leaf hash of the row's canonical JSON.
    pub row_hash: String,
    #[schema(value_type = Object)]
    pub cells: Map<String, Value>,
    /// What took the row out of the account; absent = it counts.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub corrected: Option<CorrectionView>,
}

/// A page of a longer list.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct Page<T> {
    pub items: Vec<T>,
    /// Give as `after` for the next page; absent = this was the last.
    pub next: Option<String>,
}

/// Where each unit of one serial has been.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct StoveHistory {
    pub serial: String,
    /// Rows of deployments, the earliest recorded first.
    pub deployments: Vec<RowView>,
    /// Rows that ended deployments recorded without an end.
    pub ends: Vec<RowView>,
}

impl Service {
    /// A page of all rows of a kind known at trail position `as_of` (default: now).
    pub async fn rows_of_kind(
        &self,
        caller: &Caller,
        kind: BatchKind,
        as_of: Option<u64>,
        after: Option<&str>,
        limit: u32,
    ) -> Result<Page<RowView>, ServiceError> {
        let after = after.map(read_cursor).transpose()?;
        let mut connection = self.reading(caller).await?;
        let position = position(&mut connection, caller, as_of).await?;
        let rows = store::rows::page(
            &mut connection,
            caller.programme_id,
            kind,
            position,
            after,
            limit,
            caller.sites.as_deref(),
        )
        .await?;
        let full = rows.len() as u64 == u64::from(limit);
        let next = rows
            .last()
            .filter(|_| full)
            .map(|(place, _)| format!("{}.{}", place.sequence, place.line));
        Ok(Page {
            items: rows.iter().map(|(_, row)| row_view(kind, row)).collect(),
            next,
        })
    }

    pub async fn household(
        &self,
        caller: &Caller,
        code: &str,
        as_of: Option<u64>,
    ) -> Result<RowView, ServiceError> {
        let rows = self
            .rows_with_code(caller, BatchKind::Households, "household_code", code, as_of)
            .await?;
        rows.into_iter()
            .next()
            .ok_or_else(|| ServiceError::not_found("household", code))
    }

    pub async fn stove_history(
        &self,
        caller: &Caller,
        serial: &str,
        as_of: Option<u64>,
    ) -> Result<StoveHistory, ServiceError> {
        let deployments = self
            .rows_with_code(caller, BatchKind::Deployments, "serial", serial, as_of)
            .await?;
        if deployments.is_empty() {
            return Err(ServiceError::not_found("stove", serial));
        }
        let ends = self
            .rows_with_code(caller, BatchKind::DeploymentEnds, "serial", serial, as_of)
            .await?;
        Ok(StoveHistory {
            serial: serial.into(),
            deployments,
            ends,
        })
    }

    /// Rows of the deployments that one household was given, the earliest recorded first.
    pub async fn household_deployments(
        &self,
        caller: &Caller,
        code: &str,
        as_of: Option<u64>,
    ) -> Result<Vec<RowView>, ServiceError> {
        let kind = BatchKind::Deployments;
        self.rows_with_code(caller, kind, "household_code", code, as_of)
            .await
    }

    async fn rows_with_code(
        &self,
        caller: &Caller,
        kind: BatchKind,
        column: &'static str,
        code: &str,
        as_of: Option<u64>,
    ) -> Result<Vec<RowView>, ServiceError> {
        // What cannot be a code names nothing, and may not even be text to the database.
        if check_code(column, code).is_err() {
            return Ok(Vec::new());
        }
        let mut connection = self.reading(caller).await?;
        // Without a position every row counts, which saves the question.
        let position = match as_of {
            Some(_) => position(&mut connection, caller, as_of).await?,
            None => u64::MAX,
        };
        let rows = store::rows::with_code(
            &mut connection,
            caller.programme_id,
            kind,
            column,
            code,
            position,
            caller.sites.as_deref(),
        )
        .await?;
        Ok(rows.iter().map(|row| row_view(kind, row)).collect())
    }

    /// All batches known at trail position `as_of` (default: now); for a caller who is bound to
    /// sites, those with a row of one of them.
    pub async fn batches(
        &self,
        caller: &Caller,
        as_of: Option<u64>,
    ) -> Result<Vec<BatchView>, ServiceError> {
        let mut connection = self.reading(caller).await?;
        let position = position(&mut connection, caller, as_of).await?;
        let mut rows = store::batches::all(&mut connection, caller.programme_id, position).await?;
        if let Some(own) = &caller.sites {
            let touching =
                store::sites::batches_touching(&mut connection, caller.programme_id, own).await?;
            rows.retain(|row| touching.contains(&row.record.id));
        }
        Ok(rows.into_iter().map(view_of_row).collect())
    }

    pub async fn batch(&self, caller: &Caller, id: Uuid) -> Result<BatchView, ServiceError> {
        let mut connection = self.reading(caller).await?;
        let found = store::batches::by_id(&mut connection, caller.programme_id, id)
            .await?
            .map(view_of_row)
            .ok_or_else(|| ServiceError::not_found("batch", id))?;
        if !touches_own_sites(&mut connection, caller, &found).await? {
            return Err(ServiceError::not_found("batch", id));
        }
        Ok(found)
    }

    /// A page of a batch's rows, in file order, corrected as of a trail position (default: now).
    pub async fn batch_rows(
        &self,
        caller: &Caller,
        id: Uuid,
        as_of: Option<u64>,
        after_line: u64,
        limit: u32,
    ) -> Result<Vec<RowView>, ServiceError> {
        let batch = self.batch(caller, id).await?;
        let kind = known_kind(&batch.kind)?;
        let mut connection = self.reading(caller).await?;
        let position = position(&mut connection, caller, as_of).await?;
        if batch.sequence >= position {
            return Err(ServiceError::not_found("batch", id));
        }
        let rows = store::rows::of_batch(
            &mut connection,
            caller.programme_id,
            kind,
            id,
            after_line,
            limit,
            caller.sites.as_deref(),
        )
        .await?;
        let corrections = of_batches(&mut connection, caller, position, &[id]).await?;
        let view = |row| RowView {
            corrected: out_of_account(&corrections, id, row),
            ..row_view(kind, row)
        };
        Ok(rows.iter().map(view).collect())
    }

    /// One row by its place, `batch` and `line`.
    pub async fn row(
        &self,
        caller: &Caller,
        batch: Uuid,
        line: u64,
    ) -> Result<RowView, ServiceError> {
        self.batch_rows(caller, batch, None, line.saturating_sub(1), 1)
            .await?
            .into_iter()
            .find(|row| row.line == line)
            .ok_or_else(|| ServiceError::not_found("row", format!("{batch}/{line}")))
    }
}

/// Whether the caller may know of a batch: whoever is bound to sites has a row in it.
pub(super) async fn touches_own_sites(
    connection: &mut sqlx::PgConnection,
    caller: &Caller,
    batch: &BatchView,
) -> Result<bool, ServiceError> {
    let Some(own) = caller.sites.as_deref() else {
        return Ok(true);
    };
    let (id, kind) = (caller.programme_id, known_kind(&batch.kind)?);
    let rows = store::rows::of_batch(connection, id, kind, batch.id, 0, 1, Some(own)).await?;
    Ok(!rows.is_empty())
}

/// The trail position to read at: the one asked for, else the head.
pub(super) async fn position(
    connection: &mut sqlx::PgConnection,
    caller: &Caller,
    as_of: Option<u64>,
) -> Result<u64, ServiceError> {
    let head = store::trail::size(connection, caller.programme_id).await?;
    match as_of {
        Some(asked) if asked > head => Err(ServiceError::invalid(
            "as_of",
            format!("the trail has {head} entries, not {asked}"),
        )),
        Some(asked) => Ok(asked),
        None => Ok(head),
    }
}

fn read_cursor(text: &str) -> Result<Place, ServiceError> {
    text.split_once('.')
        .and_then(|(sequence, line)| {
            Some(Place {
                sequence: sequence.parse().ok()?,
                line: line.parse().ok()?,
            })
        })
        .ok_or_else(|| ServiceError::invalid("after", "must be the `next` of an earlier page"))
}

pub(super) fn known_kind(code: &str) -> Result<BatchKind, ServiceError> {
    code.parse()
        .map_err(|e| ServiceError::Internal(format!("{e}")))
}

/// Canonical JSON of a row: the bytes under its leaf hash.
pub(super) fn canonical_row(kind: BatchKind, row: &StoredRow) -> Result<String, ServiceError> {
    let bytes = canonical_json(&Value::Object(cells(kind, row)))
        .map_err(|e| ServiceError::Internal(format!("row: {e}")))?;
    String::from_utf8(bytes).map_err(|e| ServiceError::Internal(format!("row: {e}")))
}

pub(super) fn row_view(kind: BatchKind, row: &StoredRow) -> RowView {
    RowView {
        batch: row.batch_id,
        line: row.line,
        row_hash: row.row_hash.to_string(),
        cells: cells(kind, row),
        corrected: None,
    }
}

/// What took the row out of the account; where several did, what became of it last.
fn out_of_account(
    corrections: &[CorrectionView],
    batch: Uuid,
    row: &StoredRow,
) -> Option<CorrectionView> {
    let of_row = |each: &&CorrectionView| {
        each.batch == batch && each.line.is_none_or(|line| line == row.line)
    };
    // The list begins with the latest.
    corrections.iter().find(of_row).cloned()
}

pub(super) fn cells(kind: BatchKind, row: &StoredRow) -> Map<String, Value> {
    kind.template()
        .columns
        .iter()
        .zip(&row.texts)
        .map(|(column, text)| {
            (
                column.name.to_owned(),
                text.clone().map_or(Value::Null, Value::String),
            )
        })
        .collect()
}

/// A JSON object as a one-row file of the kind's template.
pub(super) fn csv_of_row(
    kind: BatchKind,
    row: &Map<String, Value>,
) -> Result<Vec<u8>, ServiceError> {
    let mut writer = csv::Writer::from_writer(Vec::new());
    let header: Vec<&str> = row.keys().map(String::as_str).collect();
    let unusable = |e: csv::Error| ServiceError::invalid("row", e.to_string());
    writer.write_record(&header).map_err(unusable)?;
    let mut texts = Vec::with_capacity(header.len());
    for (name, value) in row {
        texts.push(match value {
            Value::Null => String::new(),
            Value::String(text) => text.clone(),
            Value::Bool(true) => "yes".into(),
            Value::Bool(false) => "no".into(),
            Value::Number(number) if number.is_i64() => number.to_string(),
            Value::Number(_) => {
                return Err(ServiceError::invalid(
                    name,
                    "write decimals as text, e.g. \"0.14\": a JSON number may lose digits",
                ));
            }
            _ => {
                return Err(ServiceError::invalid(
                    name,
                    "must be text, a whole number, true, false or null",
                ));
            }
        });
    }
    if !kind
        .template()
        .columns
        .iter()
        .any(|column| row.contains_key(column.name))
    {
        return Err(ServiceError::invalid(
            "row",
            "holds none of the columns of the template",
        ));
    }
    writer.write_record(&texts).map_err(unusable)?;
    writer
        .into_inner()
        .map_err(|e| ServiceError::Internal(e.to_string()))
}
