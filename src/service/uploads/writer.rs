//! Taking the bytes of an upload: one writer at a time, the newest; synced before it counts.

use super::{UploadView, begin_job, disk, may_upload, view};
use crate::service::upload::Spooled;
use crate::service::{Caller, Service, ServiceError};
use crate::store;
use crate::store::uploads::UploadRow;
use futures_util::{Stream, StreamExt};
use sha1::Sha1;
use sha2::{Digest, Sha256};
use std::collections::HashMap;
use std::fmt::Display;
use std::io::SeekFrom;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;
use tokio::fs::{File, OpenOptions};
use tokio::io::{AsyncSeekExt, AsyncWriteExt};
use tokio::sync::OwnedMutexGuard;
use tokio_util::io::ReaderStream;
use tokio_util::sync::CancellationToken;
use uuid::Uuid;

/// Bytes after which a long part is synced and counted before it ends.
const SYNC_BYTES: u64 = 4 * 1024 * 1024;

/// A line that brings nothing for so long is taken for dead.
const SILENCE_MAX: Duration = Duration::from_secs(60);

/// A part of an upload as its request describes it.
#[derive(Debug)]
pub struct Part {
    /// Where it begins in the file.
    pub offset: u64,
    /// Its length, where the request says it.
    pub bytes: Option<u64>,
    pub checksum: Option<Checksum>,
}

/// What the bytes of a part must come to, so that it is kept.
#[derive(Debug)]
pub enum Checksum {
    Sha1(Vec<u8>),
    Sha256(Vec<u8>),
}

enum Hasher {
    Sha1(Sha1, Vec<u8>),
    Sha256(Sha256, Vec<u8>),
}

impl Hasher {
    fn new(checksum: Checksum) -> Self {
        match checksum {
            Checksum::Sha1(expected) => Hasher::Sha1(Sha1::new(), expected),
            Checksum::Sha256(expected) => Hasher::Sha256(Sha256::new(), expected),
        }
    }

    fn update(&mut self, bytes: &[u8]) {
        match self {
            Hasher::Sha1(digest, _) => digest.update(bytes),
            Hasher::Sha256(digest, _) => digest.update(bytes),
        }
    }

    fn holds(self) -> bool {
        match self {
            Hasher::Sha1(digest, expected) => digest.finalize()[..] == expected[..],
            Hasher::Sha256(digest, expected) => digest.finalize()[..] == expected[..],
        }
    }
}

/// Who writes to which upload. A client whose line broke comes back before the server knows
/// of the break, so the newest request stops the earlier one instead of being refused.
#[derive(Debug, Default)]
pub(super) struct AtWork(Arc<Mutex<HashMap<Uuid, Writer>>>);

#[derive(Debug, Default)]
struct Writer {
    stop: CancellationToken,
    turn: Arc<tokio::sync::Mutex<()>>,
}

/// Held by the one who may touch the file of an upload.
pub(super) struct Turn {
    stop: CancellationToken,
    at_work: Arc<Mutex<HashMap<Uuid, Writer>>>,
    upload_id: Uuid,
    guard: Option<OwnedMutexGuard<()>>,
}

impl AtWork {
    /// Stops whoever writes to the upload, and waits until they have let go of it.
    pub async fn turn(&self, upload_id: Uuid) -> Turn {
        let (stop, turn) = {
            let mut writers = self.0.lock().unwrap_or_else(PoisonError::into_inner);
            let writer = writers.entry(upload_id).or_default();
            writer.stop.cancel();
            writer.stop = CancellationToken::new();
            (writer.stop.clone(), Arc::clone(&writer.turn))
        };
        Turn {
            stop,
            at_work: Arc::clone(&self.0),
            upload_id,
            guard: Some(turn.lock_owned().await),
        }
    }
}

impl Drop for Turn {
    fn drop(&mut self) {
        let mut writers = self.at_work.lock().unwrap_or_else(PoisonError::into_inner);
        // The map's own and this guard's: nobody waits.
        let alone = writers
            .get(&self.upload_id)
            .is_some_and(|writer| Arc::strong_count(&writer.turn) == 2);
        if alone {
            writers.remove(&self.upload_id);
        }
        self.guard = None;
    }
}

impl Service {
    /// Takes a part of an upload. What arrived before a break is kept, but for a part with a
    /// checksum, which is kept whole or not at all. The last byte begins the job.
    ///
    /// # Errors
    /// `Conflict` with the code `wrong_offset` where the part does not begin at the offset, or
    /// `checksum_mismatch`; `BrokenUpload`; `TooLarge` past the length that was announced.
    pub async fn append_upload<S, B, E>(
        &self,
        caller: &Caller,
        id: Uuid,
        part: Part,
        stream: S,
    ) -> Result<UploadView, ServiceError>
    where
        S: Stream<Item = Result<B, E>> + Send + 'static,
        B: AsRef<[u8]> + Send + 'static,
        E: Display + Send + 'static,
    {
        may_upload(caller)?;
        caller.must_write()?;
        self.visible_upload(caller, id).await?;
        let turn = self.desk.at_work.turn(id).await;
        let row = self.durable_upload(caller, id).await?;
        if part.offset != row.offset_bytes {
            return Err(ServiceError::conflict(
                "wrong_offset",
                format!(
                    "the upload goes on at byte {}, not at {}",
                    row.offset_bytes, part.offset
                ),
            ));
        }
        let limit_bytes = row.length_bytes - row.offset_bytes;
        if part.bytes.is_some_and(|bytes| bytes > limit_bytes) {
            return Err(ServiceError::TooLarge { limit_bytes });
        }
        if limit_bytes == 0 {
            return Ok(view(row));
        }
        // A task of its own: where the request is given up, what arrived is still counted.
        let receiving = Receiving {
            service: self.clone(),
            caller: caller.clone(),
            row,
            turn,
            hasher: part.checksum.map(Hasher::new),
        };
        tokio::spawn(receiving.run(stream))
            .await
            .map_err(|e| ServiceError::Internal(format!("an upload's writer stopped: {e}")))?
    }
}

