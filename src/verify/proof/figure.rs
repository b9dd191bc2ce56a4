//! The figure of a proof: that its statement is in the trail, and that all it was made of
//! is there too, down to the hashes of the rows.

use super::{Known, ProofReport, ProvedBatch, ProvedFigure, hash};
use crate::accounting::records::corrections::RowSupersededRecord;
use crate::accounting::records::{BatchRecord, FactorsRecord, kind};
use crate::accounting::statement::Statement;
use crate::accounting::trace::{Source, Trace};
use crate::trail::merkle::{Hash, root_of};
use std::collections::{BTreeMap, BTreeSet};

/// The node and everything that it was made of, in the order of the trace.
///
/// # Errors
/// A node that is named is not there.
pub fn ancestors(trace: &Trace, node: &str) -> Result<Vec<String>, String> {
    let mut wanted: BTreeSet<&str> = BTreeSet::from([node]);
    // Inputs stand before what is made of them, so one pass from the end finds them all.
    let mut found = Vec::new();
    for each in trace.nodes.iter().rev() {
        if wanted.remove(each.id.as_str()) {
            wanted.extend(each.inputs.iter().map(String::as_str));
            found.push(each.id.clone());
        }
    }
    match wanted.first() {
        Some(missing) => Err(format!("the trace has no node {missing} in its place")),
        None => {
            found.reverse();
            Ok(found)
        }
    }
}

/// The batch that an entry's content accepts: a batch of its own, or the one row that
/// stands in place of another.
pub(super) fn batch_in(content: &str) -> Option<BatchRecord> {
    serde_json::from_str::<BatchRecord>(content)
        .ok()
        .or_else(|| {
            let record: RowSupersededRecord = serde_json::from_str(content).ok()?;
            Some(record.replacement)
        })
}

pub(super) fn check(
    proved: &ProvedFigure,
    entries: &BTreeMap<u64, Known<'_>>,
    report: &mut ProofReport,
) {
    let place = format!("figure {}", proved.figure);
    let statement = match statement(proved, entries) {
        Ok(statement) => statement,
        Err(problem) => return report.fault(place, problem),
    };
    let Some(figure) = statement.figure(&proved.figure) else {
        return report.fault(place, "the statement has no such figure");
    };
    match ancestors(&statement.trace, &figure.node) {
        Ok(nodes) if nodes == proved.nodes => {}
        Ok(_) => report.fault(&place, "its nodes are not those of the statement's trace"),
        Err(problem) => report.fault(&place, problem),
    }
    let mut roles = BTreeSet::new();
    let mut factors = BTreeSet::new();
    let named: BTreeSet<&str> = proved.nodes.iter().map(String::as_str).collect();
    for node in &statement.trace.nodes {
        match &node.source {
            _ if !named.contains(node.id.as_str()) => {}
            Source::Factor { id } => {
                factors.insert(id.to_string());
            }
            Source::Evidence { role, .. } => {
                roles.insert(*role);
            }
            Source::None => {}
        }
    }
    for id in &factors {
        if let Err(problem) = check_factor(id, proved, &statement, entries) {
            report.fault(format!("factor {id}"), problem);
        }
    }
    let mut rows = 0;
    let behind: BTreeSet<_> = statement
        .evidence
        .iter()
        .filter(|set| roles.contains(&set.role))
        .flat_map(|set| &set.batches)
        .map(|batch| batch.id)
        .collect();
    for id in &behind {
        let told = proved.batches.iter().find(|batch| batch.id == *id);
        match told
            .ok_or_else(|| "its rows are not told".to_owned())
            .and_then(|batch| check_batch(batch, statement.position, entries))
        {
            Ok(count) => rows += count,
            Err(problem) => report.fault(format!("batch {id}"), problem),
        }
    }
    if report.faults.is_empty() {
        report.done.push(format!(
            "{}: {} {} ({} to {}), as the statement of {} in entry {} records it",
            figure.label,
            figure.value,
            figure.unit,
            figure.lower,
            figure.upper,
            statement.period.code,
            proved.sequence
        ));
        report.done.push(format!(
            "it was made of {} nodes, {} factors and {} batches of {rows} rows, all in the trail before it",
            proved.nodes.len(),
            factors.len(),
            behind.len()
        ));
        report.remarks.push(
            "figures are computed again from the rows by `emberbook verify` on the exported bag"
                .into(),
        );
    }
}

fn statement(
    proved: &ProvedFigure,
    entries: &BTreeMap<u64, Known<'_>>,
) -> Result<Statement, String> {
    let entry = entries
        .get(&proved.sequence)
        .ok_or_else(|| format!("entry {} of its statement is not proved", proved.sequence))?;
    let made = entry.event.as_ref().map(|event| event.kind.as_str());
    if made != Some(kind::STATEMENT_MADE) {
        return Err(format!("entry {} makes no statement", proved.sequence));
    }
    let content = entry
        .content
        .ok_or("the statement itself is not shown".to_owned())?;
    serde_json::from_str(content).map_err(|e| format!("the statement cannot be read: {e}"))
}

/// The factor version was in the trail before the statement.
fn check_factor(
    id: &str,
    proved: &ProvedFigure,
    statement: &Statement,
    entries: &BTreeMap<u64, Known<'_>>,
) -> Result<(), String> {
    let sequence = proved
        .factors
        .get(id)
        .ok_or("the entry that brought it is not named")?;
    before(*sequence, statement.position)?;
    let entry = entries
        .get(sequence)
        .ok_or_else(|| format!("entry {sequence} is not proved"))?;
    let content = entry
        .content
        .ok_or_else(|| format!("the content of entry {sequence} is not shown"))?;
    let record: FactorsRecord = serde_json::from_str(content)
        .map_err(|e| format!("entry {sequence} adds no factors: {e}"))?;
    if record.factors.iter().any(|f| f.id().to_string() == id) {
        Ok(())
    } else {
        Err(format!("entry {sequence} does not add it"))
    }
}

/// The row hashes make the root that the batch's entry records; returns how many there are.
fn check_batch(
    told: &ProvedBatch,
    position: u64,
    entries: &BTreeMap<u64, Known<'_>>,
) -> Result<usize, String> {
    before(told.sequence, position)?;
    let record = entries
        .get(&told.sequence)
        .and_then(|entry| entry.content)
        .and_then(batch_in)
        .filter(|record| record.id == told.id)
        .ok_or_else(|| format!("entry {} does not accept it", told.sequence))?;
    let hashes: Vec<Hash> = told
        .row_hashes
        .iter()
        .map(|text| hash(text))
        .collect::<Result<_, _>>()?;
    if hashes.len() as u64 != record.rows || root_of(&hashes).to_string() != record.root {
        return Err("its row hashes do not make the root that its entry records".into());
    }
    Ok(hashes.len())
}

fn before(sequence: u64, position: u64) -> Result<(), String> {
    if sequence < position {
        Ok(())
    } else {
        Err(format!(
            "entry {sequence} came after the position {position} at which the statement was read"
        ))
    }
}
