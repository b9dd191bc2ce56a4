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
    /// Folder of the private PostgreSQL, of the keys that sign checkpoints, and of uploads on their way.
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

/// Reads the seeds of the log's keys, the oldest first, or makes the first one. Only their
/// owner can read them.
///
/// Whoever holds the newest file can sign heads; back them up, and keep them from the database.
pub fn log_key_seeds(data: &Path) -> Result<Vec<[u8; 32]>, KeyError> {
    let mut seeds = Vec::new();
    loop {
        let path = log_key_file(data, seeds.len() + 1);
        match std::fs::read_to_string(&path) {
            Ok(text) => seeds.push(
                hex::decode(text.trim())
                    .ok()
                    .and_then(|bytes| bytes.try_into().ok())
                    .ok_or(KeyError::Form(path))?,
            ),
            Err(error) if error.kind() == std::io::ErrorKind::NotFound => break,
            Err(source) => return Err(KeyError::File { path, source }),
        }
    }
    if seeds.is_empty() {
        seeds.push(new_log_key_seed(data, 1)?);
    }
    Ok(seeds)
}

/// Makes a further seed and keeps it beside the earlier ones.
pub fn add_log_key_seed(data: &Path) -> Result<[u8; 32], KeyError> {
    let number = log_key_seeds(data)?.len() + 1;
    new_log_key_seed(data, number)
}

fn log_key_file(data: &Path, number: usize) -> PathBuf {
    data.join(match number {
        1 => "log-key.hex".to_owned(),
        later => format!("log-key-{later}.hex"),
    })
}

fn new_log_key_seed(data: &Path, number: usize) -> Result<[u8; 32], KeyError> {
    let path = log_key_file(data, number);
    let mut seed = [0; 32];
    getrandom::fill(&mut seed).map_err(|e| KeyError::Random(e.to_string()))?;
    std::fs::create_dir_all(data)
        .and_then(|()| write_private(&path, &hex::encode(seed)))
        .map_err(|source| KeyError::File { path, source })?;
    Ok(seed)
}

/// Writes a new file that only its owner can read; refuses to replace one.
pub fn write_private(path: &Path, text: &str) -> std::io::Result<()> {
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
        let first = log_key_seeds(folder.path()).unwrap();
        assert_eq!(first.len(), 1);
        assert_eq!(log_key_seeds(folder.path()).unwrap(), first);
        let second = add_log_key_seed(folder.path()).unwrap();
        assert_eq!(log_key_seeds(folder.path()).unwrap(), [first[0], second]);
        for name in ["log-key.hex", "log-key-2.hex"] {
            let mode = std::fs::metadata(folder.path().join(name))
                .unwrap()
                .permissions()
                .mode();
            assert_eq!(mode & 0o777, 0o600, "{name}");
        }
        std::fs::write(folder.path().join("log-key-2.hex"), "not a key").unwrap();
        assert!(matches!(
            log_key_seeds(folder.path()),
            Err(KeyError::Form(_))
        ));
    }
}
