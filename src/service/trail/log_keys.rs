//! The keys that sign checkpoints, and their change: a new key is kept first, then handed
//! over to in each programme's trail by an entry that both keys sign.

use super::super::{Caller, Service, ServiceError};
use crate::accounting::records::log_keys::{LogKeyChangedRecord, kind as key_kind};
use crate::accounting::records::{ProgrammeRecord, kind};
use crate::config::{self, KeyError};
use crate::store;
use crate::store::trail::NewEntry;
use crate::trail::canonical::canonical_of;
use crate::trail::key_change::{KeyChain, KeyChange};
use crate::trail::note::{NoteSigner, VerifierKey};
use serde::{Deserialize, Serialize};
use sqlx::PgConnection;
use std::path::PathBuf;
use std::sync::{PoisonError, RwLock};
use utoipa::ToSchema;
use uuid::Uuid;

/// How the trail names whoever runs the operator's commands.
const OPERATOR: &str = "operator: key change";

/// Signs the checkpoints of every programme of this server: one seed and one name a log.
/// Earlier seeds are kept, since a programme goes on with its key until its trail says
/// otherwise.
pub struct LogKeys {
    origin: String,
    /// The oldest first.
    seeds: RwLock<Vec<[u8; 32]>>,
    /// Where the seeds are kept; absent = in memory alone.
    folder: Option<PathBuf>,
}

impl LogKeys {
    /// `origin` names this server, like a URL without its scheme.
    pub fn new(origin: impl Into<String>, seed: [u8; 32]) -> Self {
        LogKeys {
            origin: origin.into(),
            seeds: RwLock::new(vec![seed]),
            folder: None,
        }
    }

    /// The keys that a data folder holds; the first one is made where there is none.
    pub fn in_folder(origin: impl Into<String>, folder: PathBuf) -> Result<Self, KeyError> {
        Ok(LogKeys {
            origin: origin.into(),
            seeds: RwLock::new(config::log_key_seeds(&folder)?),
            folder: Some(folder),
        })
    }

    pub fn origin(&self) -> &str {
        &self.origin
    }

    fn seeds(&self) -> Vec<[u8; 32]> {
        let seeds = self.seeds.read().unwrap_or_else(PoisonError::into_inner);
        seeds.clone()
    }

    fn signers(&self, programme_code: &str) -> Result<Vec<NoteSigner>, ServiceError> {
        let name = format!("{}/{programme_code}", self.origin);
        self.seeds()
            .iter()
            .map(|seed| NoteSigner::from_seed(&name, seed).map_err(broken))
            .collect()
    }

    /// The newest key of a log: what a new programme begins with.
    pub(in crate::service) fn newest(
        &self,
        programme_code: &str,
    ) -> Result<NoteSigner, ServiceError> {
        self.signers(programme_code)?
            .pop()
            .ok_or_else(|| ServiceError::Internal("there is no log key".into()))
    }

    /// The secret half of a key. Another process may have made it since: the folder is
    /// looked through once more.
    fn signer_of(
        &self,
        programme_code: &str,
        key: &VerifierKey,
    ) -> Result<NoteSigner, ServiceError> {
        let find = || -> Result<Option<NoteSigner>, ServiceError> {
            let mut signers = self.signers(programme_code)?.into_iter();
            Ok(signers.find(|signer| signer.verifier_key() == *key))
        };
        if let Some(signer) = find()? {
            return Ok(signer);
        }
        if let Some(folder) = &self.folder {
            let found = config::log_key_seeds(folder).map_err(broken)?;
            *self.seeds.write().unwrap_or_else(PoisonError::into_inner) = found;
        }
        find()?.ok_or_else(|| {
            ServiceError::Internal(format!("the secret half of the log key {key} is not here"))
        })
    }

    /// Makes a further key and keeps it.
    fn add(&self) -> Result<(), ServiceError> {
        let seed = match &self.folder {
            Some(folder) => config::add_log_key_seed(folder).map_err(broken)?,
            None => super::super::random_secret()?,
        };
        let mut seeds = self.seeds.write().unwrap_or_else(PoisonError::into_inner);
        seeds.push(seed);
        Ok(())
    }
}

fn broken(error: impl std::fmt::Display) -> ServiceError {
    ServiceError::Internal(format!("log key: {error}"))
}

/// The keys of a programme's log, as its trail tells them.
pub(in crate::service) async fn key_chain(
    connection: &mut PgConnection,
    programme_id: Uuid,
) -> Result<KeyChain, ServiceError> {
    Ok(chain_and_changes(connection, programme_id).await?.0)
}

