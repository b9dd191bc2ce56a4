//! Writes a bag: payload files as streams, then the tag files.

use std::collections::{BTreeMap, HashSet};
use std::fs::{self, File, OpenOptions};
use std::io::{self, BufWriter, Write};
use std::path::{Path, PathBuf};

use sha2::{Digest, Sha256};

use super::path::problem_of;
use super::{
    DECLARATION, DECLARATION_FILE, INFO_FILE, MANIFEST_FILE, OXUM_LABEL, PAYLOAD_FOLDER,
    TAG_MANIFEST_FILE, manifest,
};
use crate::trail::merkle::{Hash, sha256};

/// A bag under way. Knows no clock: what has a date is told to it.
#[derive(Debug)]
pub struct BagWriter {
    folder: PathBuf,
    entries: BTreeMap<String, Hash>,
    /// In lower case, since some file systems do not tell `A` from `a`.
    names: HashSet<String>,
    bytes: u64,
    unfinished: Option<String>,
}

impl BagWriter {
    /// Begins a bag in this folder, which is created if it does not exist.
    ///
    /// # Errors
    /// The folder is not empty or cannot be written.
    pub fn create(folder: &Path) -> io::Result<BagWriter> {
        fs::create_dir_all(folder)?;
        if fs::read_dir(folder)?.next().is_some() {
            let problem = format!("{} is not empty", folder.display());
            return Err(io::Error::new(io::ErrorKind::AlreadyExists, problem));
        }
        fs::create_dir(folder.join(PAYLOAD_FOLDER))?;
        Ok(BagWriter {
            folder: folder.to_owned(),
            entries: BTreeMap::new(),
            names: HashSet::new(),
            bytes: 0,
            unfinished: None,
        })
    }

    /// Begins a payload file. Write to it, then [`PayloadFile::finish`] it; a
    /// file that is dropped unfinished spoils the bag.
    ///
    /// # Errors
    /// The path is not safe, is taken (also in other capitals), or cannot be
    /// written; or the file before was not finished.
    pub fn payload(&mut self, path_in_data: &str) -> io::Result<PayloadFile<'_>> {
        self.refuse_unfinished()?;
        if let Some(problem) = problem_of(path_in_data) {
            return Err(invalid(format!("{problem}: {path_in_data:?}")));
        }
        if !self.names.insert(path_in_data.to_lowercase()) {
            return Err(invalid(format!(
                "the bag already has a file {path_in_data:?}"
            )));
        }
        let path = format!("{PAYLOAD_FOLDER}{path_in_data}");
        let place = self.folder.join(&path);
        if let Some(parent) = place.parent() {
            fs::create_dir_all(parent)?;
        }
        let file = OpenOptions::new()
            .write(true)
            .create_new(true)
            .open(place)?;
        self.unfinished = Some(path.clone());
        Ok(PayloadFile {
            bag: self,
            path,
            file: BufWriter::new(file),
            hasher: Sha256::new(),
            bytes: 0,
        })
    }

    /// Writes the tag files. The labels keep their order; `Payload-Oxum` is
    /// added.
    ///
    /// # Errors
    /// A payload file was not finished, a label or value cannot be written in
    /// one line, or the folder cannot be written.
    pub fn finish(self, info: &[(String, String)]) -> io::Result<()> {
        self.refuse_unfinished()?;
        let mut text = String::new();
        for (label, value) in info {
            check_info(label, value)?;
            text += &format!("{label}: {value}\n");
        }
        text += &format!("{OXUM_LABEL}: {}.{}\n", self.bytes, self.entries.len());
        let files = [
            (DECLARATION_FILE, DECLARATION.to_vec()),
            (INFO_FILE, text.into_bytes()),
            (MANIFEST_FILE, manifest::write(&self.entries).into_bytes()),
        ];
        let mut tags = BTreeMap::new();
        for (name, bytes) in files {
            fs::write(self.folder.join(name), &bytes)?;
            tags.insert(name.to_owned(), sha256(&bytes));
        }
        fs::write(self.folder.join(TAG_MANIFEST_FILE), manifest::write(&tags))
    }

    fn refuse_unfinished(&self) -> io::Result<()> {
        match &self.unfinished {
            Some(path) => Err(invalid(format!(
                "the file {path} of the bag was not finished"
            ))),
            None => Ok(()),
        }
    }
}

fn check_info(label: &str, value: &str) -> io::Result<()> {
    let plain = |text: &str| !text.chars().any(char::is_control);
    if label.is_empty() || label.trim() != label || label.contains(':') || !plain(label) {
        return Err(invalid(format!(
            "{label:?} cannot be a label of bag-info.txt"
        )));
    }
    if label.eq_ignore_ascii_case(OXUM_LABEL) {
        return Err(invalid(format!(
            "{OXUM_LABEL} is added to bag-info.txt, not given"
        )));
    }
    if !plain(value) {
        return Err(invalid(format!(
            "the value of {label} in bag-info.txt must be one line"
        )));
    }
    Ok(())
}

fn invalid(problem: String) -> io::Error {
    io::Error::new(io::ErrorKind::InvalidInput, problem)
}

/// A payload file under way: hashes and counts what is written to it.
#[derive(Debug)]
pub struct PayloadFile<'a> {
    bag: &'a mut BagWriter,
    path: String,
    file: BufWriter<File>,
    hasher: Sha256,
    bytes: u64,
}

impl PayloadFile<'_> {
    /// Ends the file and enters it in the bag. Returns its SHA-256.
    ///
    /// # Errors
    /// The last bytes cannot be written.
    pub fn finish(mut self) -> io::Result<Hash> {
        self.file.flush()?;
        let hash = Hash(self.hasher.finalize().into());
        self.bag.entries.insert(self.path, hash);
        self.bag.bytes += self.bytes;
        self.bag.unfinished = None;
        Ok(hash)
    }
}

impl Write for PayloadFile<'_> {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let written = self.file.write(bytes)?;
        self.hasher.update(&bytes[..written]);
        self.bytes += written as u64;
        Ok(written)
    }

    fn flush(&mut self) -> io::Result<()> {
        self.file.flush()
    }
}
