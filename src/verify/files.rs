//! The uploaded files of a bag, read again: each gives exactly the rows that its batch has. And
//! the files that findings name, and that nothing else is in the bag.

use super::layout;
use super::record::{History, SavedMapping};
use super::report::{Fault, Level, Report};
use super::row_hash::RowHasher;
use crate::accounting::records::BatchRecord;
use crate::intake::xform::{SUBMISSION_BYTES_MAX, read_submission};
use crate::intake::{BatchKind, Naming, Rejection, read_rows, row_from_texts};
use crate::trail::bag::Bag;
use crate::trail::merkle::{Frontier, Hash};
use std::collections::{BTreeMap, BTreeSet};
use std::fs::File;
use std::io::{BufReader, Read, Seek};

/// Bytes read at a time.
const BUFFER_BYTES: usize = 256 * 1024;

pub(super) fn check(bag: &Bag, history: &History, report: &mut Report) {
    let listed = bag.payload_hashes();
    let (mut files, mut rows) = (BTreeSet::new(), 0);
    let mut without = 0_u64;
    for (sequence, batch) in history.batches.values() {
        if !batch.file_kept {
            without += 1;
            continue;
        }
        let file = layout::uploaded_file(&batch.file_sha256);
        let checked = must_be(&listed, &file, &batch.file_sha256)
            .and_then(|()| read_again(bag, &file, batch, *sequence, &history.mappings));
        match checked {
            Ok(()) => rows += batch.rows,
            Err(problem) => {
                let problem = format!("batch {}: {problem}", batch.id);
                report.fault(Level::Files, Fault::of_payload(&file, problem));
            }
        }
        files.insert(file);
    }
    let attachments = check_attachments(&listed, history, report);
    check_strangers(&listed, history, &files, &attachments, report);
    let mut done = format!(
        "{} uploaded files read again give the {rows} rows of their batches",
        files.len()
    );
    if without > 0 {
        done += &format!("; {without} batches came in no kept file");
    }
    if !attachments.is_empty() {
        done += &format!(
            "; {} attachments are what their hashes say",
            attachments.len()
        );
    }
    report.done(Level::Files, done);
}

/// The bag lists a file with the hash that it is named by.
fn must_be(listed: &BTreeMap<&str, Hash>, file: &str, sha256: &str) -> Result<(), String> {
    match listed.get(file) {
        None => Err("its file is not in the bag".into()),
        Some(hash) if hash.to_string() == sha256 => Ok(()),
        Some(_) => Err("its file is not the one that was uploaded: the hash differs".into()),
    }
}

/// Reads a file by the rules of its template, under each naming that may have held when it came.
fn read_again(
    bag: &Bag,
    file: &str,
    batch: &BatchRecord,
    sequence: u64,
    mappings: &[SavedMapping],
) -> Result<(), String> {
    let kind: BatchKind = batch.kind.parse().map_err(|e| format!("{e}"))?;
    let mut opened = open(bag, file)?;
    if is_markup(&mut opened)? {
        return read_form(opened, kind, batch);
    }
    let plain = Naming::default();
    let mut outcome = read_table(open(bag, file)?, kind, plain, batch);
    let own = mappings
        .iter()
        .rev()
        .filter(|saved| saved.sequence < sequence && saved.record.kind == batch.kind);
    for saved in own {
        if outcome.is_ok() {
            break;
        }
        let naming = Naming {
            mapping: Some(&saved.record.columns),
            always: true,
        };
        if read_table(open(bag, file)?, kind, naming, batch).is_ok() {
            outcome = Ok(());
        }
    }
    outcome
}

fn open(bag: &Bag, file: &str) -> Result<BufReader<File>, String> {
    let opened = bag.payload(file).map_err(|e| e.to_string())?;
    Ok(BufReader::with_capacity(BUFFER_BYTES, opened.into_inner()))
}

