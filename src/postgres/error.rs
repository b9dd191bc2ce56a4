//! What can go wrong with the private PostgreSQL, in words that say what to do.

use std::io;
use std::path::{Path, PathBuf};

/// Why the private PostgreSQL is not there.
#[derive(Debug, thiserror::Error)]
pub enum PostgresError {
    #[error(
        "PostgreSQL {minimum} or later is not installed on this machine; install the server: \
         on Debian or Ubuntu `apt-get install postgresql`, on Fedora `dnf install postgresql-server`, \
         on macOS `brew install postgresql` (or set DATABASE_URL to a server that you already have)"
    )]
    NotInstalled { minimum: u32 },

    #[error(
        "the cluster in {folder} was made by PostgreSQL {made_by}, which is not installed here \
         (found: {found}); install version {made_by}, or choose another data folder"
    )]
    OtherVersion {
        folder: PathBuf,
        made_by: u32,
        found: String,
    },

    #[error("the data folder {folder} is in use by another emberbook (process {holder})")]
    InUse { folder: PathBuf, holder: String },

    #[error(
        "another PostgreSQL (process {process}) already runs on {folder}; stop it first, \
         for example with `kill -INT {process}`"
    )]
    AlreadyRunning { folder: PathBuf, process: u32 },

    #[error(
        "PostgreSQL refuses to run as root, and this machine has no account `postgres` or `nobody` \
         to run it as; make one, or start emberbook as another user"
    )]
    NoAccount,

    #[error(
        "the cluster in {folder} belongs to user {owner}; start emberbook as that user, \
         or choose another data folder"
    )]
    OtherOwner { folder: PathBuf, owner: u32 },

    #[error(
        "{folder} holds files but no PostgreSQL cluster; move them away, or choose another data folder"
    )]
    NotACluster { folder: PathBuf },

    #[error(
        "the account `{account}` that PostgreSQL runs as cannot reach {folder}, because a folder \
         above it is closed to others; choose a data folder outside of it"
    )]
    Unreachable { folder: PathBuf, account: String },

    #[error("found no folder for the server's socket whose path is short and open enough")]
    NoSocketFolder,

    #[error("cannot {action} {path}: {source}")]
    Folder {
        action: &'static str,
        path: PathBuf,
        source: io::Error,
    },

    #[error("cannot run {program}: {source}")]
    CannotRun { program: PathBuf, source: io::Error },

    #[error("PostgreSQL could not make its cluster in {folder}:\n{output}")]
    MakeCluster { folder: PathBuf, output: String },

    #[error("PostgreSQL did not start; the end of {log}:\n{tail}")]
    DidNotStart { log: PathBuf, tail: String },

    #[error("PostgreSQL was not ready after {seconds} seconds; the end of {log}:\n{tail}")]
    NotReady {
        seconds: u64,
        log: PathBuf,
        tail: String,
    },

    #[error("PostgreSQL did not end cleanly ({ending}); it recovers by itself at the next start")]
    UncleanEnd { ending: String },

    #[error(
        "`{0}` cannot name a database: use small letters, digits and underscores, a letter first, \
         63 characters at most"
    )]
    DatabaseName(String),

    #[error("cannot make the database {name}: {source}")]
    CreateDatabase {
        name: String,
        source: Box<sqlx::Error>,
    },
}

impl PostgresError {
    /// Turns an I/O error on `path` into one that names what was tried.
    pub(super) fn folder(action: &'static str, path: &Path) -> impl FnOnce(io::Error) -> Self {
        let path = path.to_owned();
        move |source| Self::Folder {
            action,
            path,
            source,
        }
    }
}
