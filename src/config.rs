//! One typed configuration, from the command line and the environment.

use clap::{Args, ValueEnum};
use std::net::SocketAddr;
use std::path::{Path, PathBuf};

/// Where the program keeps things and where it listens.
#[derive(Debug, Clone, Args)]
pub struct Config {
    /// PostgreSQL to use; without it a private one is started under the data folder.
    #[arg(long, env = "DATABASE_URL", hide_env_values = true)]
    pub database_url: Option<String>,
    /// Folder of the private PostgreSQL, of the key that signs checkpoints, and of uploads on their way.
    #[arg(long, env = "EMBERBOOK_DATA", default_value = ".emberbook")]
    pub data: PathBuf,
    /// Address to serve on.
    #[arg(long, env = "EMBERBOOK_ADDR", default_value = "127.0.0.1:7420")]
    pub addr: SocketAddr,
    /// Name of this server's logs, like a URL without its scheme; part of every checkpoint.
    #[arg(long, env = "EMBERBOOK_ORIGIN", default_value = "localhost/emberbook")]
    pub origin: String,
    /// Connections to PostgreSQL at the most.
    #[arg(long, env = "EMBERBOOK_CONNECTIONS", default_value_t = 16)]
    pub connections: u32,
    /// Bytes that one uploaded file may have.
    #[arg(long, env = "EMBERBOOK_UPLOAD_BYTES", default_value_t = 512 * 1024 * 1024)]
    pub upload_bytes: u64,
    /// Bytes that the uploads of one programme may hold at a time, until their jobs are done.
    #[arg(long, env = "EMBERBOOK_UPLOAD_QUOTA_BYTES", default_value_t = 2 * 1024 * 1024 * 1024)]
    pub upload_quota_bytes: u64,
    /// Hours that an upload may take, breaks included; then it is cleared away.
    #[arg(long, env = "EMBERBOOK_UPLOAD_HOURS", default_value_t = 48)]
    pub upload_hours: u32,
    /// Jobs that this server works on at a time; 0 leaves them to other servers.
    #[arg(long, env = "EMBERBOOK_JOB_WORKERS", default_value_t = 2)]
    pub job_workers: usize,
    /// Seconds after which a job whose worker is silent is taken by another one.
    #[arg(long, env = "EMBERBOOK_JOB_LEASE_SECONDS", default_value_t = 30,
          value_parser = clap::value_parser!(u64).range(1..=3600))]
    pub job_lease_seconds: u64,
    /// Who sees to row-level security: `service` works under a role of its own, which it
    /// makes at the start; `operator` says that you see to it, and works as the user of
    /// the database URL.
    #[arg(long, env = "EMBERBOOK_ROW_SECURITY", default_value = "service")]
    pub row_security: RowSecurity,
}

/// Who sees to row-level security, the second wall between programmes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, ValueEnum)]
pub enum RowSecurity {
    /// The service itself: it makes its role at the start and works under it.
    #[default]
    Service,
    /// The operator of the database: the service works as the user that it connects as.
    Operator,
}

/// The signing key's file is unusable.
#[derive(Debug, thiserror::Error)]
pub enum KeyError {
    #[error("the key file {path} cannot be read or written: {source}")]
    File {
        path: PathBuf,
        source: std::io::Error,
    },
    #[error("the key file {0} does not hold 64 hexadecimal digits")]
    Form(PathBuf),
    #[error("the system gave no random bytes: {0}")]
    Random(String),
}

/// Reads the seed of the log key, or makes one that only its owner can read.
///
/// Whoever holds the file can sign heads; back it up, and keep it from the database.
pub fn log_key_seed(data: &Path) -> Result<[u8; 32], KeyError> {
    let path = data.join("log-key.hex");
    let file_error = |source| KeyError::File {
        path: path.clone(),
        source,
    };
    match std::fs::read_to_string(&path) {
        Ok(text) => hex::decode(text.trim())
            .ok()
            .and_then(|bytes| bytes.try_into().ok())
            .ok_or_else(|| KeyError::Form(path.clone())),
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => {
            std::fs::create_dir_all(data).map_err(file_error)?;
            let mut seed = [0; 32];
            getrandom::fill(&mut seed).map_err(|e| KeyError::Random(e.to_string()))?;
            write_private(&path, &hex::encode(seed)).map_err(file_error)?;
            Ok(seed)
        }
        Err(error) => Err(file_error(error)),
    }
}

/// Writes a new file that only its owner can read; refuses to replace one.
fn write_private(path: &Path, text: &str) -> std::io::Result<()> {
    use std::io::Write;
    use std::os::unix::fs::OpenOptionsExt;
    let mut file = std::fs::OpenOptions::new()
        .write(true)
        .create_new(true)
        .mode(0o600)
        .open(path)?;
    writeln!(file, "{text}")?;
    file.sync_all()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_key_is_made_once_and_only_its_owner_can_read_it() {
        use std::os::unix::fs::PermissionsExt;
        let folder = tempfile::tempdir().unwrap();
        let first = log_key_seed(folder.path()).unwrap();
        assert_eq!(log_key_seed(folder.path()).unwrap(), first);
        let file = folder.path().join("log-key.hex");
        assert_eq!(
            std::fs::metadata(&file).unwrap().permissions().mode() & 0o777,
            0o600
        );
        std::fs::write(&file, "not a key").unwrap();
        assert!(matches!(
            log_key_seed(folder.path()),
            Err(KeyError::Form(_))
        ));
    }
}
