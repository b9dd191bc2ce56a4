//! Accepted rows as a table whose lines open the row.

use super::{links, words};
use crate::intake::BatchKind;
use crate::service::evidence::RowView;
use serde_json::Value;

/// A column of the template.
pub(super) struct ColumnView {
    pub name: &'static str,
    pub unit: Option<&'static str>,
    pub numeric: bool,
}

impl ColumnView {
    /// The name in parts, between which a narrow column may break.
    pub fn name_parts(&self) -> impl Iterator<Item = &'static str> {
        self.name.split_inclusive('_')
    }
}

pub(super) struct LineView {
    pub line: u64,
    pub href: String,
    pub cells: Vec<String>,
    /// What took the row out of the account.
    pub corrected: Option<&'static str>,
}

/// Rows of one kind under the columns of its template.
pub(super) struct RowsTable {
    pub caption: String,
    pub columns: Vec<ColumnView>,
    pub lines: Vec<LineView>,
}

impl RowsTable {
    pub fn new(caption: impl Into<String>, kind: BatchKind, rows: &[RowView]) -> Self {
        use crate::intake::ValueRule::{Decimal, Integer};
        let columns = kind.template().columns;
        RowsTable {
            caption: caption.into(),
            columns: columns
                .iter()
                .map(|column| ColumnView {
                    name: column.name,
                    unit: column.unit,
                    numeric: matches!(column.value, Decimal { .. } | Integer { .. }),
                })
                .collect(),
            lines: rows
                .iter()
                .map(|row| LineView {
                    line: row.line,
                    href: links::row(row.batch, row.line),
                    corrected: row.corrected.as_ref().map(|each| each.kind.code()),
                    cells: columns
                        .iter()
                        .map(|column| cell(row, column.name).to_owned())
                        .collect(),
                })
                .collect(),
        }
    }
}

/// The text of a cell; empty where the cell is.
pub(super) fn cell<'a>(row: &'a RowView, column: &str) -> &'a str {
    row.cells
        .get(column)
        .and_then(Value::as_str)
        .unwrap_or_default()
}

/// The title of a kind of batch.
pub(super) fn kind_title(code: &str) -> String {
    code.parse::<BatchKind>().map_or_else(
        |_| words::capital(&words::spaced(code)),
        |kind| kind.template().title.to_owned(),
    )
}
