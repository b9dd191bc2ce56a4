//! Opens a bag, as a folder or as an archive, without trusting it.

use std::collections::BTreeMap;
use std::fs::{self, File};
use std::io::{self, BufReader, Read};
use std::path::{Path, PathBuf};

use tempfile::TempDir;

use super::manifest::{Manifest, Scope, read_info};
use super::path::problem_of;
use super::unpack::{Limits, unpack};
use super::{
    BagError, DECLARATION_FILE, Fault, INFO_FILE, LARGEST_TAG_FILE_BYTES, MANIFEST_FILE,
    MOST_ENTRIES, PAYLOAD_FOLDER,
};
use crate::trail::merkle::Hash;

/// A bag that is read without trusting it. Only plain files inside it are
/// opened, links are not followed, and an archive is unpacked within limits
/// into a folder that goes away with this value.
///
/// Opening does not say that the bag is sound: that is [`Bag::check`].
#[derive(Debug)]
pub struct Bag {
    pub(super) root: PathBuf,
    /// The plain files, by path in the bag, with their size in bytes.
    pub(super) files: BTreeMap<String, u64>,
    pub(super) manifest: Manifest,
    pub(super) info: Vec<(String, String)>,
    /// What was already seen to be wrong on opening.
    pub(super) faults: Vec<Fault>,
    _unpacked: Option<TempDir>,
}

impl Bag {
    /// Opens a folder or a `.tar.gz`.
    ///
    /// # Errors
    /// It cannot be read, is not a bag at all, or is an archive that is broken
    /// or would be unsafe to unpack.
    pub fn open(path: &Path) -> Result<Bag, BagError> {
        let metadata = fs::metadata(path).map_err(unreadable(path))?;
        if metadata.is_dir() {
            return Bag::read(path.to_owned(), None);
        }
        let folder = TempDir::with_prefix("bag-").map_err(unreadable(path))?;
        let root = unpack(path, folder.path(), &Limits::STATED)?;
        Bag::read(root, Some(folder))
    }

    fn read(root: PathBuf, unpacked: Option<TempDir>) -> Result<Bag, BagError> {
        let (files, mut faults) = survey(&root, MOST_ENTRIES)?;
        if !files.contains_key(DECLARATION_FILE) && !files.contains_key(MANIFEST_FILE) {
            return Err(BagError::NotABag(root.display().to_string()));
        }
        let mut bag = Bag {
            root,
            files,
            manifest: Manifest::default(),
            info: Vec::new(),
            faults: Vec::new(),
            _unpacked: unpacked,
        };
        if let Some(bytes) = bag.tag_file(MANIFEST_FILE)? {
            bag.manifest = Manifest::read(MANIFEST_FILE, &bytes, Scope::Payload);
        }
        if let Some(bytes) = bag.tag_file(INFO_FILE)? {
            let (info, problems) = read_info(INFO_FILE, &bytes);
            bag.info = info;
            faults.extend(problems);
        }
        bag.faults = faults;
        Ok(bag)
    }

    /// A payload file as a stream, by its path under `data/`. Its bytes are
    /// those that [`Bag::check`] compared with the manifest.
    ///
    /// # Errors
    /// The bag has no such plain file, or it cannot be read.
    pub fn payload(&self, path_in_data: &str) -> Result<BufReader<File>, BagError> {
        let path = format!("{PAYLOAD_FOLDER}{path_in_data}");
        self.file(&path).map(BufReader::new)
    }

    /// The payload files that the bag both has and lists, by their paths under
    /// `data/`, in order.
    pub fn payload_files(&self) -> Vec<String> {
        let listed = self.manifest.paths();
        self.files
            .keys()
            .filter(|path| listed.contains(path.as_str()))
            .filter_map(|path| path.strip_prefix(PAYLOAD_FOLDER))
            .map(str::to_owned)
            .collect()
    }

    /// The payload files that the bag both has and lists, by their paths under `data/`, with
    /// the hashes that are listed: those that [`Bag::check`] holds them against.
    pub fn payload_hashes(&self) -> BTreeMap<&str, Hash> {
        self.manifest
            .entries
            .iter()
            .filter(|entry| self.files.contains_key(&entry.path))
            .filter_map(|entry| Some((entry.path.strip_prefix(PAYLOAD_FOLDER)?, entry.hash)))
            .collect()
    }

    /// The labels and values of `bag-info.txt`, in their order.
    pub fn info(&self) -> &[(String, String)] {
        &self.info
    }

    pub(super) fn file(&self, path: &str) -> Result<File, BagError> {
        if !self.files.contains_key(path) {
            return Err(BagError::NotInBag(path.to_owned()));
        }
        let place = self.root.join(path);
        File::open(&place).map_err(unreadable(&place))
    }

    /// A tag file as a whole, if the bag has it.
    pub(super) fn tag_file(&self, name: &str) -> Result<Option<Vec<u8>>, BagError> {
        if !self.files.contains_key(name) {
            return Ok(None);
        }
        let mut bytes = Vec::new();
        self.file(name)?
            .take(LARGEST_TAG_FILE_BYTES + 1)
            .read_to_end(&mut bytes)
            .map_err(unreadable(Path::new(name)))?;
        if bytes.len() as u64 > LARGEST_TAG_FILE_BYTES {
            return Err(BagError::TagFileTooLarge(name.to_owned()));
        }
        Ok(Some(bytes))
    }
}

pub(super) fn unreadable(path: &Path) -> impl FnOnce(io::Error) -> BagError {
    let name = path.display().to_string();
    |source| BagError::Unreadable { name, source }
}

/// All plain files below a folder of at most `most` entries, and a fault for all that is no
/// plain file or folder or has an unsafe name.
pub(super) fn survey(
    root: &Path,
    most: u64,
) -> Result<(BTreeMap<String, u64>, Vec<Fault>), BagError> {
    let (mut files, mut faults) = (BTreeMap::new(), Vec::new());
    let mut folders = vec![(root.to_owned(), String::new())];
    let mut count = 0;
    while let Some((folder, prefix)) = folders.pop() {
        for child in fs::read_dir(&folder).map_err(unreadable(&folder))? {
            let child = child.map_err(unreadable(&folder))?;
            count += 1;
            if count > most {
                return Err(BagError::TooManyEntries(most));
            }
            let metadata = child.metadata().map_err(unreadable(&child.path()))?;
            let name = child.file_name();
            let path = format!("{prefix}{}", name.to_string_lossy());
            if name.to_str().is_none() {
                faults.push(Fault::new(&path, None, "its name is not UTF-8"));
            } else if let Some(problem) = problem_of(&path) {
                faults.push(Fault::new(&path, None, problem));
            } else if metadata.is_dir() {
                folders.push((child.path(), format!("{path}/")));
            } else if metadata.is_file() {
                files.insert(path, metadata.len());
            } else if metadata.is_symlink() {
                faults.push(Fault::new(
                    &path,
                    None,
                    "it is a link, which a bag must not hold",
                ));
            } else {
                faults.push(Fault::new(
                    &path,
                    None,
                    "it is neither a plain file nor a folder",
                ));
            }
        }
    }
    faults.sort_by(|a, b| a.file.cmp(&b.file));
    Ok((files, faults))
}
