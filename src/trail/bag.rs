//! Bags (BagIt 1.0, RFC 8493): a folder that carries the checksums of its own
//! content, and its one-file form, a gzip-compressed tar archive.
//!
//! Bags of this crate use SHA-256 alone, cover every tag file, and are written
//! byte for byte the same from the same content. Reading trusts nothing: see
//! [`Bag`].

mod check;
mod manifest;
mod pack;
mod path;
mod reader;
#[cfg(test)]
mod tests;
mod unpack;
mod writer;

use std::io;

use serde::Serialize;
use thiserror::Error;

pub use pack::pack;
pub use reader::Bag;
pub use writer::{BagWriter, PayloadFile};

/// More files and folders than this are not read. Each filled-in phone form is one.
pub const MOST_ENTRIES: u64 = 100_000;

/// An archive is not unpacked beyond this many bytes (64 GiB).
pub const LARGEST_UNPACKED_BYTES: u64 = 64 << 30;

/// An archive may grow this many times on unpacking, once it is beyond
/// [`RATIO_FREE_BYTES`]. Tables of readings compress ten to fifty times.
pub const LARGEST_RATIO: u64 = 250;

/// Up to here (64 MiB unpacked) the ratio is not looked at.
pub const RATIO_FREE_BYTES: u64 = 64 << 20;

/// A manifest or `bag-info.txt` larger than this (16 MiB) is not read.
pub const LARGEST_TAG_FILE_BYTES: u64 = 16 << 20;

const DECLARATION_FILE: &str = "bagit.txt";
const DECLARATION: &[u8] = b"BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n";
const INFO_FILE: &str = "bag-info.txt";
const MANIFEST_FILE: &str = "manifest-sha256.txt";
const TAG_MANIFEST_FILE: &str = "tagmanifest-sha256.txt";
const PAYLOAD_FOLDER: &str = "data/";
const OXUM_LABEL: &str = "Payload-Oxum";

/// Why a bag cannot be read at all. What is wrong inside a readable bag is a
/// [`Fault`].
#[derive(Debug, Error)]
pub enum BagError {
    #[error("{name} cannot be read: {source}")]
    Unreadable { name: String, source: io::Error },
    #[error("{0} is not a bag: it has neither bagit.txt nor manifest-sha256.txt")]
    NotABag(String),
    #[error("the archive is broken or cut off: {0}")]
    BrokenArchive(String),
    #[error("the archive is refused for its entry {entry:?}: {problem}")]
    RefusedEntry {
        entry: String,
        problem: &'static str,
    },
    #[error("the archive must hold exactly one top folder, the bag")]
    TopFolder,
    #[error("the bag has more than {0} files and folders")]
    TooManyEntries(u64),
    #[error("the archive is refused: it unpacks to more than {0} bytes")]
    UnpacksTooLarge(u64),
    #[error("{0} is larger than such a file can be")]
    TagFileTooLarge(String),
    #[error("{0} is not in the bag")]
    NotInBag(String),
}

/// One thing that is wrong with a bag.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Fault {
    /// The file that is wrong, by its path in the bag.
    pub file: String,
    /// The line of the manifest or tag file that tells so, from 1.
    pub line: Option<u64>,
    /// What is wrong, in words.
    pub problem: String,
}

impl Fault {
    fn new(file: &str, line: Option<u64>, problem: impl Into<String>) -> Fault {
        Fault {
            file: file.to_owned(),
            line,
            problem: problem.into(),
        }
    }
}

/// The result of checking a bag.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct BagReport {
    /// All that is wrong. Empty for a sound bag.
    pub faults: Vec<Fault>,
    /// How many files the payload has, listed or not.
    pub payload_files: u64,
    /// How many bytes they have.
    pub payload_bytes: u64,
}

impl BagReport {
    /// Whether nothing at all is wrong.
    pub fn is_sound(&self) -> bool {
        self.faults.is_empty()
    }
}
