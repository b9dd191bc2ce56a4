//! The files that batches came in: the parts of each hash to what the trail names, none is
//! missing, and none is here that no batch came in.

use super::expected::Known;
use super::report::{AuditLevel, AuditReport};
use crate::service::ServiceError;
use crate::store;
use crate::store::audit::FilePart;
use sha2::{Digest, Sha256};
use sqlx::PgConnection;
use std::collections::{BTreeMap, BTreeSet};
use uuid::Uuid;

const LEVEL: AuditLevel = AuditLevel::Evidence;
const FILE: &str = "uploaded_file";
const PART: &str = "uploaded_file_part";

/// Parts of one file as they pass by.
struct Passing {
    sha256: Vec<u8>,
    hash: Sha256,
    bytes: u64,
    next: i64,
}

struct Reading<'a> {
    /// The files that are entered, with the size that they say.
    entered: &'a BTreeMap<Vec<u8>, i64>,
    report: &'a mut AuditReport,
    current: Option<Passing>,
    seen: BTreeSet<Vec<u8>>,
}

/// Returns how many files were hashed.
pub(super) async fn check(
    connection: &mut PgConnection,
    programme: Uuid,
    known: &Known,
    report: &mut AuditReport,
) -> Result<u64, ServiceError> {
    for (table, column) in store::audit::unknown_file_columns(connection).await? {
        let problem = format!("this audit knows no column {column}");
        report.fault(LEVEL, &table, "", problem);
    }
    let files = store::audit::kept_files(connection, programme).await?;
    let mut entered = BTreeMap::new();
    for (sha256, size) in files {
        let key = hex::encode(&sha256);
        if entered.insert(sha256, size).is_some() {
            report.fault(LEVEL, FILE, key, "it is there twice");
        }
    }
    let mut reading = Reading {
        entered: &entered,
        report,
        current: None,
        seen: BTreeSet::new(),
    };
    store::audit::each_part(connection, programme, |part| reading.take(part)).await?;
    reading.end_file();
    let seen = reading.seen;
    let batches = known.batches.values();
    let due: BTreeSet<&str> = batches
        .filter_map(|batch| batch.kept_file.as_deref())
        .collect();
    let here: BTreeSet<String> = entered.keys().map(hex::encode).collect();
    for file in due.iter().filter(|file| !here.contains(**file)) {
        let problem = "a batch came in this file, and it is missing";
        report.fault(LEVEL, FILE, *file, problem);
    }
    for file in here.iter().filter(|file| !due.contains(file.as_str())) {
        report.fault(LEVEL, FILE, file, "no batch came in this file");
    }
    for file in entered.keys().filter(|file| !seen.contains(*file)) {
        let problem = "not a part of this file is here";
        report.fault(LEVEL, PART, hex::encode(file), problem);
    }
    Ok(seen.len() as u64)
}

impl Reading<'_> {
    fn take(&mut self, part: FilePart) {
        let same = |passing: &Passing| passing.sha256 == part.sha256;
        if !self.current.as_ref().is_some_and(same) {
            self.end_file();
        }
        let key = format!("{}/{}", hex::encode(&part.sha256), part.place);
        if !self.entered.contains_key(&part.sha256) {
            let problem = "it is a part of no file that is kept";
            self.report.fault(LEVEL, PART, &key, problem);
        }
        let passing = self.current.get_or_insert_with(|| Passing {
            sha256: part.sha256,
            hash: Sha256::new(),
            bytes: 0,
            next: 0,
        });
        let place = i64::from(part.place);
        if place != passing.next {
            let problem = format!("it stands where part {} is due", passing.next);
            self.report.fault(LEVEL, PART, &key, problem);
        }
        passing.next = place.saturating_add(1);
        passing.bytes += part.content.len() as u64;
        passing.hash.update(&part.content);
    }

    fn end_file(&mut self) {
        let Some(passing) = self.current.take() else {
            return;
        };
        let key = hex::encode(&passing.sha256);
        let Some(size) = self.entered.get(&passing.sha256) else {
            return;
        };
        if passing.hash.finalize()[..] != passing.sha256 {
            let problem = "its parts do not hash to its key";
            self.report.fault(LEVEL, PART, &key, problem);
        }
        if u64::try_from(*size) != Ok(passing.bytes) {
            let problem = format!("size_bytes is {size}, its parts have {}", passing.bytes);
            self.report.fault(LEVEL, FILE, &key, problem);
        }
        self.seen.insert(passing.sha256);
    }
}
