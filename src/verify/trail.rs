//! The trail of a bag: every leaf hashed again, in order, up to the signed head.

use super::Options;
use super::layout;
use super::record::History;
use super::report::{Fault, Level, Report};
use crate::accounting::records::findings::{Act, Told};
use crate::accounting::records::kind;
use crate::trail::bag::Bag;
use crate::trail::canonical::is_canonical;
use crate::trail::checkpoint::Checkpoint;
use crate::trail::event::Event;
use crate::trail::merkle::{Frontier, Hash, leaf_hash, sha256};
use crate::trail::note::{NoteError, VerifierKey};
use std::fs::File;
use std::io::{BufRead, BufReader, Read};

/// Bytes that one line of a trail file may have; a statement's trace is the longest.
const LINE_BYTES_MAX: u64 = 256 * 1024 * 1024;

/// Checks the trail; `None` where its files cannot be read at all.
pub(super) fn check(bag: &Bag, options: &Options, report: &mut Report) -> Option<History> {
    let mut entries = lines(bag, layout::ENTRIES, report)?;
    let mut contents = lines(bag, layout::CONTENTS, report)?;
    let mut walk = Walk {
        history: History::default(),
        tree: Frontier::new(),
        heads: Vec::new(),
        last_time: String::new(),
    };
    let mut line = 0_u64;
    loop {
        line += 1;
        match (entries.next_line(), contents.next_line()) {
            (Ok(Some(leaf)), Ok(Some(content))) => walk.step(line, &leaf, &content, report),
            (Ok(None), Ok(None)) => break,
            (Ok(_), Ok(_)) => {
                let problem = "the entries and their contents are not equally many";
                report.fault(
                    Level::Trail,
                    Fault::of_payload(layout::CONTENTS, problem).at_line(line),
                );
                break;
            }
            (Err(problem), _) => {
                report.fault(
                    Level::Trail,
                    Fault::of_payload(layout::ENTRIES, problem).at_line(line),
                );
                break;
            }
            (_, Err(problem)) => {
                report.fault(
                    Level::Trail,
                    Fault::of_payload(layout::CONTENTS, problem).at_line(line),
                );
                break;
            }
        }
    }
    let signer = check_head(bag, options, &walk, report);
    check_kept(options, &walk, report);
    let signer = signer.unwrap_or_else(|| "nobody".into());
    report.done(
        Level::Trail,
        format!(
            "{} entries hash to the head signed by {signer}",
            walk.tree.size()
        ),
    );
    Some(walk.history)
}

struct Walk {
    history: History,
    tree: Frontier,
    /// Tree head after each entry, so that a kept checkpoint can be found.
    heads: Vec<Hash>,
    last_time: String,
}

impl Walk {
    fn step(&mut self, line: u64, leaf: &[u8], content: &[u8], report: &mut Report) {
        let sequence = self.tree.size();
        self.tree.push(leaf_hash(leaf));
        self.heads.push(self.tree.root());
        self.history.entries = self.tree.size();
        let mut entry_fault = |problem: String| {
            report.fault(
                Level::Trail,
                Fault::of_payload(layout::ENTRIES, problem).at_line(line),
            );
        };
        let event = match Event::parse(leaf) {
            Ok(event) => event,
            Err(error) => return entry_fault(error.to_string()),
        };
        if event.sequence != sequence {
            entry_fault(format!(
                "says sequence {} at place {sequence}",
                event.sequence
            ));
        }
        if event.time < self.last_time {
            entry_fault(format!(
                "its time {} is before that of the entry before it",
                event.time
            ));
        }
        self.last_time.clone_from(&event.time);
        let mut content_fault = |problem: String| {
            report.fault(
                Level::Trail,
                Fault::of_payload(layout::CONTENTS, problem).at_line(line),
            );
        };
        if sha256(content) != event.content {
            return content_fault("its hash is not the one that the entry commits to".into());
        }
        if !is_canonical(content) {
            content_fault("it is not canonical JSON".into());
        }
        let taken = match Act::from_entry_kind(&event.kind) {
            Some(act) => {
                let told = Told {
                    sequence,
                    subject: &event.subject,
                    actor: &event.actor,
                    time: &event.time,
                };
                self.history.findings.take(act, told, content)
            }
            None => self.history.take(
                sequence,
                &event.kind,
                &event.subject,
                content,
                self.tree.root(),
            ),
        };
        if let Err(problem) = taken {
            content_fault(problem);
        }
        let reason = event.reason.as_deref().unwrap_or_default();
        if kind::CORRECTIONS.contains(&event.kind.as_str()) && reason.trim().is_empty() {
            content_fault("something is corrected without a reason".into());
        }
        let programme = self.history.programme.as_ref().map(|p| p.id.to_string());
        if programme.as_deref() != Some(event.programme.as_str()) {
            let problem = format!("it belongs to programme {}", event.programme);
            report.fault(
                Level::Trail,
                Fault::of_payload(layout::ENTRIES, problem).at_line(line),
            );
        }
    }
}

