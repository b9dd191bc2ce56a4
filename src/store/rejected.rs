//! Refused files with their faults marked, kept until they expire.

use super::StoreError;
use chrono::{DateTime, Utc};
use sqlx::PgConnection;
use uuid::Uuid;

#[derive(Debug, Clone)]
pub struct RejectedFile {
    pub id: Uuid,
    /// Token or person that sent it.
    pub holder_id: Uuid,
    pub media_type: String,
    pub file_name: String,
    pub body: Vec<u8>,
}

/// Keeps a file until `expires_at`. What has expired goes, and of the others all but the newest
/// `kept` less one.
pub async fn keep(
    connection: &mut PgConnection,
    programme_id: Uuid,
    file: &RejectedFile,
    (now, expires_at): (DateTime<Utc>, DateTime<Utc>),
    kept: i64,
) -> Result<(), StoreError> {
    sqlx::query!(
        "delete from rejected_file
         where programme_id = $1 and (expires_at <= $2 or file_id in (
             select file_id from rejected_file where programme_id = $1
             order by made_at desc, file_id offset $3))",
        programme_id,
        now,
        (kept - 1).max(0)
    )
    .execute(&mut *connection)
    .await?;
    sqlx::query!(
        "insert into rejected_file (programme_id, file_id, holder_id, media_type, file_name, body,
                                    made_at, expires_at)
         values ($1, $2, $3, $4, $5, $6, $7, $8)",
        programme_id,
        file.id,
        file.holder_id,
        file.media_type,
        file.file_name,
        file.body,
        now,
        expires_at
    )
    .execute(connection)
    .await?;
    Ok(())
}

/// A kept file that has not expired.
pub async fn by_id(
    connection: &mut PgConnection,
    programme_id: Uuid,
    file_id: Uuid,
    now: DateTime<Utc>,
) -> Result<Option<RejectedFile>, StoreError> {
    let row = sqlx::query!(
        "select holder_id, media_type, file_name, body from rejected_file
         where programme_id = $1 and file_id = $2 and expires_at > $3",
        programme_id,
        file_id,
        now
    )
    .fetch_optional(connection)
    .await?;
    Ok(row.map(|row| RejectedFile {
        id: file_id,
        holder_id: row.holder_id,
        media_type: row.media_type,
        file_name: row.file_name,
        body: row.body,
    }))
}
