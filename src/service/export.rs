//! The export: everything a verifier needs, as a BagIt bag in a `.tar.gz`.
//!
//! Two exports at the same trail position are the same bytes: fixed order, no clock, no
//! randomness. Two things alone may come in between: cosignatures, and the bytes of a file that a
//! finding named by its hash. Everything is written as it is read, so that memory does not grow
//! with the record.

mod files;
mod heads;
mod rounds;
mod told;

use super::{Caller, Service, ServiceError, apart};
use crate::intake::BatchKind;
use crate::store;
use crate::store::rows::StoredRow;
use crate::trail::bag::{BagWriter, pack};
use crate::trail::canonical::canonical_of;
use crate::verify::layout;
use sqlx::PgConnection;
use std::io::{BufWriter, Seek, Write};
use std::path::Path;

/// A finished export; the file is gone when it is dropped.
pub struct Export {
    pub file: std::fs::File,
    pub bytes: u64,
    /// Name of the bag's top folder.
    pub name: String,
}

impl Export {
    pub const MEDIA_TYPE: &str = "application/gzip";

    /// What the file is called where it is kept.
    pub fn file_name(&self) -> String {
        format!("{}.tar.gz", self.name)
    }
}

impl Service {
    /// Writes the bag of the caller's programme as it stands now.
    pub async fn export(&self, caller: &Caller) -> Result<Export, ServiceError> {
        let folder = tempfile::tempdir().map_err(disk)?;
        let name = self.write_bag(caller, folder.path()).await?;
        apart("the export stopped", move || {
            let mut file = tempfile::tempfile().map_err(disk)?;
            pack(folder.path(), &name, BufWriter::new(&mut file)).map_err(disk)?;
            let bytes = file.stream_position().map_err(disk)?;
            file.rewind().map_err(disk)?;
            Ok(Export { file, bytes, name })
        })
        .await?
    }

    /// Writes the bag into an empty folder and returns the name that it goes by.
    pub async fn write_bag(&self, caller: &Caller, folder: &Path) -> Result<String, ServiceError> {
        caller.must_see_every_site()?;
        let mut transaction = self.reading(caller).await?;
        store::trail::freeze(&mut transaction).await?;
        let connection = &mut *transaction;
        let position = store::trail::size(connection, caller.programme_id).await?;
        let mut bag = BagWriter::create(folder).map_err(disk)?;

        let readme = layout::readme(&caller.programme_code, &caller.programme_name, position);
        put(&mut bag, layout::README, readme.as_bytes())?;
        let description = layout::datapackage(&caller.programme_code);
        put(&mut bag, layout::DATAPACKAGE, &pretty(&description)?)?;
        for batch_kind in BatchKind::ALL {
            write_rows(connection, caller, batch_kind, position, &mut bag).await?;
        }
        rounds::write(connection, caller, position, &mut bag).await?;
        files::write(connection, caller, position, &mut bag).await?;
        let last_time = told::write(connection, caller, position, &mut bag).await?;
        // What follows is of a size that never changes, so the snapshot is let go first:
        // no request may hold one connection while it waits for another.
        transaction.commit().await?;
        self.write_head(caller, position, &mut bag).await?;
        let name = format!("{}-{position}", caller.programme_code);
        let info = [
            ("External-Identifier".to_owned(), name.clone()),
            (
                "External-Description".to_owned(),
                caller.programme_name.clone(),
            ),
            ("Bagging-Date".to_owned(), last_time),
            (
                "Bag-Software-Agent".to_owned(),
                format!("emberbook {}", env!("CARGO_PKG_VERSION")),
            ),
        ];
        bag.finish(&info).map_err(disk)?;
        Ok(name)
    }
}

async fn write_rows(
    connection: &mut PgConnection,
    caller: &Caller,
    batch_kind: BatchKind,
    position: u64,
    bag: &mut BagWriter,
) -> Result<(), ServiceError> {
    let mut file = bag.payload(&layout::row_file(batch_kind)).map_err(disk)?;
    {
        let mut csv = csv::WriterBuilder::new()
            .terminator(csv::Terminator::Any(b'\n'))
            .from_writer(BufWriter::new(&mut file));
        csv.write_record(layout::row_header(batch_kind))
            .map_err(unwritten)?;
        let write = |row: StoredRow| -> Result<(), ServiceError> {
            let place = [
                row.batch_id.to_string(),
                row.line.to_string(),
                row.row_hash.to_string(),
            ];
            let cells = row.texts.into_iter().map(Option::unwrap_or_default);
            csv.write_record(place.into_iter().chain(cells))
                .map_err(unwritten)
        };
        store::rows::each(connection, caller.programme_id, batch_kind, position, write).await??;
        csv.flush().map_err(disk)?;
    }
    file.finish().map_err(disk)?;
    Ok(())
}

fn put(bag: &mut BagWriter, path: &str, bytes: &[u8]) -> Result<(), ServiceError> {
    let mut file = bag.payload(path).map_err(disk)?;
    file.write_all(bytes).map_err(disk)?;
    file.finish().map_err(disk)?;
    Ok(())
}

fn write_line(file: &mut impl Write, bytes: &[u8]) -> Result<(), ServiceError> {
    file.write_all(bytes)
        .and_then(|()| file.write_all(b"\n"))
        .map_err(disk)
}

/// Canonical order of members, one element a line where a human may look.
fn pretty(value: &serde_json::Value) -> Result<Vec<u8>, ServiceError> {
    let failed = |e: String| ServiceError::Internal(format!("export: {e}"));
    if let serde_json::Value::Array(elements) = value {
        let mut text = b"[\n".to_vec();
        for (index, element) in elements.iter().enumerate() {
            text.extend(canonical_of(element).map_err(|e| failed(e.to_string()))?);
            text.extend_from_slice(if index + 1 < elements.len() {
                b",\n"
            } else {
                b"\n"
            });
        }
        text.extend_from_slice(b"]\n");
        return Ok(text);
    }
    let mut text = serde_json::to_vec_pretty(value).map_err(|e| failed(e.to_string()))?;
    text.push(b'\n');
    Ok(text)
}

fn disk(error: std::io::Error) -> ServiceError {
    ServiceError::Internal(format!("export: {error}"))
}

fn unwritten(error: csv::Error) -> ServiceError {
    ServiceError::Internal(format!("export: {error}"))
}
