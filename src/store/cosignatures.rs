//! Cosignatures of witnesses on checkpoints: kept once, never changed.

use super::{StoreError, signed, unsigned};
use chrono::{DateTime, Utc};
use sqlx::PgConnection;
use uuid::Uuid;

#[derive(Debug, Clone)]
pub struct CosignatureRow {
    pub size: u64,
    /// Verifier key of the witness.
    pub witness: String,
    /// Seconds since 1970.
    pub time: u64,
    pub line: String,
    pub actor: String,
    pub received_at: DateTime<Utc>,
}

pub async fn insert(
    connection: &mut PgConnection,
    programme_id: Uuid,
    row: &CosignatureRow,
) -> Result<(), StoreError> {
    sqlx::query!(
        "insert into cosignature (programme_id, size, witness, time, line, actor, received_at)
         values ($1, $2, $3, $4, $5, $6, $7)",
        programme_id,
        signed(row.size),
        row.witness,
        signed(row.time),
        row.line,
        row.actor,
        row.received_at
    )
    .execute(connection)
    .await?;
    Ok(())
}

/// Cosignatures of one checkpoint, or of the largest `limit` cosignatures of all up to
/// `up_to`; the largest checkpoint first.
pub async fn list(
    connection: &mut PgConnection,
    programme_id: Uuid,
    size: Option<u64>,
    up_to: u64,
    limit: u32,
) -> Result<Vec<CosignatureRow>, StoreError> {
    let rows = sqlx::query!(
        "select size, witness, time, line, actor, received_at from cosignature
         where programme_id = $1 and ($2::bigint is null or size = $2) and size <= $3
         order by size desc, received_at, witness limit $4",
        programme_id,
        size.map(signed),
        signed(up_to),
        i64::from(limit)
    )
    .fetch_all(connection)
    .await?;
    rows.into_iter()
        .map(|row| {
            Ok(CosignatureRow {
                size: unsigned(row.size, "cosignature")?,
                witness: row.witness,
                time: unsigned(row.time, "cosignature")?,
                line: row.line,
                actor: row.actor,
                received_at: row.received_at,
            })
        })
        .collect()
}
