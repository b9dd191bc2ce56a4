//! Rows as they must be beside rows as they are.

use super::expected::{Cell, Due};
use super::report::{AuditLevel, AuditReport};
use crate::store::audit::AuditedTable;
use chrono::{DateTime, TimeDelta, Utc};
use serde_json::{Map, Value};

/// How far a noted time may be from that of its entry: both are read in one transaction, and
/// that may wait for its turn.
const NEAR: TimeDelta = TimeDelta::hours(1);

/// Longest value that a fault shows.
const SHOWN: usize = 120;

/// Compares rows of one table, column by column; every column must be accounted for.
pub(super) fn compare(
    report: &mut AuditReport,
    level: AuditLevel,
    table: &AuditedTable,
    due: Vec<Due>,
    mut found: Vec<Map<String, Value>>,
) {
    for row in due {
        let wanted = key_of_due(table, &row);
        let Some(place) = found.iter().position(|row| key_of(table, row) == wanted) else {
            report.fault(
                level,
                table.name,
                wanted,
                "the trail has it, the table has not",
            );
            continue;
        };
        let found = found.swap_remove(place);
        for (column, value) in &found {
            let cell = row.cells.iter().find(|(name, _)| name == column);
            if let Some(problem) = difference(column, value, cell.map(|(_, cell)| cell)) {
                report.fault(level, table.name, &wanted, problem);
            }
        }
        for (column, _) in &row.cells {
            if !found.contains_key(*column) {
                report.fault(level, table.name, &wanted, format!("{column} is gone"));
            }
        }
    }
    for row in found {
        let key = key_of(table, &row);
        report.fault(level, table.name, key, "no entry of the trail tells of it");
    }
}

fn difference(column: &str, found: &Value, due: Option<&Cell>) -> Option<String> {
    match due {
        None => Some(format!("this audit knows no column {column}")),
        Some(Cell::Open) => None,
        Some(Cell::Is(due)) if due == found => None,
        Some(Cell::Is(due)) => Some(format!(
            "{column} is {}, the trail says {}",
            shown(found),
            shown(due)
        )),
        Some(Cell::At(due)) => apart(column, found, *due, TimeDelta::zero()),
        Some(Cell::Near(due)) => apart(column, found, *due, NEAR),
    }
}

fn apart(column: &str, found: &Value, due: DateTime<Utc>, allowed: TimeDelta) -> Option<String> {
    let time: Option<DateTime<Utc>> = found.as_str().and_then(|text| text.parse().ok());
    let distance = time.map(|time| (time.timestamp_millis() - due.timestamp_millis()).abs());
    if distance.is_some_and(|millis| millis <= allowed.num_milliseconds()) {
        return None;
    }
    Some(format!(
        "{column} is {}, the trail says {due}",
        shown(found)
    ))
}

/// The key of a row as a person reads it.
pub(super) fn key_of(table: &AuditedTable, row: &Map<String, Value>) -> String {
    let part = |column: &&str| row.get(*column).map_or_else(String::new, plain);
    table.key.iter().map(part).collect::<Vec<_>>().join("/")
}

fn key_of_due(table: &AuditedTable, row: &Due) -> String {
    let part = |column: &&str| {
        let cell = row.cells.iter().find(|(name, _)| name == column);
        match cell {
            Some((_, Cell::Is(value))) => plain(value),
            _ => String::new(),
        }
    };
    table.key.iter().map(part).collect::<Vec<_>>().join("/")
}

fn plain(value: &Value) -> String {
    match value {
        Value::String(text) => text.clone(),
        other => other.to_string(),
    }
}

fn shown(value: &Value) -> String {
    let text = value.to_string();
    match text.char_indices().nth(SHOWN) {
        None => text,
        Some((end, _)) => format!("{}… ({} bytes)", &text[..end], text.len()),
    }
}
