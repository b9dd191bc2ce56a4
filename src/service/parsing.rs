//! Reading an uploaded file into the staging table: rows or located errors, their hashes and
//! the root over them.

use super::ServiceError;
use super::upload::Spooled;
use crate::intake::{BatchKind, CellTexts, Column, CsvReader, Rejection, Rejections};
use crate::store::staging;
use crate::trail::canonical::FlatObject;
use crate::trail::merkle::{Frontier, Hash, leaf_hash};
use sqlx::PgConnection;
use std::io::BufReader;
use tokio::sync::mpsc;

/// Bytes handed to COPY at a time.
const CHUNK_BYTES: usize = 256 * 1024;

pub(super) struct Parsed {
    pub rows: u64,
    pub root: Hash,
    pub rejections: Rejections,
}

/// Parses on a blocking thread while the rows stream into the staging table.
pub(super) async fn stage(
    connection: &mut PgConnection,
    batch_kind: BatchKind,
    file: Spooled,
) -> Result<Parsed, ServiceError> {
    let (sender, mut receiver) = mpsc::channel(4);
    let parser = tokio::task::spawn_blocking(move || parse(batch_kind, file, &sender));
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
    file: Spooled,
    chunks: &mpsc::Sender<Vec<u8>>,
) -> Result<Parsed, ServiceError> {
    let template = batch_kind.template();
    let mut tree = Frontier::new();
    let mut rejections = Rejections::default();
    let progress = file.progress();
    let input = BufReader::with_capacity(CHUNK_BYTES, file.into_file());
    let mut reader = match CsvReader::open(template, input) {
        Ok(reader) => reader,
        Err(rejections) => {
            return Ok(Parsed {
                rows: 0,
                root: tree.root(),
                rejections,
            });
        }
    };
    let names: Vec<&str> = template.columns.iter().map(|column| column.name).collect();
    let may_be_left_out = |name: &str| {
        let column = template
            .column(name)
            .and_then(|at| template.columns.get(at));
        column.is_some_and(Column::may_be_left_out)
    };
    let shape = FlatObject::with_optional(&names, may_be_left_out)
        .map_err(|e| ServiceError::Internal(format!("template of {batch_kind}: {e}")))?;
    let mut texts = CellTexts::default();
    let mut canonical = Vec::new();
    let mut buffer = Vec::with_capacity(CHUNK_BYTES + 1024);
    while let Some(read) = reader.next_row() {
        if !progress.read_row() {
            break;
        }
        let row = match read {
            Ok(row) => row,
            Err(broken) => {
                broken
                    .into_iter()
                    .for_each(|rejection: Rejection| rejections.push(rejection));
                continue;
            }
        };
        texts.fill(&row);
        canonical.clear();
        shape.write(|place| texts.get(place), &mut canonical);
        let hash = leaf_hash(&canonical);
        tree.push(hash);
        staging::copy_line(&mut buffer, row.line, &hash, &texts);
        if buffer.len() >= CHUNK_BYTES {
            let full = std::mem::replace(&mut buffer, Vec::with_capacity(CHUNK_BYTES + 1024));
            if chunks.blocking_send(full).is_err() {
                break;
            }
        }
    }
    // A closed channel means that the copy failed; its error is the one to report.
    let _ = chunks.blocking_send(buffer);
    Ok(Parsed {
        rows: tree.size(),
        root: tree.root(),
        rejections,
    })
}
