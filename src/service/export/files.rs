//! The uploaded files in the export, part by part.

use super::disk;
use crate::service::{Caller, ServiceError};
use crate::store::files::{self, FileRow};
use crate::trail::bag::BagWriter;
use crate::verify::layout;
use sqlx::PgConnection;
use std::io::Write;

/// Writes each kept file of the batches known at `position`, in the order of their hashes.
pub(super) async fn write(
    connection: &mut PgConnection,
    caller: &Caller,
    position: u64,
    bag: &mut BagWriter,
) -> Result<(), ServiceError> {
    for file in files::known(connection, caller.programme_id, position).await? {
        write_file(connection, caller, file, bag).await?;
    }
    Ok(())
}

async fn write_file(
    connection: &mut PgConnection,
    caller: &Caller,
    file: FileRow,
    bag: &mut BagWriter,
) -> Result<(), ServiceError> {
    let sha256 = file.sha256.to_string();
    let mut payload = bag.payload(&layout::uploaded_file(&sha256)).map_err(disk)?;
    for place in 0..file.parts() {
        let part = files::part(connection, caller.programme_id, &file.sha256, place).await?;
        let lost = || ServiceError::Internal(format!("part {place} of file {sha256} is lost"));
        payload.write_all(&part.ok_or_else(lost)?).map_err(disk)?;
    }
    if payload.finish().map_err(disk)? != file.sha256 {
        return Err(ServiceError::Internal(format!(
            "file {sha256} no longer has its hash"
        )));
    }
    Ok(())
}