/// Whether it is a filled-in form, and not a table: no header of one begins so.
fn is_markup(file: &mut BufReader<File>) -> Result<bool, String> {
    let mut start = Vec::new();
    let read = file.by_ref().take(64).read_to_end(&mut start);
    read.and_then(|_| file.rewind())
        .map_err(|e| e.to_string())?;
    let start = start.strip_prefix(b"\xef\xbb\xbf").unwrap_or(&start);
    Ok(start.trim_ascii_start().first() == Some(&b'<'))
}

fn read_form(file: BufReader<File>, kind: BatchKind, batch: &BatchRecord) -> Result<(), String> {
    let mut xml = Vec::new();
    let most = SUBMISSION_BYTES_MAX as u64 + 1;
    file.take(most)
        .read_to_end(&mut xml)
        .map_err(|e| e.to_string())?;
    let submission = read_submission(&xml).map_err(|list| sentence(&list))?;
    if submission.form.kind != kind || submission.form.round != batch.round {
        return Err(format!("it is a form of {}", submission.form));
    }
    let texts = submission.texts.iter().map(String::as_str);
    let row = row_from_texts(kind.template(), 2, texts).map_err(|list| sentence(&list))?;
    let mut tree = Frontier::new();
    tree.push(RowHasher::new(kind)?.hash(&row));
    compare(&tree, batch)
}

fn read_table(
    file: BufReader<File>,
    kind: BatchKind,
    naming: Naming<'_>,
    batch: &BatchRecord,
) -> Result<(), String> {
    let mut hasher = RowHasher::new(kind)?;
    let mut tree = Frontier::new();
    let mut refused = None;
    read_rows(kind.template(), &naming, file, &mut |read| match read {
        Ok(row) => {
            tree.push(hasher.hash(&row));
            tree.size() <= batch.rows
        }
        Err(rejections) => {
            refused = Some(sentence(&rejections));
            false
        }
    });
    match refused {
        Some(problem) => Err(format!("reading it again: {problem}")),
        None => compare(&tree, batch),
    }
}

fn compare(tree: &Frontier, batch: &BatchRecord) -> Result<(), String> {
    if tree.size() == batch.rows && tree.root().to_string() == batch.root {
        return Ok(());
    }
    Err("read again, it does not give the rows that the trail holds".into())
}

fn sentence(rejections: &[Rejection]) -> String {
    rejections
        .first()
        .map(|one| one.detail.clone())
        .unwrap_or_default()
}

/// The attachments that are in the bag; one that is named by its hash alone need not be.
fn check_attachments(
    listed: &BTreeMap<&str, Hash>,
    history: &History,
    report: &mut Report,
) -> BTreeSet<String> {
    let mut here = BTreeSet::new();
    let lines = history.findings.findings().iter().flat_map(|f| &f.dialogue);
    for attachment in lines.flat_map(|line| &line.attachments) {
        let file = layout::attachment(&attachment.sha256);
        if !listed.contains_key(file.as_str()) {
            continue;
        }
        if let Err(problem) = must_be(listed, &file, &attachment.sha256) {
            report.fault(Level::Files, Fault::of_payload(&file, problem));
        }
        here.insert(file);
    }
    here
}

/// A bag holds what the trail knows of, and nothing else.
fn check_strangers(
    listed: &BTreeMap<&str, Hash>,
    history: &History,
    files: &BTreeSet<String>,
    attachments: &BTreeSet<String>,
    report: &mut Report,
) {
    let of_statements: BTreeSet<String> = history
        .statements
        .iter()
        .flat_map(|stated| {
            let id = &stated.subject;
            [layout::statement_file(id), layout::provenance_file(id)]
        })
        .collect();
    for file in listed.keys() {
        let known = layout::is_fixed(file)
            || files.contains(*file)
            || attachments.contains(*file)
            || of_statements.contains(*file);
        if !known {
            let problem = "the trail knows of no such file";
            report.fault(Level::Files, Fault::of_payload(file, problem));
        }
    }
}
