//! Unpacks an archive that may be hostile, within stated limits.
//!
//! Only plain files and folders with safe paths come out. Extended headers (of
//! pax and GNU tar) are refused too: they could name, size and link entries a
//! second time, and no bag of ours needs them.

use std::collections::HashSet;
use std::fmt;
use std::fs::{self, File, OpenOptions};
use std::io::{self, BufRead, BufReader, Read};
use std::path::{Path, PathBuf};

use flate2::bufread::GzDecoder;
use tar::{Archive, Entry};

use super::path::problem_of;
use super::{BagError, LARGEST_RATIO, LARGEST_UNPACKED_BYTES, MOST_ENTRIES, RATIO_FREE_BYTES};

/// How far unpacking goes.
pub(super) struct Limits {
    pub(super) entries: u64,
    pub(super) bytes: u64,
    pub(super) ratio: u64,
    pub(super) ratio_free_bytes: u64,
}

impl Limits {
    pub(super) const STATED: Limits = Limits {
        entries: MOST_ENTRIES,
        bytes: LARGEST_UNPACKED_BYTES,
        ratio: LARGEST_RATIO,
        ratio_free_bytes: RATIO_FREE_BYTES,
    };

    /// How many bytes an archive of this compressed size may unpack to.
    fn unpacked(&self, compressed: u64) -> u64 {
        compressed
            .saturating_mul(self.ratio)
            .max(self.ratio_free_bytes)
            .min(self.bytes)
    }
}

/// Unpacks a `.tar.gz` into an empty folder and returns its one top folder.
pub(super) fn unpack(archive: &Path, into: &Path, limits: &Limits) -> Result<PathBuf, BagError> {
    let name = archive.display().to_string();
    let unreadable = |source| BagError::Unreadable {
        name: name.clone(),
        source,
    };
    let file = File::open(archive).map_err(unreadable)?;
    let most = limits.unpacked(file.metadata().map_err(unreadable)?.len());
    let gzip = GzDecoder::new(BufReader::new(file));
    let mut archive = Archive::new(Metered {
        inner: gzip,
        left: most,
    });
    let broken = |error| explain(error, most);

    let mut unpacking = Unpacking {
        into,
        top: None,
        folders: HashSet::new(),
    };
    let mut count = 0;
    for entry in archive.entries().map_err(broken)?.raw(true) {
        count += 1;
        if count > limits.entries {
            return Err(BagError::TooManyEntries(limits.entries));
        }
        unpacking.place(&mut entry.map_err(broken)?, &broken)?;
    }
    check_end(archive.into_inner()).map_err(broken)?;
    match unpacking.top {
        Some(top) if into.join(&top).is_dir() => Ok(into.join(top)),
        _ => Err(BagError::TopFolder),
    }
}

struct Unpacking<'a> {
    into: &'a Path,
    top: Option<String>,
    folders: HashSet<PathBuf>,
}

impl Unpacking<'_> {
    fn place<R: Read>(
        &mut self,
        entry: &mut Entry<R>,
        broken: &impl Fn(io::Error) -> BagError,
    ) -> Result<(), BagError> {
        let bytes = entry.path_bytes();
        let name = String::from_utf8_lossy(&bytes).into_owned();
        let refuse = |problem| BagError::RefusedEntry {
            entry: name.clone(),
            problem,
        };
        if std::str::from_utf8(&bytes).is_err() {
            return Err(refuse("its name is not UTF-8"));
        }
        let kind = entry.header().entry_type();
        let path = if kind.is_dir() {
            name.strip_suffix('/').unwrap_or(&name)
        } else {
            &name
        };
        if kind.is_symlink() || kind.is_hard_link() {
            return Err(refuse("it is a link"));
        }
        if !kind.is_file() && !kind.is_dir() {
            return Err(refuse("it is neither a plain file nor a folder"));
        }
        if let Some(problem) = problem_of(path) {
            return Err(refuse(problem));
        }
        let top = path.split('/').next().unwrap_or_default();
        if *self.top.get_or_insert_with(|| top.to_owned()) != top {
            return Err(BagError::TopFolder);
        }
        let place = self.into.join(path);
        if kind.is_dir() {
            return self
                .make_folder(&place)
                .map_err(|_| refuse("it stands in the way of a file"));
        }
        if let Some(parent) = place.parent() {
            self.make_folder(parent)
                .map_err(|_| refuse("it lies inside a file"))?;
        }
        let mut file = OpenOptions::new()
            .write(true)
            .create_new(true)
            .open(&place)
            .map_err(|_| refuse("it appears twice or cannot be written"))?;
        let size = entry.size();
        if io::copy(entry, &mut file).map_err(broken)? != size {
            return Err(BagError::BrokenArchive(
                "an entry is shorter than it says".into(),
            ));
        }
        Ok(())
    }

    fn make_folder(&mut self, folder: &Path) -> io::Result<()> {
        if !self.folders.contains(folder) {
            fs::create_dir_all(folder)?;
            self.folders.insert(folder.to_owned());
        }
        Ok(())
    }
}

/// Reads the archive out, so that the checksum of the compression is checked,
/// and lets nothing follow.
fn check_end<R: BufRead>(mut rest: Metered<GzDecoder<R>>) -> io::Result<()> {
    let mut buffer = [0; 8192];
    loop {
        match rest.read(&mut buffer)? {
            0 => break,
            read if buffer[..read].iter().all(|byte| *byte == 0) => {}
            _ => return Err(io::Error::other("there is more after its end")),
        }
    }
    if rest.inner.get_mut().fill_buf()?.is_empty() {
        Ok(())
    } else {
        Err(io::Error::other("there is more after its end"))
    }
}

fn explain(error: io::Error, most: u64) -> BagError {
    if error.get_ref().is_some_and(|inner| inner.is::<OverLimit>()) {
        BagError::UnpacksTooLarge(most)
    } else {
        BagError::BrokenArchive(error.to_string())
    }
}

/// Counts what comes out of the decompression and stops at the limit, whatever
/// part of the archive it belongs to.
struct Metered<R> {
    inner: R,
    left: u64,
}

impl<R: Read> Read for Metered<R> {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let read = self.inner.read(buffer)?;
        self.left = self
            .left
            .checked_sub(read as u64)
            .ok_or(io::Error::other(OverLimit))?;
        Ok(read)
    }
}

#[derive(Debug)]
struct OverLimit;

impl fmt::Display for OverLimit {
    fn fmt(&self, formatter: &mut fmt::Formatter) -> fmt::Result {
        formatter.write_str("the archive unpacks to too many bytes")
    }
}

impl std::error::Error for OverLimit {}
