//! A proof on its own: one record, or one figure of a statement down to the hashes of its
//! rows, with all that is needed to check it without the trail, the server or a network.

use super::{Fault, Options};
use crate::trail::cosignature::cosignatures;
use crate::trail::event::Event;
use crate::trail::key_change::KeyChain;
use crate::trail::merkle::{Hash, leaf_hash, sha256, verify_inclusion};
use crate::trail::note::VerifierKey;
use crate::trail::proof_file;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use std::fmt;
use utoipa::ToSchema;
use uuid::Uuid;

mod figure;

pub use figure::ancestors;

/// Names the layout of a proof's JSON.
pub const FORMAT: &str = "emberbook/proof/1";

/// A proof document.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Proof {
    pub format: String,
    /// What is proved, in words of the record's kind: `batch`, `row`, `figure` and so on.
    pub record: String,
    /// Which one, e.g. an id, a code, or `BATCH/LINE`.
    pub key: String,
    /// The key that the trail began with, a C2SP verifier key.
    pub first_key: String,
    /// The changes of that key since, as signed notes, the oldest first.
    pub key_changes: Vec<String>,
    /// The signed head that all paths lead to, with its cosignatures.
    pub checkpoint: String,
    /// Entries of the trail, in order.
    pub entries: Vec<ProvedEntry>,
    /// Where the record is a row: its path to the root of its batch.
    pub row: Option<ProvedRow>,
    /// Where the record is a figure: what it was made of.
    pub figure: Option<ProvedFigure>,
}

/// One entry and its path to the head.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ProvedEntry {
    pub sequence: u64,
    /// SHA-256 over a byte 00 and the leaf.
    pub leaf_hash: String,
    /// Canonical JSON of the entry; absent for whoever may not read the trail.
    pub leaf: Option<String>,
    /// Canonical JSON that the entry commits to, where it is needed and may be read.
    pub content: Option<String>,
    /// Sibling hashes from the leaf up, lower-case hex.
    pub path: Vec<String>,
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ProvedRow {
    pub batch: Uuid,
    pub line: u64,
    /// Canonical JSON of the row: what its leaf hash is over.
    pub row: String,
    /// Its place among the rows of the batch.
    pub index: u64,
    pub rows: u64,
    pub path: Vec<String>,
    /// Root over the rows, which the batch's entry records.
    pub root: String,
    /// The entry that accepted the batch.
    pub sequence: u64,
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ProvedFigure {
    /// The entry whose content is the statement.
    pub sequence: u64,
    pub figure: String,
    /// Its node and all nodes it was made of, in the order of the statement's trace.
    pub nodes: Vec<String>,
    /// Each factor version behind it, with the entry that brought it.
    pub factors: BTreeMap<String, u64>,
    /// The batches behind it, with the hash of every row.
    pub batches: Vec<ProvedBatch>,
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ProvedBatch {
    pub id: Uuid,
    /// The entry that accepted it.
    pub sequence: u64,
    /// RFC 9162 leaf hashes of its rows, in the order of the file.
    pub row_hashes: Vec<String>,
}

/// What came of checking a proof.
#[derive(Debug, Clone, Default, Serialize)]
pub struct ProofReport {
    /// What holds, in words.
    pub done: Vec<String>,
    pub faults: Vec<Fault>,
    pub remarks: Vec<String>,
}

impl ProofReport {
    pub fn is_sound(&self) -> bool {
        self.faults.is_empty() && !self.done.is_empty()
    }

    fn fault(&mut self, place: impl Into<String>, problem: impl Into<String>) {
        self.faults.push(Fault::new(place, problem));
    }
}

impl fmt::Display for ProofReport {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for done in &self.done {
            writeln!(f, "ok        {done}")?;
        }
        for fault in &self.faults {
            writeln!(f, "FAILED    {fault}")?;
        }
        for remark in &self.remarks {
            writeln!(f, "note      {remark}")?;
        }
        if self.is_sound() {
            write!(
                f,
                "verified: every hash, path and signature of this proof holds"
            )
        } else {
            write!(f, "NOT verified: see the faults above")
        }
    }
}

/// An entry whose leaf and content were checked.
struct Known<'a> {
    event: Option<Event>,
    content: Option<&'a str>,
}

