//! Keeps the very file that a batch came in, in the transaction that accepts the batch.

use crate::service::{Caller, ServiceError};
use crate::store::files::{self, FileRow, PART_BYTES};
use crate::trail::merkle::Hash;
use sha2::{Digest, Sha256};
use sqlx::PgConnection;
use std::fs::File;
use std::io::{Read, Seek};

/// Keeps `file` under its hash, part by part; where it is kept already nothing is written.
///
/// # Errors
/// `Internal` where the file on disk no longer has this hash.
pub(super) async fn keep(
    connection: &mut PgConnection,
    caller: &Caller,
    sha256: &str,
    mut file: File,
) -> Result<(), ServiceError> {
    let sha256 = Hash::from_hex(sha256).map_err(|e| unkept(&e.to_string()))?;
    let size_bytes = file.metadata().map_err(disk)?.len();
    let row = FileRow { sha256, size_bytes };
    if !files::insert(connection, caller.programme_id, row).await? {
        return Ok(());
    }
    file.rewind().map_err(disk)?;
    let mut digest = Sha256::new();
    let mut part = Vec::with_capacity(PART_BYTES);
    for place in 0..row.parts() {
        part.clear();
        // Out of the page cache, where it was just written.
        let most = (&mut file).take(PART_BYTES as u64).read_to_end(&mut part);
        most.map_err(disk)?;
        digest.update(&part);
        files::insert_part(connection, caller.programme_id, &sha256, place, &part).await?;
    }
    if Hash(digest.finalize().into()) != sha256 {
        return Err(unkept("it changed while its rows were read"));
    }
    Ok(())
}

fn disk(error: std::io::Error) -> ServiceError {
    unkept(&error.to_string())
}

fn unkept(problem: &str) -> ServiceError {
    ServiceError::Internal(format!("the file of a batch: {problem}"))
}
