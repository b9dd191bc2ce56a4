//! Tests of the room as its callers see it.

mod bad_cells;
mod bad_files;
mod headers;
mod properties;
mod reading;
mod samples;
mod typed_rows;

use super::{BatchKind, CsvReader, Rejection, Row};

/// Every row and every rejection of a file, in order.
fn read_all(kind: BatchKind, bytes: &[u8]) -> (Vec<Row>, Vec<Rejection>) {
    let mut rows = Vec::new();
    let mut rejections = Vec::new();
    match CsvReader::open(kind.template(), bytes) {
        Err(refused) => rejections.extend(refused.list),
        Ok(mut reader) => {
            while let Some(result) = reader.next_row() {
                match result {
                    Ok(row) => rows.push(row),
                    Err(found) => rejections.extend(found),
                }
            }
        }
    }
    (rows, rejections)
}

/// `line column code`, with `-` for what is not known.
pub(in crate::intake) fn places(rejections: &[Rejection]) -> Vec<String> {
    let place = |rejection: &Rejection| {
        let line = rejection
            .line
            .map_or("-".to_owned(), |line| line.to_string());
        let column = rejection.column.as_deref().unwrap_or("-");
        format!("{line} {column} {}", rejection.code)
    };
    rejections.iter().map(place).collect()
}

/// The header without the columns that a file may leave out.
fn short_header(kind: BatchKind) -> String {
    let columns = kind.template().columns.iter();
    let kept = columns.filter(|column| !column.may_be_left_out());
    kept.map(|column| column.name).collect::<Vec<_>>().join(",")
}

/// A file of one kind: its header and these lines.
fn file_of(kind: BatchKind, lines: &[&str]) -> Vec<u8> {
    format!("{}\n{}\n", short_header(kind), lines.join("\n")).into_bytes()
}