/// Reads a proof document and checks all of it.
pub fn check(bytes: &[u8], options: &Options) -> ProofReport {
    let mut report = ProofReport::default();
    let proof: Proof = match serde_json::from_slice(bytes) {
        Ok(proof) => proof,
        Err(error) => {
            report.fault("the proof", format!("it cannot be read: {error}"));
            return report;
        }
    };
    if proof.format != FORMAT {
        report.fault("format", format!("it is not {FORMAT}"));
        return report;
    }
    let Some((size, root)) = head(&proof, options, &mut report) else {
        return report;
    };
    let entries = entries(&proof, size, &root, &mut report);
    if let Some(row) = &proof.row {
        check_row(row, &entries, &mut report);
    }
    if let Some(figure) = &proof.figure {
        figure::check(figure, &entries, &mut report);
    }
    report
}

/// Checks a C2SP `.tlog-proof`. Its leaf is `leaf`, or else the data that it brings along;
/// the key must be the reader's own, for such a file names none.
pub fn check_file(bytes: &[u8], leaf: Option<&[u8]>, options: &Options) -> ProofReport {
    let mut report = ProofReport::default();
    let place = "the proof file";
    let parsed = std::str::from_utf8(bytes)
        .map_err(|e| e.to_string())
        .and_then(|text| proof_file::parse(text).map_err(|e| e.to_string()));
    let file = match parsed {
        Ok(file) => file,
        Err(problem) => {
            report.fault(place, problem);
            return report;
        }
    };
    let Some(key) = &options.key else {
        report.fault(place, "it names no key: bring the log's key with --key");
        return report;
    };
    let Some(leaf) = leaf.or(file.extra.as_deref()) else {
        report.fault(place, "it does not bring the leaf: name it with --leaf");
        return report;
    };
    let chain = KeyChain::new(key.clone());
    let Some((size, root)) = signed_head(&file.checkpoint, &chain, options, &mut report) else {
        return report;
    };
    match verify_inclusion(&leaf_hash(leaf), file.index, size, &file.path, &root) {
        Ok(()) => report.done.push(match std::str::from_utf8(leaf) {
            Ok(text) => format!("entry {} proves into that head: {text}", file.index),
            Err(_) => format!("entry {} proves into that head", file.index),
        }),
        Err(error) => report.fault(place, error.to_string()),
    }
    report
}

/// Opens the checkpoint and says who signed and cosigned it.
fn head(proof: &Proof, options: &Options, report: &mut ProofReport) -> Option<(u64, Hash)> {
    let place = "checkpoint";
    let first: VerifierKey = match proof.first_key.parse() {
        Ok(key) => key,
        Err(error) => {
            report.fault("first_key", format!("{error}"));
            return None;
        }
    };
    let mut chain = KeyChain::new(first);
    for (number, note) in proof.key_changes.iter().enumerate() {
        if let Err(error) = chain.follow(note) {
            report.fault(format!("key_changes, {}", number + 1), error.to_string());
            return None;
        }
    }
    match &options.key {
        Some(pinned) if !chain.keys().any(|key| key == pinned) => {
            let problem = format!("no key of this proof is the one you brought, {pinned}");
            report.fault(place, problem);
            return None;
        }
        Some(_) => {}
        None => report.remarks.push(format!(
            "the key was taken from the proof itself; compare it with a copy you trust: {}",
            chain.current()
        )),
    }
    signed_head(&proof.checkpoint, &chain, options, report)
}

/// Opens a checkpoint under a chain of keys.
fn signed_head(
    note: &str,
    chain: &KeyChain,
    options: &Options,
    report: &mut ProofReport,
) -> Option<(u64, Hash)> {
    let place = "checkpoint";
    let (checkpoint, key) = match chain.open(note) {
        Ok(opened) => opened,
        Err(error) => {
            report.fault(place, error.to_string());
            return None;
        }
    };
    report.done.push(format!(
        "the head over {} entries is signed by {key}",
        checkpoint.size
    ));
    match cosignatures(note, &options.witnesses) {
        Ok(found) => {
            for missing in options
                .witnesses
                .iter()
                .filter(|key| !found.iter().any(|each| each.witness == **key))
            {
                report.fault(place, format!("it is not cosigned by {}", missing.name()));
            }
            for cosignature in found {
                report.done.push(format!(
                    "the head is cosigned by {}, at {} seconds since 1970",
                    cosignature.witness.name(),
                    cosignature.time
                ));
            }
        }
        Err(error) => report.fault(place, error.to_string()),
    }
    Some((checkpoint.size, checkpoint.root))
}

