//! The table of findings: written by the export, made anew from the trail and compared.

use super::layout;
use super::report::{Fault, Level, Report};
use crate::accounting::records::findings::{Finding, FindingBook};
use crate::trail::bag::Bag;
use crate::trail::canonical::{CanonicalError, canonical_of};
use serde_json::Value;
use std::collections::{BTreeMap, BTreeSet};
use std::io::Read;

/// Bytes that the table may have.
const FILE_BYTES_MAX: u64 = 256 * 1024 * 1024;

/// The bytes of the table: a JSON array, each finding in canonical form on a line of its own.
///
/// # Errors
/// A number too large for canonical JSON.
pub fn table(book: &FindingBook) -> Result<Vec<u8>, CanonicalError> {
    let mut text = b"[\n".to_vec();
    let count = book.findings().len();
    for (index, finding) in book.findings().iter().enumerate() {
        text.extend(canonical_of(finding)?);
        text.extend_from_slice(if index + 1 < count { b",\n" } else { b"\n" });
    }
    text.extend_from_slice(b"]\n");
    Ok(text)
}

/// Compares the table with what the trail tells, finding by finding.
pub(super) fn check(bag: &Bag, book: &FindingBook, report: &mut Report) {
    let mut fault = |problem: String| {
        report.fault(
            Level::Evidence,
            Fault::of_payload(layout::FINDINGS, problem),
        );
    };
    let mut found = Vec::new();
    let read = bag.payload(layout::FINDINGS).map_err(|e| e.to_string());
    let read = read.and_then(|file| {
        let mut file = file.take(FILE_BYTES_MAX);
        file.read_to_end(&mut found).map_err(|e| e.to_string())
    });
    if let Err(problem) = read {
        return fault(problem);
    }
    match table(book) {
        Ok(expected) if expected == found => return,
        Ok(_) => {}
        Err(error) => return fault(error.to_string()),
    }
    let Ok(listed) = serde_json::from_slice::<Vec<Value>>(&found) else {
        return fault("it is not a JSON array of findings".into());
    };
    let problems = differences(&listed, book.findings());
    if problems.is_empty() {
        fault("it is not written as the trail's findings are: order or form differ".into());
    }
    for problem in problems {
        fault(problem);
    }
}

/// A sentence for each finding that is missing, changed or unknown to the trail.
fn differences(listed: &[Value], told: &[Finding]) -> Vec<String> {
    let mut problems = Vec::new();
    let mut by_id: BTreeMap<&str, &Value> = BTreeMap::new();
    for value in listed {
        let id = value["id"].as_str().unwrap_or_default();
        if by_id.insert(id, value).is_some() {
            problems.push(format!("{id} stands here twice"));
        }
    }
    for finding in told {
        match by_id.get(finding.id.as_str()) {
            None => problems.push(format!("{} is in the trail and not here", finding.id)),
            Some(value) if serde_json::to_value(finding).ok().as_ref() != Some(*value) => {
                problems.push(format!("{} differs from what the trail holds", finding.id));
            }
            Some(_) => {}
        }
    }
    let known: BTreeSet<&str> = told.iter().map(|finding| finding.id.as_str()).collect();
    for id in by_id.keys().filter(|id| !known.contains(*id)) {
        problems.push(format!("{id:?} is here and not in the trail"));
    }
    problems
}
