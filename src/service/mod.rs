//! Use cases: one function for each thing that a user does.
//!
//! A use case opens the transaction, asks the store, calls the pure rooms,
//! appends to the trail and commits: all of it or nothing.

pub mod access;
pub mod batches;
pub mod demo;
mod error;
pub mod evidence;
pub mod export;
mod known_tokens;
pub mod library;
pub mod overview;
pub mod periods;
pub mod programmes;
pub mod register;
pub mod rounds;
pub mod statements;
pub mod trail;
pub mod upload;
mod write;

pub use error::{FieldProblem, ServiceError};
pub use write::Once;

use crate::trail::merkle::Hash;
use chrono::{DateTime, Utc};
use sqlx::PgPool;
use std::sync::Arc;
use uuid::Uuid;

/// Passed in, so that a test can hold the time still.
pub type Clock = Arc<dyn Fn() -> DateTime<Utc> + Send + Sync>;

/// The program behind its HTTP face: cheap to clone.
#[derive(Clone)]
pub struct Service {
    pool: PgPool,
    clock: Clock,
    log_keys: Arc<trail::LogKeys>,
    known_tokens: Arc<known_tokens::KnownTokens>,
}

impl Service {
    pub fn new(pool: PgPool, log_keys: trail::LogKeys, clock: Clock) -> Self {
        Service {
            pool,
            clock,
            log_keys: Arc::new(log_keys),
            known_tokens: Arc::default(),
        }
    }

    fn now(&self) -> DateTime<Utc> {
        (self.clock)()
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

/// What a token allows in its programme.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, serde::Serialize, serde::Deserialize, utoipa::ToSchema,
)]
#[serde(rename_all = "snake_case")]
pub enum Role {
    /// Everything in the programme.
    Manager,
    /// Reads, and uploads evidence.
    Monitor,
    /// Reads everything, changes nothing.
    Verifier,
}

impl Role {
    pub fn code(self) -> &'static str {
        match self {
            Role::Manager => "manager",
            Role::Monitor => "monitor",
            Role::Verifier => "verifier",
        }
    }

    fn from_code(code: &str) -> Option<Self> {
        [Role::Manager, Role::Monitor, Role::Verifier]
            .into_iter()
            .find(|role| role.code() == code)
    }
}

/// Who asks, and in which programme.
#[derive(Debug, Clone)]
pub struct Caller {
    pub programme_id: Uuid,
    pub programme_code: String,
    pub programme_name: String,
    pub token_id: Uuid,
    pub role: Role,
    pub label: String,
}

impl Caller {
    /// How the trail names the caller.
    fn actor(&self) -> String {
        format!("{}: {}", self.role.code(), self.label)
    }

    fn must_be(&self, allowed: &[Role]) -> Result<(), ServiceError> {
        if allowed.contains(&self.role) {
            Ok(())
        } else {
            let names: Vec<&str> = allowed.iter().map(|role| role.code()).collect();
            Err(ServiceError::Forbidden(format!(
                "this needs the role {}; the token's role is {}",
                names.join(" or "),
                self.role.code()
            )))
        }
    }

    fn must_manage(&self) -> Result<(), ServiceError> {
        self.must_be(&[Role::Manager])
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
