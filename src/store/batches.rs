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
    /// The entry that withdrew it.
    pub withdrawn: Option<u64>,
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
                            row_count, root, sequence, file_kept)
         values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10)",
        programme_id,
        record.id,
        record.kind,
        record.round,
        record.file_name,
        file_sha256,
        signed(record.rows),
        root,
        signed(sequence),
        record.file_kept
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
    Ok(select(connection, programme_id, Some(batch_id), u64::MAX)
        .await?
        .pop())
}

/// All batches known at `position`, in trail order.
pub async fn all(
    connection: &mut PgConnection,
    programme_id: Uuid,
    position: u64,
) -> Result<Vec<BatchRow>, StoreError> {
    select(connection, programme_id, None, position).await
}

async fn select(
    connection: &mut PgConnection,
    programme_id: Uuid,
    batch_id: Option<Uuid>,
    position: u64,
) -> Result<Vec<BatchRow>, StoreError> {
    let rows = sqlx::query!(
        r#"select b.batch_id, b.kind, b.round_code, b.file_name, b.file_sha256, b.row_count, b.root,
                b.file_kept, b.sequence, e.at, c.sequence as "withdrawn?"
         from batch b join trail_entry e using (programme_id, sequence)
         left join correction c on c.programme_id = $1 and c.batch_id = b.batch_id
                               and c.line is null and c.sequence < $3
         where b.programme_id = $1 and ($2::uuid is null or b.batch_id = $2) and b.sequence < $3
         order by b.sequence"#,
        programme_id,
        batch_id,
        signed(position)
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
                    file_kept: row.file_kept,
                    rows: unsigned(row.row_count, "batch")?,
                    root: hex::encode(row.root),
                },
                sequence: unsigned(row.sequence, "batch")?,
                withdrawn: row
                    .withdrawn
                    .map(|sequence| unsigned(sequence, "correction"))
                    .transpose()?,
                accepted_at: row.at,
            })
        })
        .collect()
}