impl Service {
    /// Fills an upload that has just begun with a whole file.
    pub async fn fill_upload(
        &self,
        caller: &Caller,
        id: Uuid,
        file: Spooled,
    ) -> Result<UploadView, ServiceError> {
        let part = Part {
            offset: 0,
            bytes: Some(file.bytes),
            checksum: None,
        };
        let stream = ReaderStream::new(File::from_std(file.into_file()));
        self.append_upload(caller, id, part, stream).await
    }
}

/// A part on its way to the disk.
struct Receiving {
    service: Service,
    caller: Caller,
    row: UploadRow,
    turn: Turn,
    hasher: Option<Hasher>,
}

impl Receiving {
    async fn run<S, B, E>(mut self, stream: S) -> Result<UploadView, ServiceError>
    where
        S: Stream<Item = Result<B, E>>,
        B: AsRef<[u8]>,
        E: Display,
    {
        let mut file = self.open().await.map_err(|e| disk(&e))?;
        let mut at = self.row.offset_bytes;
        let outcome = self.receive(&mut file, &mut at, stream).await;
        if let Some(hasher) = self.hasher.take() {
            if outcome.is_err() {
                // Nothing of it was counted, and the next part cuts it off.
                at = self.row.offset_bytes;
            } else if !hasher.holds() {
                return Err(ServiceError::conflict(
                    "checksum_mismatch",
                    "the part's bytes do not come to its checksum; nothing of it was kept",
                ));
            }
        }
        self.count(&mut file, at).await?;
        outcome?;
        Ok(view(self.row))
    }

    /// Opens the file at the offset and cuts off what was never counted.
    async fn open(&self) -> std::io::Result<File> {
        let path = self.service.desk.path(self.row.upload_id);
        let folder = &self.service.desk.settings.folder;
        tokio::fs::create_dir_all(folder).await?;
        let mut options = OpenOptions::new();
        options.write(true).create(true).truncate(false).mode(0o600);
        let mut file = options.open(&path).await?;
        if self.row.offset_bytes == 0 {
            // The name of the file is to be as durable as its bytes.
            File::open(folder).await?.sync_all().await?;
        }
        file.set_len(self.row.offset_bytes).await?;
        file.seek(SeekFrom::Start(self.row.offset_bytes)).await?;
        Ok(file)
    }

    /// Writes until the stream ends; `at` is where the written bytes end.
    async fn receive<S, B, E>(
        &mut self,
        file: &mut File,
        at: &mut u64,
        stream: S,
    ) -> Result<(), ServiceError>
    where
        S: Stream<Item = Result<B, E>>,
        B: AsRef<[u8]>,
        E: Display,
    {
        let mut stream = std::pin::pin!(stream);
        let stop = self.turn.stop.clone();
        loop {
            let chunk = tokio::select! {
                biased;
                () = stop.cancelled() => {
                    return Err(broken("another request goes on with the upload"));
                }
                chunk = tokio::time::timeout(SILENCE_MAX, stream.next()) => match chunk {
                    Ok(chunk) => chunk,
                    Err(_) => return Err(broken("the line brought nothing for too long")),
                },
            };
            let chunk = match chunk {
                None => return Ok(()),
                Some(Ok(chunk)) => chunk,
                Some(Err(error)) => return Err(broken(error)),
            };
            let chunk = chunk.as_ref();
            let room = self.row.length_bytes - *at;
            if chunk.len() as u64 > room {
                return Err(ServiceError::TooLarge { limit_bytes: room });
            }
            file.write_all(chunk).await.map_err(|e| disk(&e))?;
            *at += chunk.len() as u64;
            match &mut self.hasher {
                Some(hasher) => hasher.update(chunk),
                None if *at - self.row.offset_bytes >= SYNC_BYTES => self.count(file, *at).await?,
                None => {}
            }
        }
    }

    /// Syncs the file, and only then moves the offset; where that makes the upload whole, its
    /// job begins in the same commit.
    async fn count(&mut self, file: &mut File, at: u64) -> Result<(), ServiceError> {
        if at == self.row.offset_bytes {
            return Ok(());
        }
        file.flush().await.map_err(|e| disk(&e))?;
        file.sync_data().await.map_err(|e| disk(&e))?;
        let programme = self.caller.programme_id;
        let id = self.row.upload_id;
        let mut transaction = self.service.changing(&self.caller).await?;
        let from = self.row.offset_bytes;
        if !store::uploads::advance(&mut transaction, programme, id, from, at).await? {
            return Err(ServiceError::conflict(
                "wrong_offset",
                "another server goes on with the upload",
            ));
        }
        let whole = at == self.row.length_bytes;
        if whole {
            begin_job(
                &mut transaction,
                &self.caller,
                &self.row,
                self.service.now(),
            )
            .await?;
        }
        transaction.commit().await?;
        self.row.offset_bytes = at;
        if whole {
            self.service.job_waits.notify_one();
        }
        Ok(())
    }
}

fn broken(why: impl Display) -> ServiceError {
    ServiceError::BrokenUpload(why.to_string())
}
