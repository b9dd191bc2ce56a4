//! The rows of the register and of the field as their tables have them: each made canonical
//! again from its columns and hashed, each batch's root worked out again.

use super::expected::{Known, TakenBatch};
use super::files;
use super::report::{AuditLevel, AuditReport};
use crate::intake::{BatchKind, row_from_texts};
use crate::service::ServiceError;
use crate::store;
use crate::store::audit::{Derived, EvidenceRow};
use crate::trail::canonical::canonical_json;
use crate::trail::merkle::{Frontier, leaf_hash};
use sqlx::PgConnection;
use std::collections::BTreeSet;
use uuid::Uuid;

const LEVEL: AuditLevel = AuditLevel::Evidence;

/// Missing rows that are named one by one where several are gone in a row.
const MISSING_NAMED: usize = 20;

/// Rows of one batch as they pass by.
struct Passing {
    id: Uuid,
    tree: Frontier,
    last_line: i64,
}

struct Reading<'a> {
    kind: BatchKind,
    table: &'static str,
    known: &'a Known,
    report: &'a mut AuditReport,
    current: Option<Passing>,
    seen: BTreeSet<Uuid>,
    rows: u64,
}

pub(super) async fn check(
    connection: &mut PgConnection,
    programme: Uuid,
    known: &Known,
    report: &mut AuditReport,
) -> Result<(), ServiceError> {
    let mut rows = 0;
    for kind in BatchKind::ALL {
        let table = store::audit::table_of(kind);
        for column in store::audit::unknown_columns(connection, kind).await? {
            let problem = format!("this audit knows no column {column}");
            report.fault(LEVEL, table, "", problem);
        }
        let mut reading = Reading {
            kind,
            table,
            known,
            report,
            current: None,
            seen: BTreeSet::new(),
            rows: 0,
        };
        store::audit::each_row(connection, programme, kind, |row| reading.take(&row)).await?;
        reading.finish();
        rows += reading.rows;
        let wrong = store::audit::wrong_generations(connection, programme, kind).await?;
        tell(report, table, wrong);
    }
    for (id, batch) in &known.batches {
        if batch.kind.parse::<BatchKind>().is_err() {
            let problem = format!("its kind {} is unknown to this program", batch.kind);
            report.fault(LEVEL, "batch", id.to_string(), problem);
        }
    }
    let wrong = store::audit::wrong_known_households(connection, programme).await?;
    tell(report, "known_household", wrong);
    let wrong = store::audit::wrong_spans(connection, programme).await?;
    tell(report, "deployment_span", wrong);
    let wrong = store::audit::wrong_attachments(connection, programme).await?;
    tell(report, "attachment_content", wrong);
    let wrong = store::audit::wrong_finding_batches(connection, programme).await?;
    tell(report, "finding", wrong);
    let files = files::check(connection, programme, known, report).await?;
    let batches = known.batches.len();
    report.done(
        LEVEL,
        format!(
            "{rows} rows in {batches} batches hash to the roots in the trail, {files} kept file(s) \
             to their hashes"
        ),
    );
    Ok(())
}

fn tell(report: &mut AuditReport, table: &str, wrong: Vec<Derived>) {
    for (key, problem) in wrong {
        report.fault(LEVEL, table, key, problem);
    }
}

