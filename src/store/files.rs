//! The files that batches came in, kept by their hash in parts.

use super::{StoreError, signed, unsigned};
use crate::trail::merkle::Hash;
use sqlx::PgConnection;
use uuid::Uuid;

/// Bytes of a part; the constraint `uploaded_file_part_size` says the same.
pub const PART_BYTES: usize = 1024 * 1024;

/// A kept file.
#[derive(Debug, Clone, Copy)]
pub struct FileRow {
    pub sha256: Hash,
    pub size_bytes: u64,
}

impl FileRow {
    /// How many parts it has.
    pub fn parts(&self) -> u64 {
        self.size_bytes.div_ceil(PART_BYTES as u64)
    }
}

/// Enters a file; false where it is kept already.
pub async fn insert(
    connection: &mut PgConnection,
    programme_id: Uuid,
    file: FileRow,
) -> Result<bool, StoreError> {
    let done = sqlx::query!(
        "insert into uploaded_file (programme_id, sha256, size_bytes) values ($1, $2, $3)
         on conflict do nothing",
        programme_id,
        &file.sha256.0,
        signed(file.size_bytes)
    )
    .execute(connection)
    .await?;
    Ok(done.rows_affected() == 1)
}

pub async fn insert_part(
    connection: &mut PgConnection,
    programme_id: Uuid,
    sha256: &Hash,
    place: u64,
    content: &[u8],
) -> Result<(), StoreError> {
    sqlx::query!(
        "insert into uploaded_file_part (programme_id, sha256, place, content)
         values ($1, $2, $3, $4)",
        programme_id,
        &sha256.0,
        i32::try_from(place).unwrap_or(i32::MAX),
        content
    )
    .execute(connection)
    .await?;
    Ok(())
}

/// The kept files of the batches known at `position`, by their hashes.
pub async fn known(
    connection: &mut PgConnection,
    programme_id: Uuid,
    position: u64,
) -> Result<Vec<FileRow>, StoreError> {
    let rows = sqlx::query!(
        "select sha256, size_bytes from uploaded_file f
         where programme_id = $1
           and exists (select from batch b
                       where b.programme_id = $1 and b.file_sha256 = f.sha256
                         and b.file_kept and b.sequence < $2)
         order by sha256",
        programme_id,
        signed(position)
    )
    .fetch_all(connection)
    .await?;
    rows.into_iter()
        .map(|row| {
            Ok(FileRow {
                sha256: hash(&row.sha256)?,
                size_bytes: unsigned(row.size_bytes, "uploaded file")?,
            })
        })
        .collect()
}

pub async fn part(
    connection: &mut PgConnection,
    programme_id: Uuid,
    sha256: &Hash,
    place: u64,
) -> Result<Option<Vec<u8>>, StoreError> {
    Ok(sqlx::query_scalar!(
        "select content from uploaded_file_part
         where programme_id = $1 and sha256 = $2 and place = $3",
        programme_id,
        &sha256.0,
        i32::try_from(place).unwrap_or(i32::MAX)
    )
    .fetch_optional(connection)
    .await?)
}

fn hash(bytes: &[u8]) -> Result<Hash, StoreError> {
    <[u8; 32]>::try_from(bytes)
        .map(Hash)
        .map_err(|e| StoreError::damaged("uploaded file", e))
}
