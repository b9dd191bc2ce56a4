//! The frame of every write: one transaction, one trail entry, one answer however
//! often it is asked.

use super::{Caller, Service, ServiceError};
use crate::store;
use crate::store::idempotency::Claim;
use crate::store::trail::NewEntry;
use crate::trail::canonical::canonical_of;
use crate::trail::merkle::{Hash, sha256};
use serde::Serialize;
use serde::de::DeserializeOwned;
use sqlx::{PgConnection, Postgres, Transaction};

/// Makes a repeated request harmless.
///
/// With a key, the answer of the first success is given to each repeat; the same
/// key with another request is refused. A failed request leaves no trace.
#[derive(Debug, Clone)]
pub struct Once {
    key: Option<String>,
    operation: String,
    fingerprint: Hash,
}

impl Once {
    /// `key` is the client's `Idempotency-Key`; `operation` and `request` say what it asks for.
    pub fn new(key: Option<String>, operation: impl Into<String>, request: &[u8]) -> Self {
        Once {
            key,
            operation: operation.into(),
            fingerprint: sha256(request),
        }
    }

    /// For callers that make sure of it by other means.
    pub fn unkeyed() -> Self {
        Once::new(None, "", b"")
    }
}

/// A write under way: dropped without [`Writing::finish`], nothing happened.
pub(super) struct Writing {
    pub transaction: Transaction<'static, Postgres>,
    key: Option<String>,
}

/// Either the write goes ahead, or it was answered before.
pub(super) enum Begun<T> {
    Go(Writing),
    Answered(T),
}

impl Service {
    /// Opens the transaction and claims the key; does not yet take the write lock.
    pub(super) async fn begin<T: DeserializeOwned>(
        &self,
        caller: &Caller,
        once: &Once,
    ) -> Result<Begun<T>, ServiceError> {
        caller.must_write()?;
        let mut transaction = self.changing(caller).await?;
        if let Some(key) = &once.key {
            let claim = store::idempotency::claim(
                &mut transaction,
                caller.programme_id,
                key,
                &once.operation,
                &once.fingerprint.0,
                self.now(),
            )
            .await?;
            match claim {
                Claim::New => {}
                Claim::Answered(body) => {
                    let answer = serde_json::from_str(&body)
                        .map_err(|e| ServiceError::Internal(format!("kept answer: {e}")))?;
                    return Ok(Begun::Answered(answer));
                }
                Claim::Reused => {
                    return Err(ServiceError::Conflict {
                        code: "key_reused",
                        detail: "the Idempotency-Key was used for a different request".into(),
                    });
                }
            }
        }
        Ok(Begun::Go(Writing {
            transaction,
            key: once.key.clone(),
        }))
    }

    /// Runs `work` as the programme's only writer and keeps its answer.
    pub(super) async fn write<T, F>(
        &self,
        caller: &Caller,
        once: &Once,
        work: F,
    ) -> Result<T, ServiceError>
    where
        T: Serialize + DeserializeOwned,
        F: AsyncFnOnce(&mut PgConnection) -> Result<T, ServiceError>,
    {
        let mut writing = match self.begin(caller, once).await? {
            Begun::Answered(answer) => return Ok(answer),
            Begun::Go(writing) => writing,
        };
        store::trail::lock(&mut writing.transaction, caller.programme_id).await?;
        let answer = work(&mut writing.transaction).await?;
        writing.finish(caller, answer).await
    }

    /// Appends `content` to the caller's trail; returns the entry's sequence.
    pub(super) async fn log<C: Serialize>(
        &self,
        connection: &mut PgConnection,
        caller: &Caller,
        kind: &str,
        subject: &str,
        content: &C,
    ) -> Result<u64, ServiceError> {
        let content = canonical_of(content)
            .map_err(|e| ServiceError::Internal(format!("record of {subject}: {e}")))?;
        self.log_bytes(connection, caller, kind, subject, &content)
            .await
    }

    /// The same with the reason that the caller gives for it.
    pub(super) async fn log_for_reason<C: Serialize>(
        &self,
        connection: &mut PgConnection,
        caller: &Caller,
        (kind, subject): (&str, &str),
        content: &C,
        reason: &str,
    ) -> Result<u64, ServiceError> {
        let content = canonical_of(content)
            .map_err(|e| ServiceError::Internal(format!("record of {subject}: {e}")))?;
        let entry = NewEntry {
            kind,
            subject,
            content: &content,
            actor: &caller.actor(),
            reason: Some(reason),
            now: self.now(),
        };
        Ok(store::trail::append(connection, caller.programme_id, &entry).await?)
    }

    /// The same for content that is canonical JSON already.
    pub(super) async fn log_bytes(
        &self,
        connection: &mut PgConnection,
        caller: &Caller,
        kind: &str,
        subject: &str,
        content: &[u8],
    ) -> Result<u64, ServiceError> {
        let entry = NewEntry {
            kind,
            subject,
            content,
            actor: &caller.actor(),
            reason: None,
            now: self.now(),
        };
        Ok(store::trail::append(connection, caller.programme_id, &entry).await?)
    }
}

impl Writing {
    /// Keeps the answer for repeats and commits.
    pub async fn finish<T: Serialize>(
        mut self,
        caller: &Caller,
        answer: T,
    ) -> Result<T, ServiceError> {
        if let Some(key) = &self.key {
            let body = serde_json::to_string(&answer)
                .map_err(|e| ServiceError::Internal(format!("answer: {e}")))?;
            store::idempotency::remember(&mut self.transaction, caller.programme_id, key, &body)
                .await?;
        }
        self.transaction.commit().await?;
        Ok(answer)
    }
}
