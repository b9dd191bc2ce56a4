//! What was asked for by someone who is known, and refused. The table only grows.

use super::{StoreError, signed, unsigned};
use chrono::{DateTime, Utc};
use sqlx::PgConnection;
use uuid::Uuid;

#[derive(Debug, Clone)]
pub struct DenialRow {
    /// Given by the database; larger = later.
    pub denial_id: u64,
    pub at: DateTime<Utc>,
    pub request_id: String,
    /// `token`, `person` or `operator`.
    pub holder_kind: String,
    pub holder_id: Option<Uuid>,
    pub who: String,
    pub method: String,
    pub path: String,
    pub status: u16,
    pub why: String,
}

/// Keeps a denial; its id is given here.
pub async fn insert(
    connection: &mut PgConnection,
    programme_id: Uuid,
    row: &DenialRow,
) -> Result<(), StoreError> {
    sqlx::query!(
        "insert into denial (programme_id, at, request_id, holder_kind, holder_id, who, method,
                             path, status, why)
         values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10)",
        programme_id,
        row.at,
        row.request_id,
        row.holder_kind,
        row.holder_id,
        row.who,
        row.method,
        row.path,
        i16::try_from(row.status).unwrap_or(i16::MAX),
        row.why
    )
    .execute(connection)
    .await?;
    Ok(())
}

/// The latest denials before `before`, the latest first.
pub async fn page(
    connection: &mut PgConnection,
    programme_id: Uuid,
    before: u64,
    limit: u32,
) -> Result<Vec<DenialRow>, StoreError> {
    let rows = sqlx::query!(
        "select denial_id, at, request_id, holder_kind, holder_id, who, method, path, status, why
         from denial where programme_id = $1 and denial_id < $2
         order by denial_id desc limit $3",
        programme_id,
        signed(before),
        i64::from(limit)
    )
    .fetch_all(connection)
    .await?;
    rows.into_iter()
        .map(|row| {
            Ok(DenialRow {
                denial_id: unsigned(row.denial_id, "denial")?,
                at: row.at,
                request_id: row.request_id,
                holder_kind: row.holder_kind,
                holder_id: row.holder_id,
                who: row.who,
                method: row.method,
                path: row.path,
                status: u16::try_from(row.status).map_err(|e| StoreError::damaged("denial", e))?,
                why: row.why,
            })
        })
        .collect()
}
