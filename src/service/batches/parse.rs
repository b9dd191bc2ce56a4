//! From the bytes of a file to rows in the staging table, whichever the file's format.

use super::Spooled;
use crate::intake::{
    BatchKind, CellTexts, Column, ColumnMapping, Layout, Naming, Rejections, read_rows,
};
use crate::service::ServiceError;
use crate::store::staging;
use crate::trail::canonical::FlatObject;
use crate::trail::merkle::{Frontier, Hash, leaf_hash};
use sqlx::PgConnection;
use std::io::BufReader;
use tokio::sync::mpsc;

/// Bytes handed to COPY at a time.
const CHUNK_BYTES: usize = 256 * 1024;

/// A file as it was read.
pub(in crate::service) struct Parsed {
    pub rows: u64,
    pub root: Hash,
    pub rejections: Rejections,
    pub layout: Layout,
}

/// The programme's own column names that a file may use.
#[derive(Default)]
pub(in crate::service) struct OwnNames {
    pub mapping: Option<ColumnMapping>,
    /// Whether they were asked for by name.
    pub always: bool,
}

/// Parses on a blocking thread while the rows stream into the staging table.
pub(in crate::service) async fn stage(
    connection: &mut PgConnection,
    batch_kind: BatchKind,
    names: OwnNames,
    file: Spooled,
) -> Result<Parsed, ServiceError> {
    let (sender, mut receiver) = mpsc::channel(4);
    let parser = tokio::task::spawn_blocking(move || parse(batch_kind, &names, file, &sender));
    let copied = staging::copy(connection, &mut receiver).await;
    drop(receiver);
    let parsed = parser
        .await
        .map_err(|e| ServiceError::Internal(format!("the parser stopped: {e}")))??;
    let copied = copied?;
    if copied != parsed.rows {
        return Err(ServiceError::Internal(format!(
            "{} rows were read but {copied} staged",
            parsed.rows
        )));
    }
    Ok(parsed)
}

fn parse(
    batch_kind: BatchKind,
    names: &OwnNames,
    file: Spooled,
    chunks: &mpsc::Sender<Vec<u8>>,
) -> Result<Parsed, ServiceError> {
    let template = batch_kind.template();
    let columns: Vec<&str> = template.columns.iter().map(|column| column.name).collect();
    let may_be_left_out = |name: &str| {
        let column = template
            .column(name)
            .and_then(|at| template.columns.get(at));
        column.is_some_and(Column::may_be_left_out)
    };
    let shape = FlatObject::with_optional(&columns, may_be_left_out)
        .map_err(|e| ServiceError::Internal(format!("template of {batch_kind}: {e}")))?;
    let naming = Naming {
        mapping: names.mapping.as_ref(),
        always: names.always,
    };
    let mut tree = Frontier::new();
    let mut rejections = Rejections::default();
    let mut texts = CellTexts::default();
    let mut canonical = Vec::new();
    let mut buffer = Vec::with_capacity(CHUNK_BYTES + 1024);
    let progress = file.progress();
    let input = BufReader::with_capacity(CHUNK_BYTES, file.into_file());
    let layout = read_rows(template, &naming, input, &mut |read| {
        if !progress.read_row() {
            return false;
        }
        let row = match read {
            Ok(row) => row,
            Err(broken) => {
                rejections.extend(broken);
                return true;
            }
        };
        texts.fill(&row);
        canonical.clear();
        shape.write(|place| texts.get(place), &mut canonical);
        let hash = leaf_hash(&canonical);
        tree.push(hash);
        staging::copy_line(&mut buffer, row.line, &hash, &texts);
        if buffer.len() < CHUNK_BYTES {
            return true;
        }
        let full = std::mem::replace(&mut buffer, Vec::with_capacity(CHUNK_BYTES + 1024));
        chunks.blocking_send(full).is_ok()
    });
    // A closed channel means that the copy failed; its error is the one to report.
    let _ = chunks.blocking_send(buffer);
    Ok(Parsed {
        rows: tree.size(),
        root: tree.root(),
        rejections,
        layout,
    })
}
