//! What the export tells of the trail: its entries and contents, and all that is put together
//! from them. The entries are read in pages, so that memory does not grow with their contents.

use super::{disk, pretty, put, unwritten, write_line};
use crate::accounting::records::findings::{Act, FindingBook, Told};
use crate::accounting::records::kind;
use crate::accounting::statement::Statement;
use crate::accounting::trace::prov_json;
use crate::service::{Caller, ServiceError};
use crate::store;
use crate::store::trail::EntryRow;
use crate::trail::bag::BagWriter;
use crate::trail::canonical::canonical_of;
use crate::verify::tables::{Table, Tables};
use crate::verify::{findings, layout};
use chrono::SecondsFormat;
use serde_json::Value;
use sqlx::PgConnection;
use std::collections::BTreeSet;

/// Trail entries read at a time; the content of a statement may have megabytes.
const ENTRIES_AT_ONCE: u32 = 16;

/// What is put together while the entries pass by.
#[derive(Default)]
struct Book {
    tables: Tables,
    factors: Vec<Value>,
    methodologies: Vec<Value>,
    findings: FindingBook,
    statements: Vec<u64>,
    last_day: String,
}

/// Writes log, library, findings and statements; returns the day of the last entry.
pub(super) async fn write(
    connection: &mut PgConnection,
    caller: &Caller,
    position: u64,
    bag: &mut BagWriter,
) -> Result<String, ServiceError> {
    let mut file = bag.payload(layout::ENTRIES).map_err(disk)?;
    each(connection, caller, position, |entry| {
        write_line(&mut file, &entry.leaf)
    })
    .await?;
    file.finish().map_err(disk)?;
    let mut book = Book::default();
    let mut file = bag.payload(layout::CONTENTS).map_err(disk)?;
    each(connection, caller, position, |entry| {
        write_line(&mut file, &entry.content)?;
        book.take(&entry)
    })
    .await?;
    file.finish().map_err(disk)?;
    for sequence in &book.statements {
        let entries = store::trail::entries(connection, caller.programme_id, *sequence, 1).await?;
        let entry = entries.first().ok_or_else(too_short)?;
        write_statement(entry, bag)?;
    }
    book.write(connection, caller, bag).await?;
    Ok(book.last_day)
}

/// Hands the entries below `position` to `take`, page by page.
async fn each(
    connection: &mut PgConnection,
    caller: &Caller,
    position: u64,
    mut take: impl FnMut(EntryRow) -> Result<(), ServiceError>,
) -> Result<(), ServiceError> {
    let mut from = 0;
    while from < position {
        let page =
            store::trail::entries(connection, caller.programme_id, from, ENTRIES_AT_ONCE).await?;
        if page.is_empty() {
            return Err(too_short());
        }
        from += page.len() as u64;
        page.into_iter().try_for_each(&mut take)?;
    }
    Ok(())
}

fn too_short() -> ServiceError {
    ServiceError::Internal("the trail is shorter than its size".into())
}

impl Book {
    fn take(&mut self, entry: &EntryRow) -> Result<(), ServiceError> {
        let damaged =
            |e: String| ServiceError::Internal(format!("trail entry {}: {e}", entry.sequence));
        let content = || -> Result<Value, ServiceError> {
            serde_json::from_slice(&entry.content).map_err(|e| damaged(e.to_string()))
        };
        self.last_day = entry.at.format("%Y-%m-%d").to_string();
        self.tables
            .take(entry.sequence, &entry.kind, &entry.content)
            .map_err(damaged)?;
        match entry.kind.as_str() {
            kind::FACTORS_ADDED => {
                if let Value::Array(added) = content()?["factors"].take() {
                    self.factors.extend(added);
                }
            }
            kind::METHODOLOGY_ADDED => self.methodologies.push(content()?),
            kind::STATEMENT_MADE => self.statements.push(entry.sequence),
            _ => {}
        }
        let Some(act) = Act::from_entry_kind(&entry.kind) else {
            return Ok(());
        };
        let time = entry.at.to_rfc3339_opts(SecondsFormat::Millis, true);
        let told = Told {
            sequence: entry.sequence,
            subject: &entry.subject,
            actor: &entry.actor,
            time: &time,
        };
        self.findings
            .take(act, told, &entry.content)
            .map_err(damaged)
    }

    /// Writes what was put together, and the files that findings name.
    async fn write(
        &self,
        connection: &mut PgConnection,
        caller: &Caller,
        bag: &mut BagWriter,
    ) -> Result<(), ServiceError> {
        for table in Table::ALL {
            let mut file = bag.payload(table.file()).map_err(disk)?;
            self.tables.write(table, &mut file).map_err(unwritten)?;
            file.finish().map_err(disk)?;
        }
        let list = |values: &[Value]| pretty(&Value::Array(values.to_vec()));
        put(bag, layout::FACTORS, &list(&self.factors)?)?;
        put(bag, layout::METHODOLOGIES, &list(&self.methodologies)?)?;
        let table =
            findings::table(&self.findings).map_err(|e| ServiceError::Internal(e.to_string()))?;
        put(bag, layout::FINDINGS, &table)?;
        let lines = self.findings.findings().iter().flat_map(|f| &f.dialogue);
        let named: BTreeSet<&str> = lines
            .flat_map(|line| &line.attachments)
            .map(|attachment| attachment.sha256.as_str())
            .collect();
        for sha256 in named {
            let hash = hex::decode(sha256)
                .map_err(|e| ServiceError::Internal(format!("attachment {sha256}: {e}")))?;
            let programme = caller.programme_id;
            if let Some(bytes) = store::findings::content(connection, programme, &hash).await? {
                put(bag, &layout::attachment(sha256), &bytes)?;
            }
        }
        Ok(())
    }
}

/// A statement as the trail has it, and its trace in the words of PROV.
fn write_statement(entry: &EntryRow, bag: &mut BagWriter) -> Result<(), ServiceError> {
    let id = &entry.subject;
    put(bag, &layout::statement_file(id), &entry.content)?;
    let damaged = |e: String| ServiceError::Internal(format!("statement {id}: {e}"));
    let statement: Statement =
        serde_json::from_slice(&entry.content).map_err(|e| damaged(e.to_string()))?;
    let document = canonical_of(&prov_json(&statement, id)).map_err(|e| damaged(e.to_string()))?;
    put(bag, &layout::provenance_file(id), &document)
}
