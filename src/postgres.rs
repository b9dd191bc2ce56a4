//! The private PostgreSQL of demo, tests and small offices: one server for one
//! data folder, reached only through a Unix socket in a folder that nobody
//! else may open, gone when its owner is gone.
//!
//! | file | subject |
//! | --- | --- |
//! | `account.rs` | the system account that the server runs as |
//! | `installation.rs` | where this machine keeps PostgreSQL's programs |
//! | `folders.rs` | what lies where in the data folder |
//! | `process.rs` | PostgreSQL's programs as commands of that account |
//! | `keeper.rs` | starting, watching and stopping the server |
//! | `error.rs` | what can go wrong, in words that say what to do |

mod account;
mod error;
mod folders;
mod installation;
mod keeper;
mod process;
#[cfg(test)]
mod tests;

pub use error::PostgresError;

use account::Account;
use folders::{DataFolder, ServerNote, SocketFolder};
use installation::Installation;
use keeper::Keeper;
use process::{Program, ServerHome};
use sqlx::{AssertSqlSafe, Connection, PgConnection};
use std::path::{Path, PathBuf};

/// PostgreSQL's own name for the error "database already exists".
const DUPLICATE_DATABASE: &str = "42P04";

/// The database user that owns everything in the private server.
const USER: &str = "emberbook";

/// How a private server is run.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ServerOptions {
    /// Whether a commit outlives a power cut. Only tests may give this up, for speed.
    pub durable: bool,
}

impl Default for ServerOptions {
    fn default() -> Self {
        Self { durable: true }
    }
}

/// A running private PostgreSQL. Dropping it stops the server; if this process
/// is killed instead, Linux stops the server in its place.
#[derive(Debug)]
pub struct PrivatePostgres {
    // Declared in the order of their end: the server first, then its socket, then the claim.
    keeper: Keeper,
    socket: SocketFolder,
    folder: DataFolder,
}

impl PrivatePostgres {
    /// Starts a durable server on `data_folder`, making folder and cluster where missing.
    ///
    /// Blocks for about a second the first time, less later, and longer after a
    /// crash, when the server first replays its log: call it outside of an async task.
    ///
    /// # Errors
    /// See [`PostgresError`].
    pub fn start(data_folder: &Path) -> Result<Self, PostgresError> {
        Self::start_with(data_folder, ServerOptions::default())
    }

    /// Starts a server on `data_folder` with chosen options.
    ///
    /// # Errors
    /// See [`PostgresError`].
    pub fn start_with(data_folder: &Path, options: ServerOptions) -> Result<Self, PostgresError> {
        let folder = DataFolder::claim(data_folder)?;
        let account = Account::for_cluster(&folder.cluster())?;
        let installation = Installation::find(folder.cluster_version()?)?;
        let program = Program::new(account, installation);
        if !folder.has_cluster() {
            program.make_cluster(&folder, options)?;
        }
        let socket = SocketFolder::prepare(&folder, program.account())?;
        let home = ServerHome::open(folder.cluster(), program.account())?;
        let keeper = Keeper::start(program, home, &folder, &socket, options)?;
        Ok(Self {
            keeper,
            socket,
            folder,
        })
    }

    /// The connection URL of one of the server's databases; `postgres` is always there.
    #[must_use]
    pub fn url(&self, database: &str) -> String {
        url_through(self.socket.path(), database)
    }

    /// The connection URL of a database of the server that another process runs on
    /// `data_folder`; nothing where none seems to run there.
    #[must_use]
    pub fn url_where_it_runs(data_folder: &Path, database: &str) -> Option<String> {
        let note = ServerNote::read(&data_folder.join("cluster"))?;
        note.ready.then(|| url_through(&note.socket, database))
    }

    /// The folder of PostgreSQL's programs on this machine: those of the cluster in
    /// `data_folder` where there is one, else the newest.
    ///
    /// # Errors
    /// When they are not installed.
    pub fn programs(data_folder: &Path) -> Result<PathBuf, PostgresError> {
        let cluster = data_folder.join("cluster");
        let version = std::fs::read_to_string(cluster.join("PG_VERSION")).ok();
        let made_by = version.and_then(|text| Some((cluster, text.trim().parse().ok()?)));
        Ok(Installation::find(made_by)?.folder().to_owned())
    }

    /// Makes a database, unless one of that name is there already.
    ///
    /// # Errors
    /// When the name is not made of small letters, digits and underscores with a
    /// letter first, or when the server refuses.
    pub async fn create_database(&self, name: &str) -> Result<(), PostgresError> {
        if !is_plain_name(name) {
            return Err(PostgresError::DatabaseName(name.to_owned()));
        }
        let refused = |source: sqlx::Error| PostgresError::CreateDatabase {
            name: name.to_owned(),
            source: Box::new(source),
        };
        let mut connection = PgConnection::connect(&self.url("postgres"))
            .await
            .map_err(refused)?;
        // A database name cannot be a bound parameter; the check above leaves nothing to quote.
        let statement = AssertSqlSafe(format!("create database \"{name}\""));
        let outcome = match sqlx::query(statement).execute(&mut connection).await {
            Err(sqlx::Error::Database(error))
                if error.code().as_deref() == Some(DUPLICATE_DATABASE) =>
            {
                Ok(())
            }
            other => other.map(|_| ()).map_err(refused),
        };
        connection.close().await.map_err(refused)?;
        outcome
    }

    /// The folder that the server keeps its data in.
    #[must_use]
    pub fn data_folder(&self) -> &Path {
        self.folder.path()
    }

    /// Process id of the server.
    #[must_use]
    pub fn process_id(&self) -> u32 {
        self.keeper.process_id()
    }

    /// Stops the server: open transactions are rolled back, everything committed is on
    /// disk, and the next start has nothing to recover.
    ///
    /// # Errors
    /// When the server had already died or had to be forced.
    pub fn stop(mut self) -> Result<(), PostgresError> {
        self.keeper.stop()
    }
}

fn url_through(socket: &Path, database: &str) -> String {
    // Port and TLS are spelt out because the client library would otherwise take
    // them from PGPORT and PGSSLMODE, which speak of some other server.
    format!(
        "postgres://{USER}@localhost:5432/{}?host={}&sslmode=disable",
        percent_encode(database.as_bytes()),
        percent_encode(socket.as_os_str().as_encoded_bytes()),
    )
}

fn is_plain_name(name: &str) -> bool {
    let plain = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '_';
    name.len() <= 63
        && name.starts_with(|c: char| c.is_ascii_lowercase())
        && name.chars().all(plain)
}

/// Percent-encodes everything but the unreserved characters of RFC 3986.
fn percent_encode(bytes: &[u8]) -> String {
    bytes.iter().fold(String::new(), |mut text, &byte| {
        if byte.is_ascii_alphanumeric() || b"-._~".contains(&byte) {
            text.push(char::from(byte));
        } else {
            text.push_str(&format!("%{byte:02X}"));
        }
        text
    })
}
