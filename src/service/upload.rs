//! Uploaded bytes, spooled to a file of bounded size and hashed on the way.

use super::ServiceError;
use super::progress::Progress;
use crate::trail::merkle::Hash;
use futures_util::{Stream, StreamExt};
use sha2::{Digest, Sha256};
use std::fmt::Display;
use std::io::{Read, Seek, Write};
use std::path::Path;
use std::sync::Arc;

/// Bytes that one upload may have, where nothing else is asked for.
pub const UPLOAD_BYTES_MAX: u64 = 512 * 1024 * 1024;

/// Bytes hashed at a time.
const HASH_BYTES: usize = 256 * 1024;

/// A whole upload on disk; gone when dropped, where it is not a kept file.
pub struct Spooled {
    file: std::fs::File,
    pub sha256: Hash,
    pub bytes: u64,
    progress: Arc<Progress>,
    sent: Sent,
}

/// What was sent, seen from the file that the rows are read from.
enum Sent {
    /// That very file.
    This,
    /// Another, which that file was made of.
    Other(std::fs::File),
    /// No file: rows that were typed in.
    Nothing,
}

impl Spooled {
    /// Takes a stream to its end.
    ///
    /// # Errors
    /// `TooLarge` past `limit_bytes`; `BrokenUpload` where the stream fails.
    pub async fn receive<S, B, E>(stream: S, limit_bytes: u64) -> Result<Self, ServiceError>
    where
        S: Stream<Item = Result<B, E>>,
        B: AsRef<[u8]>,
        E: Display,
    {
        let mut file = tempfile::tempfile().map_err(disk)?;
        let mut digest = Sha256::new();
        let mut bytes = 0_u64;
        let mut stream = std::pin::pin!(stream);
        while let Some(chunk) = stream.next().await {
            let chunk = chunk.map_err(|e| ServiceError::BrokenUpload(e.to_string()))?;
            let chunk = chunk.as_ref();
            bytes += chunk.len() as u64;
            if bytes > limit_bytes {
                return Err(ServiceError::TooLarge { limit_bytes });
            }
            digest.update(chunk);
            // Into the page cache, a chunk at a time: shorter than a hop to another thread.
            file.write_all(chunk).map_err(disk)?;
        }
        file.rewind().map_err(disk)?;
        Ok(Spooled {
            file,
            sha256: Hash(digest.finalize().into()),
            bytes,
            progress: Arc::default(),
            sent: Sent::This,
        })
    }

    /// Takes bytes that are already in memory.
    pub fn from_bytes(bytes: &[u8]) -> Result<Self, ServiceError> {
        let mut file = tempfile::tempfile().map_err(disk)?;
        file.write_all(bytes).map_err(disk)?;
        file.rewind().map_err(disk)?;
        let sha256 = crate::trail::merkle::sha256(bytes);
        Ok(Spooled {
            file,
            sha256,
            bytes: bytes.len() as u64,
            progress: Arc::default(),
            sent: Sent::This,
        })
    }

    /// Says that this file was made of another, which is what was sent: it goes by the hash of
    /// that one.
    pub(super) fn made_of(mut self, sent: &[u8]) -> Result<Self, ServiceError> {
        let other = Self::from_bytes(sent)?;
        self.sha256 = other.sha256;
        self.sent = Sent::Other(other.file);
        Ok(self)
    }

    /// Says that this file was made of rows that came in no file.
    pub(super) fn typed_in(mut self) -> Self {
        self.sent = Sent::Nothing;
        self
    }

    /// What was sent, where it was a file; to be read when the rows have been.
    pub(super) fn sent(&self) -> Result<Option<std::fs::File>, ServiceError> {
        match &self.sent {
            Sent::This => self.again().map(Some),
            Sent::Other(file) => file.try_clone().map(Some).map_err(disk),
            Sent::Nothing => Ok(None),
        }
    }

    /// The same bytes again, from their start. Not to be read while this one is.
    pub(super) fn again(&self) -> Result<std::fs::File, ServiceError> {
        self.file.try_clone().map_err(disk)
    }

    /// Takes a file that stays where it is, and hashes it. Blocks.
    pub(super) fn kept(path: &Path, progress: Arc<Progress>) -> Result<Self, ServiceError> {
        let mut file = std::fs::File::open(path).map_err(disk)?;
        let mut digest = Sha256::new();
        let mut buffer = vec![0; HASH_BYTES];
        let mut bytes = 0_u64;
        loop {
            let read = file.read(&mut buffer).map_err(disk)?;
            let Some(part) = buffer.get(..read).filter(|part| !part.is_empty()) else {
                break;
            };
            digest.update(part);
            bytes += part.len() as u64;
        }
        file.rewind().map_err(disk)?;
        progress.watch(&file, bytes);
        Ok(Spooled {
            file,
            sha256: Hash(digest.finalize().into()),
            bytes,
            progress,
            sent: Sent::This,
        })
    }

    /// Where the reading of it tells how far it has come.
    pub(super) fn progress(&self) -> Arc<Progress> {
        Arc::clone(&self.progress)
    }

    pub(super) fn into_file(self) -> std::fs::File {
        self.file
    }
}

fn disk(error: std::io::Error) -> ServiceError {
    ServiceError::Internal(format!("file of an upload: {error}"))
}