/// Checks every entry up to the head.
fn entries<'a>(
    proof: &'a Proof,
    size: u64,
    root: &Hash,
    report: &mut ProofReport,
) -> BTreeMap<u64, Known<'a>> {
    let mut known = BTreeMap::new();
    for entry in &proof.entries {
        match known_entry(entry, size, root) {
            Ok(fine) => {
                known.insert(entry.sequence, fine);
            }
            Err(problem) => report.fault(format!("entry {}", entry.sequence), problem),
        }
    }
    if proof.entries.is_empty() {
        report.fault("entries", "nothing of the trail is proved");
    } else if known.len() == proof.entries.len() {
        report.done.push(match known.len() {
            1 => "one entry proves into that head".to_owned(),
            several => format!("{several} entries prove into that head"),
        });
    }
    known
}

fn known_entry<'a>(entry: &'a ProvedEntry, size: u64, root: &Hash) -> Result<Known<'a>, String> {
    let leaf = hash(&entry.leaf_hash)?;
    verify_inclusion(&leaf, entry.sequence, size, &hashes(&entry.path)?, root)
        .map_err(|e| e.to_string())?;
    let Some(text) = &entry.leaf else {
        return match &entry.content {
            None => Ok(Known {
                event: None,
                content: None,
            }),
            Some(_) => Err("it has a content, but not the leaf that commits to it".into()),
        };
    };
    if leaf_hash(text.as_bytes()) != leaf {
        return Err("its leaf does not have the hash that stands beside it".into());
    }
    let event = Event::parse(text.as_bytes()).map_err(|e| e.to_string())?;
    if event.sequence != entry.sequence {
        return Err(format!("its leaf says that it is entry {}", event.sequence));
    }
    if let Some(content) = &entry.content
        && sha256(content.as_bytes()) != event.content
    {
        return Err("its content does not have the hash that the leaf names".into());
    }
    Ok(Known {
        event: Some(event),
        content: entry.content.as_deref(),
    })
}

/// A row proves into its batch, whose entry names the root.
fn check_row(row: &ProvedRow, entries: &BTreeMap<u64, Known<'_>>, report: &mut ProofReport) {
    let place = format!("row {}/{}", row.batch, row.line);
    let proved = |shown: bool| -> Result<(), String> {
        let root = hash(&row.root)?;
        let leaf = leaf_hash(row.row.as_bytes());
        verify_inclusion(&leaf, row.index, row.rows, &hashes(&row.path)?, &root)
            .map_err(|e| e.to_string())?;
        let entry = entries
            .get(&row.sequence)
            .ok_or_else(|| format!("entry {} of its batch is not proved", row.sequence))?;
        if !shown {
            return Ok(());
        }
        match entry.content.and_then(figure::batch_in) {
            Some(batch) if batch.id != row.batch => {
                Err(format!("entry {} is of another batch", row.sequence))
            }
            Some(batch) if (batch.root.as_str(), batch.rows) != (&row.root, row.rows) => {
                Err("its batch's entry names another root".into())
            }
            Some(_) => Ok(()),
            None => Err(format!(
                "the content of entry {} is not shown, so that its root cannot be compared",
                row.sequence
            )),
        }
    };
    let shown = entries
        .get(&row.sequence)
        .is_some_and(|entry| entry.event.is_some());
    if !shown && entries.contains_key(&row.sequence) {
        report.remarks.push(format!(
            "the batch's entry {} is shown as a hash only: that it names the root {} is told by whoever may read the trail",
            row.sequence, row.root
        ));
    }
    match proved(shown) {
        Ok(()) => report.done.push(format!(
            "the row on line {} proves into batch {}",
            row.line, row.batch
        )),
        Err(problem) => report.fault(place, problem),
    }
}

fn hash(text: &str) -> Result<Hash, String> {
    Hash::from_hex(text).map_err(|e| e.to_string())
}

fn hashes(texts: &[String]) -> Result<Vec<Hash>, String> {
    texts.iter().map(|text| hash(text)).collect()
}