/// Checks the signed head and returns who signed it.
fn check_head(bag: &Bag, options: &Options, walk: &Walk, report: &mut Report) -> Option<String> {
    let mut fault = |file: &str, problem: String| {
        report.fault(Level::Trail, Fault::of_payload(file, problem));
    };
    let recorded = walk
        .history
        .programme
        .as_ref()
        .map(|p| p.checkpoint_key.clone());
    let Some(recorded) = recorded else {
        fault(
            layout::ENTRIES,
            "the first entry does not create a programme".into(),
        );
        return None;
    };
    let given = text(bag, layout::CHECKPOINT_KEY).unwrap_or_default();
    if given.trim_end_matches('\n') != recorded {
        fault(
            layout::CHECKPOINT_KEY,
            "it is not the key that the trail's first entry names".into(),
        );
    }
    let key = match signing_key(options, Some(&recorded)) {
        Ok(key) => key,
        Err(problem) => {
            fault(layout::CHECKPOINT_KEY, problem);
            return None;
        }
    };
    let note = match text(bag, layout::CHECKPOINT) {
        Ok(note) => note,
        Err(problem) => {
            fault(layout::CHECKPOINT, problem);
            return None;
        }
    };
    let head = match Checkpoint::open(&note, std::slice::from_ref(&key)) {
        Ok(head) => head,
        Err(error) => {
            fault(layout::CHECKPOINT, error.to_string());
            return None;
        }
    };
    if head.origin != key.name() {
        fault(
            layout::CHECKPOINT,
            format!("it is of the log {}", head.origin),
        );
    }
    if head.size != walk.tree.size() {
        fault(
            layout::CHECKPOINT,
            format!(
                "it is over {} entries, the bag holds {}",
                head.size,
                walk.tree.size()
            ),
        );
    } else if head.root != walk.tree.root() {
        fault(
            layout::CHECKPOINT,
            "the entries do not hash to its root".into(),
        );
    }
    if options.key.is_none() {
        report.remark(format!(
            "the key was taken from the bag itself; compare it with a copy you trust: {recorded}"
        ));
    }
    Some(key.name().to_owned())
}

/// The key that the verifier brought, else the one that the trail names.
fn signing_key(options: &Options, recorded: Option<&str>) -> Result<VerifierKey, String> {
    match (&options.key, recorded) {
        (Some(pinned), _) => Ok(pinned.clone()),
        (None, Some(recorded)) => recorded.parse().map_err(|e: NoteError| e.to_string()),
        (None, None) => Err("the trail names no key".into()),
    }
}

fn check_kept(options: &Options, walk: &Walk, report: &mut Report) {
    let Some(kept) = &options.kept_checkpoint else {
        return;
    };
    let programme = walk.history.programme.as_ref();
    let recorded = programme.map(|p| p.checkpoint_key.as_str());
    let Ok(key) = signing_key(options, recorded) else {
        // The head needs the same key: its check has told that there is none.
        return;
    };
    let problem = match Checkpoint::open(kept, &[key]) {
        Err(error) => error.to_string(),
        Ok(kept) if kept.size == 0 => return,
        Ok(kept) => {
            let head = usize::try_from(kept.size - 1)
                .ok()
                .and_then(|i| walk.heads.get(i));
            match head {
                None => format!(
                    "it is over {} entries, but the bag holds only {}: history was cut off",
                    kept.size,
                    walk.tree.size()
                ),
                Some(root) if *root != kept.root => {
                    format!(
                        "the first {} entries are not those it signed: history was changed",
                        kept.size
                    )
                }
                Some(_) => return,
            }
        }
    };
    report.fault(Level::Trail, Fault::new("the kept checkpoint", problem));
}

fn text(bag: &Bag, file: &str) -> Result<String, String> {
    let mut text = String::new();
    bag.payload(file)
        .map_err(|e| e.to_string())?
        .take(1_000_000)
        .read_to_string(&mut text)
        .map_err(|e| e.to_string())?;
    Ok(text)
}

struct Lines(BufReader<File>);

impl Lines {
    /// The next line without its end, or `None` at the end of the file.
    fn next_line(&mut self) -> Result<Option<Vec<u8>>, String> {
        let mut line = Vec::new();
        let read = (&mut self.0)
            .take(LINE_BYTES_MAX)
            .read_until(b'\n', &mut line)
            .map_err(|e| e.to_string())?;
        match line.pop() {
            None => Ok(None),
            Some(b'\n') => Ok(Some(line)),
            Some(_) => Err(format!("the line does not end after {read} bytes")),
        }
    }
}

fn lines(bag: &Bag, file: &'static str, report: &mut Report) -> Option<Lines> {
    match bag.payload(file) {
        Ok(reader) => Some(Lines(reader)),
        Err(error) => {
            report.fault(Level::Trail, Fault::of_payload(file, error.to_string()));
            None
        }
    }
}