impl Reading<'_> {
    fn take(&mut self, row: &EvidenceRow) {
        self.rows += 1;
        if self
            .current
            .as_ref()
            .is_none_or(|batch| batch.id != row.batch_id)
        {
            self.end_batch();
            self.seen.insert(row.batch_id);
            self.current = Some(Passing {
                id: row.batch_id,
                tree: Frontier::new(),
                last_line: 1,
            });
        }
        let key = format!("{}/{}", row.batch_id, row.line);
        for problem in self.problems(row) {
            self.report.fault(LEVEL, self.table, &key, problem);
        }
    }

    fn problems(&mut self, row: &EvidenceRow) -> Vec<String> {
        let mut problems = Vec::new();
        match self.known.batches.get(&row.batch_id) {
            None => problems.push("its batch is not in the trail".to_owned()),
            Some(batch) => problems.extend(misplaced(self.kind, row, batch)),
        }
        let Some(passing) = &mut self.current else {
            return problems;
        };
        let due = std::mem::replace(&mut passing.last_line, row.line).saturating_add(1);
        if row.line < due {
            problems.push(format!("it stands where line {due} is due"));
        }
        self.missing(row.batch_id, due, row.line);
        let Some(passing) = &mut self.current else {
            return problems;
        };
        let template = self.kind.template();
        let line = u64::try_from(row.line).unwrap_or_default();
        let texts = row.texts.iter().map(|text| text.as_deref().unwrap_or(""));
        let hash = match row_from_texts(template, line, texts) {
            Err(rejections) => {
                let sentences: Vec<_> = rejections.into_iter().map(|r| r.detail).collect();
                problems.push(format!("it breaks its template: {}", sentences.join("; ")));
                None
            }
            Ok(read) => match canonical_json(&read.to_json(template)) {
                Ok(bytes) => Some(leaf_hash(&bytes)),
                Err(error) => {
                    problems.push(error.to_string());
                    None
                }
            },
        };
        if let Some(hash) = hash {
            passing.tree.push(hash);
            if hash.0 != *row.row_hash {
                problems.push("its columns do not hash to row_hash: it was changed".to_owned());
            }
        }
        problems
    }

    /// Names the lines of a batch from `from` to before `until`, which should be there; the
    /// first of them.
    fn missing(&mut self, batch: Uuid, from: i64, until: i64) {
        for line in (from..until).take(MISSING_NAMED) {
            let key = format!("{batch}/{line}");
            self.report
                .fault(LEVEL, self.table, key, "this row is missing");
        }
    }

    fn end_batch(&mut self) {
        let Some(passing) = self.current.take() else {
            return;
        };
        let Some(batch) = self.known.batches.get(&passing.id) else {
            return;
        };
        let rows = i64::try_from(batch.rows).unwrap_or(i64::MAX);
        self.missing(
            passing.id,
            passing.last_line.saturating_add(1),
            rows.saturating_add(2),
        );
        let found = passing.tree.size();
        let problem = if found != batch.rows {
            format!(
                "{} rows were accepted, {found} are here as they were",
                batch.rows
            )
        } else if passing.tree.root().to_string() != batch.root {
            "its rows do not hash to the root in the trail".to_owned()
        } else {
            return;
        };
        self.report
            .fault(LEVEL, self.table, passing.id.to_string(), problem);
    }

    fn finish(&mut self) {
        self.end_batch();
        for (id, batch) in &self.known.batches {
            if batch.kind == self.kind.code() && batch.rows > 0 && !self.seen.contains(id) {
                let problem = format!("{} rows were accepted, none is here", batch.rows);
                self.report
                    .fault(LEVEL, self.table, id.to_string(), problem);
            }
        }
    }
}

/// What is wrong with the columns that tie a row to its batch.
fn misplaced(kind: BatchKind, row: &EvidenceRow, batch: &TakenBatch) -> Vec<String> {
    let mut problems = Vec::new();
    if batch.kind != kind.code() {
        problems.push(format!("its batch holds {}", batch.kind));
    }
    if u64::try_from(row.sequence) != Ok(batch.sequence) {
        problems.push(format!(
            "sequence is {}, its batch was accepted by entry {}",
            row.sequence, batch.sequence
        ));
    }
    if kind.needs_round() && row.round_code != batch.round {
        problems.push(format!(
            "round_code is {}, its batch is of round {}",
            row.round_code.as_deref().unwrap_or("empty"),
            batch.round.as_deref().unwrap_or("none")
        ));
    }
    problems
}
