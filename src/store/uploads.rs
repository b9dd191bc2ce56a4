//! Uploads on their way: how many of their bytes are durably in the data folder.

use super::{StoreError, signed, unsigned};
use chrono::{DateTime, Utc};
use sqlx::{PgConnection, PgPool};
use uuid::Uuid;

#[derive(Debug, Clone)]
pub struct UploadRow {
    pub upload_id: Uuid,
    pub batch_kind: String,
    pub round_code: Option<String>,
    pub file_name: Option<String>,
    pub length_bytes: u64,
    pub offset_bytes: u64,
    /// Only checked, and nothing of it kept.
    pub dry_run: bool,
    /// Mapping of column names to read it by.
    pub mapping: Option<String>,
    pub expires_at: DateTime<Utc>,
}

/// Who began an upload or a job.
#[derive(Debug, Clone)]
pub struct Beginner {
    /// `token` or `person`.
    pub holder_kind: String,
    pub holder_id: Uuid,
    pub label: String,
    pub role: String,
    pub sites: Option<Vec<String>>,
}

pub async fn insert(
    connection: &mut PgConnection,
    programme_id: Uuid,
    row: &UploadRow,
    by: &Beginner,
    created_at: DateTime<Utc>,
) -> Result<(), StoreError> {
    sqlx::query!(
        "insert into upload (programme_id, upload_id, batch_kind, round_code, file_name,
                             length_bytes, offset_bytes, holder_kind, holder_id, label, role,
                             sites, created_at, expires_at, dry_run, mapping)
         values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16)",
        programme_id,
        row.upload_id,
        row.batch_kind,
        row.round_code,
        row.file_name,
        signed(row.length_bytes),
        signed(row.offset_bytes),
        by.holder_kind,
        by.holder_id,
        by.label,
        by.role,
        by.sites.as_deref(),
        created_at,
        row.expires_at,
        row.dry_run,
        row.mapping
    )
    .execute(connection)
    .await?;
    Ok(())
}

/// Bytes that the programme's uploads hold or have yet to send. Whoever asks is the only one
/// to begin an upload of the programme until the transaction ends.
pub async fn bytes_held(
    connection: &mut PgConnection,
    programme_id: Uuid,
) -> Result<u64, StoreError> {
    sqlx::query("select pg_advisory_xact_lock(hashtextextended($1::text, 10))")
        .bind(programme_id.to_string())
        .execute(&mut *connection)
        .await?;
    let held = sqlx::query_scalar!(
        r#"select coalesce(sum(length_bytes), 0)::bigint as "held!"
           from upload where programme_id = $1 and released_at is null"#,
        programme_id
    )
    .fetch_one(connection)
    .await?;
    unsigned(held, "upload")
}

/// An upload that has not expired, for whoever has the role and the sites of its beginner.
pub async fn visible(
    connection: &mut PgConnection,
    programme_id: Uuid,
    upload_id: Uuid,
    role: &str,
    sites: Option<&[String]>,
    now: DateTime<Utc>,
) -> Result<Option<UploadRow>, StoreError> {
    let row = sqlx::query!(
        "select upload_id, batch_kind, round_code, file_name, length_bytes, offset_bytes,
                dry_run, mapping, expires_at
         from upload
         where programme_id = $1 and upload_id = $2 and role = $3
           and sites is not distinct from $4 and expires_at > $5",
        programme_id,
        upload_id,
        role,
        sites,
        now
    )
    .fetch_optional(connection)
    .await?;
    row.map(|row| {
        Ok(UploadRow {
            upload_id: row.upload_id,
            batch_kind: row.batch_kind,
            round_code: row.round_code,
            file_name: row.file_name,
            length_bytes: unsigned(row.length_bytes, "upload")?,
            offset_bytes: unsigned(row.offset_bytes, "upload")?,
            dry_run: row.dry_run,
            mapping: row.mapping,
            expires_at: row.expires_at,
        })
    })
    .transpose()
}

/// Moves the offset; false where it was not at `from`, because another request moved it.
pub async fn advance(
    connection: &mut PgConnection,
    programme_id: Uuid,
    upload_id: Uuid,
    from: u64,
    to: u64,
) -> Result<bool, StoreError> {
    let done = sqlx::query!(
        "update upload set offset_bytes = $4
         where programme_id = $1 and upload_id = $2 and offset_bytes = $3",
        programme_id,
        upload_id,
        signed(from),
        signed(to)
    )
    .execute(connection)
    .await?;
    Ok(done.rows_affected() == 1)
}

/// Notes that the bytes of an upload are given up.
pub async fn release(
    connection: &mut PgConnection,
    programme_id: Uuid,
    upload_id: Uuid,
    now: DateTime<Utc>,
) -> Result<(), StoreError> {
    sqlx::query!(
        "update upload set released_at = $3 where programme_id = $1 and upload_id = $2",
        programme_id,
        upload_id,
        now
    )
    .execute(connection)
    .await?;
    Ok(())
}

pub async fn delete(
    connection: &mut PgConnection,
    programme_id: Uuid,
    upload_id: Uuid,
) -> Result<(), StoreError> {
    sqlx::query!(
        "delete from upload where programme_id = $1 and upload_id = $2",
        programme_id,
        upload_id
    )
    .execute(connection)
    .await?;
    Ok(())
}

/// Uploads of every programme that have expired and that no job has yet to read.
pub async fn expired(pool: &PgPool, now: DateTime<Utc>) -> Result<Vec<(Uuid, Uuid)>, StoreError> {
    let rows = sqlx::query!(
        "select programme_id, upload_id from upload u
         where expires_at <= $1
           and not exists (select from job j
                           where j.programme_id = u.programme_id and j.job_id = u.upload_id
                             and j.state in ('waiting', 'running'))
         limit 1000",
        now
    )
    .fetch_all(pool)
    .await?;
    Ok(rows
        .into_iter()
        .map(|row| (row.programme_id, row.upload_id))
        .collect())
}
