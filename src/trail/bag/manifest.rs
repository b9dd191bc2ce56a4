//! The text files of a bag: manifests and `bag-info.txt`.

use std::collections::{BTreeMap, HashSet};

use super::path::{decode, encode, problem_of};
use super::{Fault, MOST_ENTRIES, PAYLOAD_FOLDER};
use crate::trail::merkle::Hash;

/// One line of a manifest.
#[derive(Debug)]
pub(super) struct Entry {
    pub(super) line: u64,
    pub(super) hash: Hash,
    pub(super) path: String,
}

/// What a manifest lists, each path once, and what is wrong with its lines.
#[derive(Debug, Default)]
pub(super) struct Manifest {
    pub(super) entries: Vec<Entry>,
    pub(super) faults: Vec<Fault>,
}

/// Which files a manifest is about.
#[derive(Copy, Clone, PartialEq, Eq)]
pub(super) enum Scope {
    Payload,
    Tags,
}

impl Manifest {
    /// Reads a manifest, line by line, as far as its lines can be read.
    pub(super) fn read(file: &str, bytes: &[u8], scope: Scope) -> Manifest {
        let mut manifest = Manifest::default();
        let Ok(text) = std::str::from_utf8(bytes) else {
            manifest
                .faults
                .push(Fault::new(file, None, "it is not UTF-8 text"));
            return manifest;
        };
        let mut seen = HashSet::new();
        for (line, content) in (1..).zip(text.lines()) {
            if line > MOST_ENTRIES {
                let problem = format!("it has more than {MOST_ENTRIES} lines");
                manifest.faults.push(Fault::new(file, Some(line), problem));
                break;
            }
            match read_line(content, scope) {
                Err(problem) => manifest.faults.push(Fault::new(file, Some(line), problem)),
                Ok((_, path)) if !seen.insert(path.clone()) => {
                    let problem = format!("{file} lists it a second time");
                    manifest.faults.push(Fault::new(&path, Some(line), problem));
                }
                Ok((hash, path)) => manifest.entries.push(Entry { line, hash, path }),
            }
        }
        manifest
    }

    /// The paths it lists.
    pub(super) fn paths(&self) -> HashSet<&str> {
        self.entries
            .iter()
            .map(|entry| entry.path.as_str())
            .collect()
    }
}

fn read_line(line: &str, scope: Scope) -> Result<(Hash, String), String> {
    let space = [' ', '\t'];
    let (hash, path) = line
        .split_once(space)
        .ok_or("the line is not a checksum, a space and a path")?;
    // RFC 8493 allows capitals. Our writer has one spelling, so another one is a change.
    let hash = Hash::from_hex(hash)
        .map_err(|_| "the line does not begin with a SHA-256 checksum in lower-case hexadecimal")?;
    let path = path.trim_start_matches(space);
    let path = decode(path).ok_or("the path holds a percent sign that encodes nothing")?;
    if let Some(problem) = problem_of(&path) {
        return Err(format!("{problem}: {path:?}"));
    }
    match (scope, path.starts_with(PAYLOAD_FOLDER)) {
        (Scope::Payload, false) => Err(format!("the path is not under data/: {path:?}")),
        (Scope::Tags, true) => Err(format!("a payload file has no place here: {path:?}")),
        _ => Ok((hash, path)),
    }
}

/// The text of a manifest, in the order of the paths' bytes.
pub(super) fn write(entries: &BTreeMap<String, Hash>) -> String {
    entries
        .iter()
        .map(|(path, hash)| format!("{hash}  {}\n", encode(path)))
        .collect()
}

/// The labels and values of `bag-info.txt` in their order, and its faults. A
/// line that begins with white space continues the value above it.
pub(super) fn read_info(file: &str, bytes: &[u8]) -> (Vec<(String, String)>, Vec<Fault>) {
    let (mut info, mut faults) = (Vec::<(String, String)>::new(), Vec::new());
    let Ok(text) = std::str::from_utf8(bytes) else {
        faults.push(Fault::new(file, None, "it is not UTF-8 text"));
        return (info, faults);
    };
    for (line, content) in (1..).zip(text.lines()) {
        if line > MOST_ENTRIES {
            let problem = format!("it has more than {MOST_ENTRIES} lines");
            faults.push(Fault::new(file, Some(line), problem));
            break;
        }
        match (
            content.strip_prefix([' ', '\t']),
            content.split_once(':'),
            info.last_mut(),
        ) {
            (Some(continued), _, Some((_, value))) => {
                value.push(' ');
                value.push_str(continued.trim_start());
            }
            (None, Some((label, value)), _) if !label.is_empty() => {
                let value = value.strip_prefix([' ', '\t']).unwrap_or(value);
                info.push((label.to_owned(), value.to_owned()));
            }
            _ => faults.push(Fault::new(
                file,
                Some(line),
                "the line is not a label and a value",
            )),
        }
    }
    (info, faults)
}
