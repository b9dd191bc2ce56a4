//! What a repeated POST is answered with.

use super::StoreError;
use chrono::{DateTime, Utc};
use sqlx::PgConnection;
use uuid::Uuid;

/// What the store knows of a key.
#[derive(Debug)]
pub enum Claim {
    /// First use: the key is ours until the transaction ends.
    New,
    /// The same request was answered before, with this body.
    Answered(String),
    /// The key was used for another request.
    Reused,
}

/// Claims `key` inside the caller's transaction. A second writer with the same
/// key waits here until the first commits or rolls back.
pub async fn claim(
    connection: &mut PgConnection,
    programme_id: Uuid,
    key: &str,
    operation: &str,
    fingerprint: &[u8],
    now: DateTime<Utc>,
) -> Result<Claim, StoreError> {
    let inserted = sqlx::query!(
        "insert into idempotent_answer (programme_id, key, operation, fingerprint, body, created_at)
         values ($1, $2, $3, $4, '', $5) on conflict do nothing",
        programme_id,
        key,
        operation,
        fingerprint,
        now
    )
    .execute(&mut *connection)
    .await?;
    if inserted.rows_affected() == 1 {
        return Ok(Claim::New);
    }
    let row = sqlx::query!(
        "select operation, fingerprint, body from idempotent_answer
         where programme_id = $1 and key = $2",
        programme_id,
        key
    )
    .fetch_one(connection)
    .await?;
    if row.operation == operation && row.fingerprint == fingerprint {
        Ok(Claim::Answered(row.body))
    } else {
        Ok(Claim::Reused)
    }
}

/// Keeps the answer for the repeats to come; in the transaction that did the work.
pub async fn remember(
    connection: &mut PgConnection,
    programme_id: Uuid,
    key: &str,
    body: &str,
) -> Result<(), StoreError> {
    sqlx::query!(
        "update idempotent_answer set body = $3 where programme_id = $1 and key = $2",
        programme_id,
        key,
        body
    )
    .execute(connection)
    .await?;
    Ok(())
}
