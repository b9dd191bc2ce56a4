//! What lies where in the data folder:
//!
//! | name | what |
//! | --- | --- |
//! | `cluster/` | PostgreSQL's own data, owned by the account that the server runs as |
//! | `socket/` | the Unix socket, unless its path would be too long or out of reach |
//! | `server.log`, `server.log.1` | what the server said in this run and the one before |
//! | `lock` | names the process that uses the folder |

use super::PostgresError;
use super::account::Account;
use std::fs::{DirBuilder, File, OpenOptions, TryLockError};
use std::io::{Read, Seek, Write};
use std::os::unix::fs::{DirBuilderExt, OpenOptionsExt, PermissionsExt};
use std::path::{Path, PathBuf};
use std::time::Duration;

/// What the operating systems allow for a socket's path, less its ending zero.
const LONGEST_SOCKET_PATH: usize = 103;
const SOCKET_NAME: &str = ".s.PGSQL.5432.lock";

/// A data folder that this process alone uses, for as long as the value lives.
#[derive(Debug)]
pub(super) struct DataFolder {
    path: PathBuf,
    // Held for its lock, which the operating system drops with it.
    _lock: File,
}

impl DataFolder {
    /// Makes the folder where missing and takes it for this process.
    pub(super) fn claim(path: &Path) -> Result<Self, PostgresError> {
        // Others may pass through but not look: the server's account must reach its cluster.
        let mut builder = DirBuilder::new();
        builder.recursive(true).mode(0o711);
        builder
            .create(path)
            .map_err(PostgresError::folder("make the folder", path))?;
        let path = path
            .canonicalize()
            .map_err(PostgresError::folder("open", path))?;
        let lock = lock(&path)?;
        Ok(Self { path, _lock: lock })
    }

    pub(super) fn path(&self) -> &Path {
        &self.path
    }

    pub(super) fn cluster(&self) -> PathBuf {
        self.path.join("cluster")
    }

    /// Where a cluster is made before it takes its name, so that a half-made one never has it.
    pub(super) fn unfinished_cluster(&self) -> PathBuf {
        self.path.join("cluster.unfinished")
    }

    pub(super) fn has_cluster(&self) -> bool {
        self.cluster().exists()
    }

    /// The folder and major version of the cluster, or nothing where none was made yet.
    pub(super) fn cluster_version(&self) -> Result<Option<(PathBuf, u32)>, PostgresError> {
        let cluster = self.cluster();
        if !cluster.exists() {
            return Ok(None);
        }
        let version = std::fs::read_to_string(cluster.join("PG_VERSION")).ok();
        match version.and_then(|text| text.trim().parse().ok()) {
            Some(major) => Ok(Some((cluster, major))),
            None => Err(PostgresError::NotACluster { folder: cluster }),
        }
    }

    pub(super) fn log(&self) -> PathBuf {
        self.path.join("server.log")
    }

    /// Opens a new log, keeping the one of the run before.
    pub(super) fn open_log(&self) -> Result<File, PostgresError> {
        let log = self.log();
        if log.exists() {
            std::fs::rename(&log, self.path.join("server.log.1"))
                .map_err(PostgresError::folder("rename", &log))?;
        }
        OpenOptions::new()
            .append(true)
            .create(true)
            .mode(0o600)
            .open(&log)
            .map_err(PostgresError::folder("write", &log))
    }
}

fn lock(folder: &Path) -> Result<File, PostgresError> {
    let path = folder.join("lock");
    let mut file = OpenOptions::new()
        .read(true)
        .write(true)
        .create(true)
        .truncate(false)
        .mode(0o600)
        .open(&path)
        .map_err(PostgresError::folder("open", &path))?;
    let outcome = match lock_patiently(&file) {
        Ok(()) => file
            .set_len(0)
            .and_then(|()| file.rewind())
            .and_then(|()| write!(file, "{}", std::process::id())),
        Err(TryLockError::WouldBlock) => {
            let mut holder = String::new();
            // Who holds it only completes the sentence: an unreadable name must not hide it.
            if file.read_to_string(&mut holder).is_err() || holder.is_empty() {
                holder = "unknown".to_owned();
            }
            return Err(PostgresError::InUse {
                folder: folder.to_owned(),
                holder,
            });
        }
        Err(TryLockError::Error(error)) => Err(error),
    };
    outcome.map_err(PostgresError::folder("lock", &path))?;
    Ok(file)
}

