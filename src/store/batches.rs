//! Batches: which files were accepted, and what the trail says of them.

use super::{StoreError, signed, unsigned};
use crate::accounting::records::BatchRecord;
use chrono::{DateTime, Utc};
use sqlx::PgConnection;
use uuid::Uuid;

#[derive(Debug, Clone)]
pub struct BatchRow {
    pub record: BatchRecord,
    pub sequence: u64,
    pub accepted_at: DateTime<Utc>,
}

pub async fn insert(
    connection: &mut PgConnection,
    programme_id: Uuid,
    record: &BatchRecord,
    file_sha256: &[u8],
    root: &[u8],
    sequence: u64,
) -> Result<(), StoreError> {
    sqlx::query!(
        "insert into batch (programme_id, batch_id, kind, round_code, file_name, file_sha256,
                            row_count, root, sequence)
         values ($1, $2, $3, $4, $5, $6, $7, $8, $9)",
        programme_id,
        record.id,
        record.kind,
        record.round,
        record.file_name,
        file_sha256,
        signed(record.rows),
        root,
        signed(sequence)
    )
    .execute(connection)
    .await?;
    Ok(())
}

pub async fn by_id(
    connection: &mut PgConnection,
    programme_id: Uuid,
    batch_id: Uuid,
) -> Result<Option<BatchRow>, StoreError> {
    Ok(select(connection, programme_id, Some(batch_id))
        .await?
        .pop())
}

/// All batches, in trail order.
pub async fn all(
    connection: &mut PgConnection,
    programme_id: Uuid,
) -> Result<Vec<BatchRow>, StoreError> {
    select(connection, programme_id, None).await
}

async fn select(
    connection: &mut PgConnection,
    programme_id: Uuid,
    batch_id: Option<Uuid>,
) -> Result<Vec<BatchRow>, StoreError> {
    let rows = sqlx::query!(
        "select b.batch_id, b.kind, b.round_code, b.file_name, b.file_sha256, b.row_count, b.root,
                b.sequence, e.at
         from batch b join trail_entry e using (programme_id, sequence)
         where b.programme_id = $1 and ($2::uuid is null or b.batch_id = $2)
         order by b.sequence",
        programme_id,
        batch_id
    )
    .fetch_all(connection)
    .await?;
    rows.into_iter()
        .map(|row| {
            Ok(BatchRow {
                record: BatchRecord {
                    id: row.batch_id,
                    kind: row.kind,
                    round: row.round_code,
                    file_name: row.file_name,
                    file_sha256: hex::encode(row.file_sha256),
                    rows: unsigned(row.row_count, "batch")?,
                    root: hex::encode(row.root),
                },
                sequence: unsigned(row.sequence, "batch")?,
                accepted_at: row.at,
            })
        })
        .collect()
}
