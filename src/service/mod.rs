//! Use cases: one function for each thing that a user does.
//!
//! A use case opens the transaction, asks the store, calls the pure rooms,
//! appends to the trail and commits: all of it or nothing.

pub mod access;
pub mod audit;
pub mod batches;
mod brake;
pub mod browser;
pub mod caller;
pub mod comparison;
pub mod corrections;
pub mod demo;
pub mod denials;
pub mod drawn_rounds;
mod error;
pub mod evidence;
pub mod export;
pub mod factor_uses;
pub mod findings;
pub mod flags;
pub mod forms;
pub mod jobs;
pub mod library;
pub mod mappings;
pub mod measured;
pub mod opinions;
pub mod overview;
mod passwords;
pub mod people;
pub mod periods;
pub mod programmes;
mod progress;
pub mod register;
pub mod report;
pub mod rounds;
mod screening;
pub mod statements;
pub mod tokens;
pub mod trail;
pub mod upload;
pub mod uploads;
pub mod workers;
mod write;

pub use caller::{Caller, Role};
pub use error::{FieldProblem, ServiceError};
pub use write::Once;

use crate::config::RowSecurity;
use crate::trail::merkle::Hash;
use chrono::{DateTime, Utc};
use sqlx::{PgPool, Postgres, Transaction};
use std::sync::Arc;
use std::sync::atomic::AtomicU64;
use uuid::Uuid;

/// Passed in, so that a test can hold the time still.
pub type Clock = Arc<dyn Fn() -> DateTime<Utc> + Send + Sync>;

/// The program behind its HTTP face: cheap to clone.
#[derive(Clone)]
pub struct Service {
    pool: PgPool,
    clock: Clock,
    log_keys: Arc<trail::LogKeys>,
    upload_bytes_max: u64,
    row_security: RowSecurity,
    passwords: Arc<passwords::Passwords>,
    brake: Arc<brake::Brake>,
    denied: Arc<AtomicU64>,
    desk: Arc<uploads::Desk>,
    /// Told when a job begins to wait on this server.
    job_waits: Arc<tokio::sync::Notify>,
    stopping: tokio_util::sync::CancellationToken,
}

impl Service {
    pub fn new(pool: PgPool, log_keys: trail::LogKeys, clock: Clock) -> Self {
        Service {
            pool,
            clock,
            log_keys: Arc::new(log_keys),
            upload_bytes_max: upload::UPLOAD_BYTES_MAX,
            row_security: RowSecurity::Service,
            passwords: Arc::default(),
            brake: Arc::default(),
            denied: Arc::default(),
            desk: Arc::new(uploads::Desk::new(uploads::UploadSettings::in_folder(
                std::env::temp_dir().join(format!("emberbook-{}", std::process::id())),
            ))),
            job_waits: Arc::default(),
            stopping: tokio_util::sync::CancellationToken::new(),
        }
    }

    /// Works as [`store::prepare`](crate::store::prepare) was told to.
    #[must_use]
    pub fn with_row_security(self, row_security: RowSecurity) -> Self {
        Service {
            row_security,
            ..self
        }
    }

    /// Takes uploads of other sizes than [`upload::UPLOAD_BYTES_MAX`].
    #[must_use]
    pub fn with_upload_limit(self, bytes: u64) -> Self {
        Service {
            upload_bytes_max: bytes,
            ..self
        }
    }

    /// Keeps uploads on their way as `settings` say; without them, in the system's folder for
    /// what may be lost.
    #[must_use]
    pub fn with_uploads(self, settings: uploads::UploadSettings) -> Self {
        Service {
            desk: Arc::new(uploads::Desk::new(settings)),
            ..self
        }
    }

    /// Bytes that one upload may have.
    pub fn upload_bytes_max(&self) -> u64 {
        self.upload_bytes_max
    }

    /// What the service's clock shows.
    pub fn time(&self) -> DateTime<Utc> {
        self.now()
    }

    fn now(&self) -> DateTime<Utc> {
        (self.clock)()
    }

    /// A transaction that reads the caller's programme, behind the second wall. Dropped when
    /// the reading is done. Every use case that only reads begins with it.
    async fn reading(
        &self,
        caller: &Caller,
    ) -> Result<Transaction<'static, Postgres>, ServiceError> {
        Ok(self
            .row_security
            .reading(&self.pool, caller.programme_id)
            .await?)
    }

    /// A transaction that changes the caller's programme, behind the second wall, and is
    /// committed by whoever asked for it. What goes into the trail uses `write` instead.
    async fn changing(
        &self,
        caller: &Caller,
    ) -> Result<Transaction<'static, Postgres>, ServiceError> {
        Ok(self
            .row_security
            .changing(&self.pool, caller.programme_id)
            .await?)
    }

    /// Tells those who follow something without end that the server is about to stop.
    pub fn announce_stop(&self) {
        self.stopping.cancel();
    }

    /// Waits for that.
    pub async fn stop_announced(&self) {
        self.stopping.cancelled().await;
    }

    /// Lets go of the database; requests still under way fail.
    pub async fn close(&self) {
        self.pool.close().await;
    }

    /// Answers whether the database can be reached.
    pub async fn ready(&self) -> Result<(), ServiceError> {
        sqlx::Connection::ping(&mut *self.pool.acquire().await?).await?;
        Ok(())
    }
}

/// 32 bytes that nobody can guess.
fn random_secret() -> Result<[u8; 32], ServiceError> {
    let mut secret = [0; 32];
    getrandom::fill(&mut secret)
        .map_err(|e| ServiceError::Internal(format!("no randomness: {e}")))?;
    Ok(secret)
}

/// An id that is the same wherever the same things are named.
fn id_of(parts: &[&str]) -> Uuid {
    let mut text = "emberbook".to_owned();
    for part in parts {
        text.push('\n');
        text.push_str(part);
    }
    let Hash(digest) = crate::trail::merkle::sha256(text.as_bytes());
    let mut first = [0; 16];
    first.copy_from_slice(&digest[..16]);
    uuid::Builder::from_custom_bytes(first).into_uuid()
}

/// Works out on a thread of its own what would keep other requests waiting.
async fn apart<T: Send + 'static>(
    what: &str,
    work: impl FnOnce() -> T + Send + 'static,
) -> Result<T, ServiceError> {
    tokio::task::spawn_blocking(work)
        .await
        .map_err(|e| ServiceError::Internal(format!("{what}: {e}")))
}
