//! The trail of a bag: every leaf hashed again, in order, up to the signed head.

mod head;

use super::Options;
use super::layout;
use super::record::History;
use super::report::{Fault, Level, Report};
use crate::accounting::records::findings::{Act, Told};
use crate::accounting::records::kind;
use crate::accounting::records::log_keys::{LogKeyChangedRecord, WitnessRecord, kind as key_kind};
use crate::trail::bag::Bag;
use crate::trail::canonical::is_canonical;
use crate::trail::cosignature::WitnessKey;
use crate::trail::event::Event;
use crate::trail::key_change::KeyChain;
use crate::trail::merkle::{Frontier, Hash, leaf_hash, sha256};
use crate::trail::note::NoteError;
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
        chain: None,
        witnesses: Vec::new(),
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
    let signer = head::check_head(bag, options, &walk, report);
    head::check_kept(options, &walk, report);
    head::check_cosigned(bag, options, &walk, report);
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
    /// The keys of the log; absent until the first entry was read.
    chain: Option<KeyChain>,
    witnesses: Vec<WitnessKey>,
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
            None if event.kind == key_kind::LOG_KEY_CHANGED => self.change_key(sequence, content),
            None if event.kind == key_kind::WITNESS_REGISTERED => self.register(content),
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
        if sequence == 0 {
            let programme = self.history.programme.as_ref();
            let key = programme.and_then(|p| p.checkpoint_key.parse().ok());
            self.chain = key.map(KeyChain::new);
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

    /// Follows a change of the log's key.
    fn change_key(&mut self, sequence: u64, content: &[u8]) -> Result<(), String> {
        let record: LogKeyChangedRecord = read(content)?;
        let before = usize::try_from(sequence)
            .ok()
            .and_then(|sequence| self.heads.get(sequence.checked_sub(1)?));
        let (Some(chain), Some(root)) = (&mut self.chain, before) else {
            return Err("a key is changed before the trail names one".into());
        };
        let old = chain.current().to_string();
        chain
            .take(&record.note, sequence, *root)
            .map_err(|e| e.to_string())?;
        if (record.old_key, record.new_key) != (old, chain.current().to_string()) {
            return Err("it names other keys than its signed note".into());
        }
        Ok(())
    }

    fn register(&mut self, content: &[u8]) -> Result<(), String> {
        let record: WitnessRecord = read(content)?;
        let key: WitnessKey = record.key.parse().map_err(|e: NoteError| e.to_string())?;
        if self
            .witnesses
            .iter()
            .any(|known| known.name() == key.name())
        {
            return Err(format!("{} is registered a second time", key.name()));
        }
        self.witnesses.push(key);
        Ok(())
    }

    /// What is wrong with a head over `size` entries with this root; `None` where the trail
    /// of the bag begins with it.
    fn differs(&self, size: u64, root: &Hash) -> Option<String> {
        let place = size.checked_sub(1)?;
        let head = usize::try_from(place).ok().and_then(|i| self.heads.get(i));
        match head {
            None => Some(format!(
                "it is over {size} entries, but the bag holds only {}: history was cut off",
                self.tree.size()
            )),
            Some(head) if head != root => Some(format!(
                "the first {size} entries are not those it signed: history was changed"
            )),
            Some(_) => None,
        }
    }
}

fn read<T: serde::de::DeserializeOwned>(content: &[u8]) -> Result<T, String> {
    serde_json::from_slice(content).map_err(|e| format!("its content cannot be read: {e}"))
}

fn text(bag: &Bag, file: &str) -> Result<String, String> {
    let mut text = String::new();
    bag.payload(file)
        .map_err(|e| e.to_string())?
        .take(64_000_000)
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
