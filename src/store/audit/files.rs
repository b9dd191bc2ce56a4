//! The kept files of batches as their tables have them, read part by part.

use crate::store::StoreError;
use futures_util::TryStreamExt;
use sqlx::PgConnection;
use uuid::Uuid;

/// A part of a kept file.
#[derive(Debug, sqlx::FromRow)]
pub struct FilePart {
    /// Of the whole file; may have any length.
    pub sha256: Vec<u8>,
    pub place: i32,
    pub content: Vec<u8>,
}

/// The kept files: SHA-256 and size in bytes, by hash.
pub async fn kept_files(
    connection: &mut PgConnection,
    programme_id: Uuid,
) -> Result<Vec<(Vec<u8>, i64)>, StoreError> {
    Ok(sqlx::query_as(
        "select sha256, size_bytes from uploaded_file where programme_id = $1 order by sha256",
    )
    .bind(programme_id)
    .fetch_all(connection)
    .await?)
}

/// Hands every part to `take`, file after file, place after place; one is in memory at a time.
pub async fn each_part(
    connection: &mut PgConnection,
    programme_id: Uuid,
    mut take: impl FnMut(FilePart),
) -> Result<(), StoreError> {
    let mut parts = sqlx::query_as(
        "select sha256, place, content from uploaded_file_part
         where programme_id = $1 order by sha256, place",
    )
    .bind(programme_id)
    .fetch(connection);
    while let Some(part) = parts.try_next().await? {
        take(part);
    }
    Ok(())
}

/// Columns of the tables of kept files that this program does not know: table, column.
pub async fn unknown_file_columns(
    connection: &mut PgConnection,
) -> Result<Vec<(String, String)>, StoreError> {
    Ok(sqlx::query_as(
        "select c.relname::text, a.attname::text
         from pg_attribute a join pg_class c on c.oid = a.attrelid
         where a.attrelid in ('uploaded_file'::regclass, 'uploaded_file_part'::regclass)
           and a.attnum > 0 and not a.attisdropped
           and a.attname not in ('programme_id', 'sha256', 'size_bytes', 'place', 'content')",
    )
    .fetch_all(connection)
    .await?)
}
