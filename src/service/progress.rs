//! How far a piece of long work has come, told by the work and read by whoever keeps its job.

use super::ServiceError;
use crate::store::jobs::ProgressRow;
use std::fs::File;
use std::io::Seek;
use std::sync::OnceLock;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};

/// Percent that stand for reading, and for reading and checking; writing is the rest.
const READING: u64 = 70;
const CHECKED: u8 = 85;
const WRITTEN: u8 = 99;

/// Shared between the work and its keeper.
#[derive(Debug, Default)]
pub struct Progress {
    rows_read: AtomicU64,
    rows_checked: AtomicU64,
    rows_written: AtomicU64,
    stop: AtomicBool,
    /// The file that is read and its length. The copy shares its position with the reader.
    file: OnceLock<(File, u64)>,
}

impl Progress {
    /// Tells how far a file of `bytes` was read, by the position that its reader has.
    pub(super) fn watch(&self, file: &File, bytes: u64) {
        if let Ok(copy) = file.try_clone() {
            // A second file of the same work would be told by the first one's position.
            let _ = self.file.set((copy, bytes.max(1)));
        }
    }

    /// One more row was read; false where the work is to stop.
    pub(super) fn read_row(&self) -> bool {
        self.rows_read.fetch_add(1, Ordering::Relaxed);
        !self.stop.load(Ordering::Relaxed)
    }

    /// The rows were checked. The last place to stop at: what follows is written.
    ///
    /// # Errors
    /// `Conflict` with the code `cancelled` where the work is to stop.
    pub(super) fn checked(&self, rows: u64) -> Result<(), ServiceError> {
        if self.stop.load(Ordering::Relaxed) {
            return Err(ServiceError::conflict(
                "cancelled",
                "the work was cancelled; nothing of it was kept",
            ));
        }
        self.rows_checked.store(rows, Ordering::Relaxed);
        Ok(())
    }

    pub(super) fn wrote(&self, rows: u64) {
        self.rows_written.store(rows, Ordering::Relaxed);
    }

    pub(super) fn stop(&self) {
        self.stop.store(true, Ordering::Relaxed);
    }

    pub(super) fn is_stopped(&self) -> bool {
        self.stop.load(Ordering::Relaxed)
    }

    /// What to show of it now.
    pub(super) fn snapshot(&self) -> ProgressRow {
        let row = ProgressRow {
            rows_read: self.rows_read.load(Ordering::Relaxed),
            rows_checked: self.rows_checked.load(Ordering::Relaxed),
            rows_written: self.rows_written.load(Ordering::Relaxed),
            percent: 0,
        };
        let percent = match (row.rows_written, row.rows_checked) {
            (1.., _) => WRITTEN,
            (0, 1..) => CHECKED,
            (0, 0) if row.rows_read == 0 => 0,
            (0, 0) => self.read_percent(),
        };
        ProgressRow { percent, ..row }
    }

    fn read_percent(&self) -> u8 {
        let Some((file, bytes)) = self.file.get() else {
            return 0;
        };
        let mut file = file;
        let at = file.stream_position().unwrap_or(0).min(*bytes);
        u8::try_from(at.saturating_mul(READING) / bytes).unwrap_or(0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::io::{Read, Write};

    #[test]
    fn percent_follows_the_reader_and_then_the_stages() {
        let mut file = tempfile::tempfile().unwrap();
        file.write_all(&[b'x'; 1_000]).unwrap();
        file.rewind().unwrap();
        let progress = Progress::default();
        progress.watch(&file, 1_000);
        assert_eq!(progress.snapshot().percent, 0);
        file.read_exact(&mut [0; 500]).unwrap();
        assert!(progress.read_row());
        assert_eq!(progress.snapshot().percent, 35);
        progress.checked(1).unwrap();
        assert_eq!(progress.snapshot().percent, CHECKED);
        progress.wrote(1);
        let end = progress.snapshot();
        assert_eq!((end.percent, end.rows_written), (WRITTEN, 1));
    }

    #[test]
    fn stopped_work_learns_it_at_the_next_row_and_before_it_writes() {
        let progress = Progress::default();
        assert!(progress.read_row());
        progress.stop();
        assert!(!progress.read_row());
        let refused = progress.checked(2).unwrap_err();
        assert!(matches!(
            refused,
            ServiceError::Conflict {
                code: "cancelled",
                ..
            }
        ));
        assert_eq!(progress.snapshot().rows_checked, 0);
    }
}
