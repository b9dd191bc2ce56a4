//! The row that comes in place of another: read, checked and kept as a batch of its own.

use crate::accounting::records::BatchRecord;
use crate::intake::{BatchKind, Rejection};
use crate::service::batches::{OwnNames, stage};
use crate::service::evidence::{cells, csv_of_row};
use crate::service::upload::Spooled;
use crate::service::{Caller, FieldProblem, ServiceError, id_of};
use crate::store;
use crate::store::rows::StoredRow;
use crate::store::staging::{self, Staged};
use serde_json::{Map, Value};
use sqlx::PgConnection;

/// Puts the old cells with the new ones among them into the staging table, as one row.
pub(super) async fn staged_row(
    connection: &mut PgConnection,
    caller: &Caller,
    (kind, earlier): (BatchKind, &BatchRecord),
    old: &StoredRow,
    new: &Map<String, Value>,
) -> Result<BatchRecord, ServiceError> {
    let mut row = cells(kind, old);
    for (column, value) in new {
        if kind.template().column(column).is_none() {
            return Err(ServiceError::invalid(
                column,
                format!("is no column of {}", kind),
            ));
        }
        row.insert(column.clone(), value.clone());
    }
    let file = Spooled::from_bytes(&csv_of_row(kind, &row)?)?;
    let file_sha256 = file.sha256.to_string();
    staging::open(connection, kind.template()).await?;
    let parsed = stage(connection, kind, OwnNames::default(), file).await?;
    if !parsed.rejections.is_empty() {
        return Err(refused(parsed.rejections.list));
    }
    // The root over one leaf is the leaf.
    if parsed.root == old.row_hash {
        return Err(ServiceError::conflict(
            "same_values",
            "the new row is the old one: no cell would change",
        ));
    }
    Ok(BatchRecord {
        // A row is superseded once, so that its place names what stands there.
        id: id_of(&[
            "row in place",
            &caller.programme_id.to_string(),
            &earlier.id.to_string(),
            &old.line.to_string(),
        ]),
        kind: earlier.kind.clone(),
        round: earlier.round.clone(),
        file_name: None,
        file_sha256,
        file_kept: false,
        rows: parsed.rows,
        root: parsed.root.to_string(),
    })
}

pub(super) async fn check_row(
    connection: &mut PgConnection,
    caller: &Caller,
    kind: BatchKind,
    record: &BatchRecord,
) -> Result<(), ServiceError> {
    let (programme, round) = (caller.programme_id, record.round.as_deref());
    let found = staging::check(connection, programme, kind, round, Staged::OneRow).await?;
    if found.rejections.is_empty() {
        return Ok(());
    }
    Err(refused(found.rejections))
}

pub(super) async fn insert_row(
    connection: &mut PgConnection,
    caller: &Caller,
    kind: BatchKind,
    record: &BatchRecord,
    sequence: u64,
) -> Result<(), ServiceError> {
    let decoded = |text: &str| {
        hex::decode(text).map_err(|e| ServiceError::Internal(format!("hash of a row: {e}")))
    };
    let (file, root) = (decoded(&record.file_sha256)?, decoded(&record.root)?);
    let (programme, round) = (caller.programme_id, record.round.as_deref());
    store::batches::insert(connection, programme, record, &file, &root, sequence).await?;
    let inserted = staging::insert(connection, programme, kind, round, record.id, sequence).await?;
    must_be(inserted, 1)?;
    if kind == BatchKind::DeploymentEnds {
        store::corrections::reopen(connection, programme).await?;
    }
    Ok(())
}

fn refused(rejections: Vec<Rejection>) -> ServiceError {
    let problem = |rejection: Rejection| FieldProblem {
        field: rejection.column.unwrap_or_else(|| "row".into()),
        detail: rejection.detail,
    };
    ServiceError::Invalid(rejections.into_iter().map(problem).collect())
}

pub(super) fn must_be(found: u64, due: u64) -> Result<(), ServiceError> {
    if found == due {
        return Ok(());
    }
    Err(ServiceError::Internal(format!(
        "a correction came to {found} where {due} was due"
    )))
}