/// A program that this one starts holds a copy of every open file for the moment between its
/// fork and its exec, and with it a lock that was let go just then.
fn lock_patiently(file: &File) -> Result<(), TryLockError> {
    const TRIES: u32 = 20;
    for _ in 1..TRIES {
        match file.try_lock() {
            Err(TryLockError::WouldBlock) => std::thread::sleep(Duration::from_millis(25)),
            outcome => return outcome,
        }
    }
    file.try_lock()
}

/// The folder of the server's socket, which only the server's account may enter.
#[derive(Debug)]
pub(super) enum SocketFolder {
    InDataFolder(PathBuf),
    /// Removed when the value is dropped.
    Temporary(tempfile::TempDir),
}

impl SocketFolder {
    /// Takes `socket/` in the data folder, or a new folder under the system's
    /// temporary ones where the first is too deep or out of the account's reach.
    pub(super) fn prepare(folder: &DataFolder, account: &Account) -> Result<Self, PostgresError> {
        let beside = folder.path().join("socket");
        if fits(&beside) && account.can_reach(folder.path()) {
            if !beside.exists() {
                DirBuilder::new()
                    .mode(0o700)
                    .create(&beside)
                    .map_err(PostgresError::folder("make the folder", &beside))?;
            }
            account.give(&beside)?;
            return Ok(Self::InDataFolder(beside));
        }
        for parent in [std::env::temp_dir(), "/tmp".into(), "/var/tmp".into()] {
            if !account.can_reach(&parent) {
                continue;
            }
            let made = tempfile::Builder::new()
                .prefix("emberbook-")
                .permissions(std::fs::Permissions::from_mode(0o700))
                .tempdir_in(&parent);
            if let Ok(made) = made
                && fits(made.path())
            {
                account.give(made.path())?;
                return Ok(Self::Temporary(made));
            }
        }
        Err(PostgresError::NoSocketFolder)
    }

    pub(super) fn path(&self) -> &Path {
        match self {
            Self::InDataFolder(path) => path,
            Self::Temporary(folder) => folder.path(),
        }
    }
}

fn fits(folder: &Path) -> bool {
    folder.join(SOCKET_NAME).as_os_str().len() <= LONGEST_SOCKET_PATH
}

/// What a running server writes about itself into its cluster.
#[derive(Debug, PartialEq, Eq)]
pub(super) struct ServerNote {
    pub(super) process: u32,
    pub(super) ready: bool,
    /// The folder of its socket.
    pub(super) socket: PathBuf,
}

impl ServerNote {
    /// Reads `postmaster.pid`: the process on line 1, its socket on line 5, its state on
    /// line 8.
    pub(super) fn read(cluster: &Path) -> Option<Self> {
        Self::parse(&std::fs::read_to_string(cluster.join("postmaster.pid")).ok()?)
    }

    fn parse(text: &str) -> Option<Self> {
        let mut lines = text.lines();
        let process = lines.next()?.trim().parse().ok()?;
        let socket = PathBuf::from(lines.nth(3).unwrap_or_default());
        let ready = lines.nth(2).is_some_and(|state| state.trim() == "ready");
        Some(Self {
            process,
            ready,
            socket,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_server_note_tells_a_starting_server_from_a_ready_one() {
        let starting = "10058\n/data\n1795598187\n5432\n/run\n\n 10020429         9\nstarting\n";
        let ready = starting.replace("starting", "ready   ");
        let note = |ready| {
            Some(ServerNote {
                process: 10058,
                ready,
                socket: "/run".into(),
            })
        };
        assert_eq!(ServerNote::parse(starting), note(false));
        assert_eq!(ServerNote::parse(&ready), note(true));
        let early = ServerNote::parse("10058\n/data\n");
        assert!(early.is_some_and(|note| note.process == 10058 && !note.ready));
        assert_eq!(ServerNote::parse(""), None);
    }

    #[test]
    fn a_second_claim_of_a_folder_names_the_first() {
        let parent = tempfile::tempdir().unwrap();
        let first = DataFolder::claim(parent.path()).unwrap();
        let error = DataFolder::claim(parent.path()).unwrap_err().to_string();
        assert!(
            error.contains(&format!("process {}", std::process::id())),
            "{error}"
        );
        drop(first);
        DataFolder::claim(parent.path()).unwrap();
    }

    #[test]
    fn a_socket_path_stays_below_what_the_system_allows() {
        assert!(fits(Path::new("/home/someone/emberbook/.emberbook/socket")));
        assert!(!fits(&Path::new("/").join("a".repeat(90))));
    }
}