/// The same with the notes of the changes.
pub(super) async fn chain_and_changes(
    connection: &mut PgConnection,
    programme_id: Uuid,
) -> Result<(KeyChain, Vec<String>), ServiceError> {
    let kinds = [kind::PROGRAMME_CREATED, key_kind::LOG_KEY_CHANGED];
    let entries = store::trail::of_kinds(connection, programme_id, &kinds, u64::MAX).await?;
    let mut entries = entries.into_iter();
    let first = entries
        .next()
        .ok_or_else(|| broken("the trail does not begin with its programme"))?;
    let record: ProgrammeRecord = serde_json::from_slice(&first.content).map_err(broken)?;
    let mut chain = KeyChain::new(record.checkpoint_key.parse().map_err(broken)?);
    let mut changes = Vec::new();
    for entry in entries {
        let record: LogKeyChangedRecord = serde_json::from_slice(&entry.content).map_err(broken)?;
        let root = store::trail::root(connection, programme_id, entry.sequence).await?;
        chain
            .take(&record.note, entry.sequence, root)
            .map_err(broken)?;
        changes.push(record.note);
    }
    Ok((chain, changes))
}

/// One key of a log.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct LogKeyView {
    /// C2SP verifier key.
    pub key: String,
    /// Largest checkpoint that it signs: the entry with this sequence put it out of force.
    /// Absent for the key in force.
    pub retired_at: Option<u64>,
    /// The signed note that handed over to it; absent for the first key.
    pub change: Option<String>,
}

/// What a change of key did in one programme.
#[derive(Debug, Clone)]
pub struct KeyChanged {
    pub programme: String,
    pub old_key: String,
    pub new_key: String,
    /// Entry of the trail that says so.
    pub sequence: u64,
}

impl Service {
    /// The keys of the programme's log, the oldest first; the last is in force.
    pub async fn log_keys_of(&self, caller: &Caller) -> Result<Vec<LogKeyView>, ServiceError> {
        let mut connection = self.reading(caller).await?;
        let (chain, changes) = chain_and_changes(&mut connection, caller.programme_id).await?;
        let changes = std::iter::once(None).chain(changes.into_iter().map(Some));
        let views = chain.keys().zip(changes).map(|(key, change)| LogKeyView {
            key: key.to_string(),
            retired_at: chain.retired_at(key),
            change,
        });
        Ok(views.collect())
    }

    /// What signs the checkpoint of this size: the key that was in force there, or the one
    /// in force now where the operator has put the earlier secret away.
    pub(in crate::service) async fn signer(
        &self,
        connection: &mut PgConnection,
        programme_id: Uuid,
        programme_code: &str,
        size: u64,
    ) -> Result<NoteSigner, ServiceError> {
        let chain = key_chain(connection, programme_id).await?;
        let then = chain.in_force_at(size);
        match self.log_keys.signer_of(programme_code, then) {
            Err(_) if then != chain.current() => {
                self.log_keys.signer_of(programme_code, chain.current())
            }
            signer => signer,
        }
    }

    /// Changes the key of every programme. Where an earlier change broke off, it is brought
    /// to its end instead, and no further key is made. For the operator's own commands.
    pub async fn rotate_log_key(&self) -> Result<Vec<KeyChanged>, ServiceError> {
        let finished = self.bring_to_newest_key().await?;
        if !finished.is_empty() {
            return Ok(finished);
        }
        self.log_keys.add()?;
        self.bring_to_newest_key().await
    }

    async fn bring_to_newest_key(&self) -> Result<Vec<KeyChanged>, ServiceError> {
        let programmes = {
            let mut connection = self.pool.acquire().await?;
            store::programmes::all(&mut connection).await?
        };
        let mut changed = Vec::new();
        for programme in programmes {
            let mut transaction = self.pool.begin().await?;
            let (id, code) = (programme.programme_id, programme.code);
            let size = store::trail::lock(&mut transaction, id).await?;
            let old = self.signer(&mut transaction, id, &code, size).await?;
            let new = self.log_keys.newest(&code)?;
            if old.verifier_key() == new.verifier_key() {
                continue;
            }
            let root = store::trail::root(&mut transaction, id, size).await?;
            let record = LogKeyChangedRecord {
                old_key: old.verifier_key().to_string(),
                new_key: new.verifier_key().to_string(),
                note: KeyChange::sign(size, root, &old, &new).map_err(broken)?,
            };
            let entry = NewEntry {
                kind: key_kind::LOG_KEY_CHANGED,
                subject: &code,
                content: &canonical_of(&record).map_err(broken)?,
                actor: OPERATOR,
                reason: None,
                now: self.now(),
            };
            let sequence = store::trail::append(&mut transaction, id, &entry).await?;
            transaction.commit().await?;
            changed.push(KeyChanged {
                programme: code,
                old_key: record.old_key,
                new_key: record.new_key,
                sequence,
            });
        }
        Ok(changed)
    }
}
