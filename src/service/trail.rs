//! Reading and proving the trail: entries, signed heads, inclusion, consistency.

mod figure;
mod log_keys;
mod records;
mod witnesses;

pub(in crate::service) use log_keys::key_chain;
pub use log_keys::{KeyChanged, LogKeyView, LogKeys};
pub use records::{ProofRequest, RecordKind};
pub(in crate::service) use witnesses::cosigned_notes;
pub use witnesses::{CosignatureView, NewCosignature, NewWitness, WitnessView};

use super::{Caller, Service, ServiceError};
use crate::intake::BatchKind;
use crate::store;
use crate::store::trail::Wanted;
use crate::trail::checkpoint::Checkpoint;
use crate::trail::merkle::{
    Hash, Leaves, addresses_for_consistency, addresses_for_inclusion, prove_consistency,
    prove_inclusion,
};
use serde::{Deserialize, Serialize};
use sqlx::PgConnection;
use utoipa::ToSchema;
use uuid::Uuid;

/// One entry as the log holds it. `leaf` is the canonical JSON that was hashed.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct EntryView {
    pub sequence: u64,
    pub kind: String,
    pub subject: String,
    pub actor: String,
    pub at: chrono::DateTime<chrono::Utc>,
    pub reason: Option<String>,
    pub leaf: String,
    pub leaf_hash: String,
    /// SHA-256 of the content's canonical JSON.
    pub content_hash: String,
    /// The content itself, where it was asked for.
    #[schema(value_type = Option<Object>)]
    pub content: Option<serde_json::Value>,
}

#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct InclusionProof {
    pub index: u64,
    pub size: u64,
    pub leaf_hash: String,
    /// Sibling hashes from the leaf up, lower-case hex.
    pub path: Vec<String>,
    pub root: String,
}

#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct ConsistencyProof {
    pub old_size: u64,
    pub new_size: u64,
    pub old_root: String,
    pub new_root: String,
    pub path: Vec<String>,
}

/// A row's path to its batch's root, and the batch's path to the trail's head.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct RowProof {
    pub batch: Uuid,
    pub line: u64,
    /// Canonical JSON of the row: what its leaf hash is over.
    pub row: String,
    pub in_batch: InclusionProof,
    pub batch_in_trail: InclusionProof,
}

impl Service {
    /// Entries from `from` on, at most `limit`.
    pub async fn trail_entries(
        &self,
        caller: &Caller,
        from: u64,
        limit: u32,
        with_content: bool,
    ) -> Result<Vec<EntryView>, ServiceError> {
        caller.must_see_every_site()?;
        self.entries(caller, from, limit, with_content).await
    }

    async fn entries(
        &self,
        caller: &Caller,
        from: u64,
        limit: u32,
        with_content: bool,
    ) -> Result<Vec<EntryView>, ServiceError> {
        let mut connection = self.reading(caller).await?;
        let rows = store::trail::entries(&mut connection, caller.programme_id, from, limit).await?;
        rows.into_iter()
            .map(|row| entry_view(row, with_content))
            .collect()
    }

    pub async fn trail_entry(
        &self,
        caller: &Caller,
        sequence: u64,
    ) -> Result<EntryView, ServiceError> {
        self.trail_entries(caller, sequence, 1, true)
            .await?
            .pop()
            .filter(|entry| entry.sequence == sequence)
            .ok_or_else(|| ServiceError::not_found("trail entry", sequence))
    }

    /// The entry that accepted a batch, for whoever may see the batch.
    pub async fn entry_of_batch(
        &self,
        caller: &Caller,
        batch_id: Uuid,
    ) -> Result<EntryView, ServiceError> {
        let sequence = self.batch(caller, batch_id).await?.sequence;
        self.entries(caller, sequence, 1, true)
            .await?
            .pop()
            .ok_or_else(|| ServiceError::not_found("trail entry", sequence))
    }

    /// Entries with their contents, the latest first, below `before`: of one kind, or about
    /// one record and its parts.
    pub async fn trail_history(
        &self,
        caller: &Caller,
        kind: Option<&str>,
        subject: Option<&str>,
        before: u64,
        limit: u32,
    ) -> Result<Vec<EntryView>, ServiceError> {
        caller.must_see_every_site()?;
        let wanted = Wanted {
            kind,
            subject,
            before: before.min(u64::MAX >> 1),
            limit,
        };
        let mut connection = self.reading(caller).await?;
        let rows = store::trail::latest(&mut connection, caller.programme_id, wanted).await?;
        rows.into_iter().map(|row| entry_view(row, true)).collect()
    }

    /// The signed head of the trail as it stands, or as it was at `size` entries, with the
    /// cosignatures on it.
    ///
    /// # Errors
    /// `NotFound` where the trail is not that long.
    pub async fn checkpoint(
        &self,
        caller: &Caller,
        size: Option<u64>,
    ) -> Result<String, ServiceError> {
        // A size that was never asked for before is signed, and the note kept.
        let mut transaction = self.changing(caller).await?;
        let have = store::trail::size(&mut transaction, caller.programme_id).await?;
        let size = size.unwrap_or(have);
        if size == 0 || size > have {
            return Err(ServiceError::not_found("checkpoint", size));
        }
        let note = self.cosigned_at(&mut transaction, caller, size).await?;
        transaction.commit().await?;
        Ok(note)
    }

    async fn cosigned_at(
        &self,
        connection: &mut PgConnection,
        caller: &Caller,
        size: u64,
    ) -> Result<String, ServiceError> {
        let note = self.checkpoint_at(connection, caller, size).await?;
        Ok(note + &witnesses::lines_of(connection, caller.programme_id, size).await?)
    }

    pub(super) async fn checkpoint_at(
        &self,
        connection: &mut PgConnection,
        caller: &Caller,
        size: u64,
    ) -> Result<String, ServiceError> {
        if let Some(note) =
            store::trail::checkpoint_note(connection, caller.programme_id, size).await?
        {
            return Ok(note);
        }
        let root = store::trail::root(connection, caller.programme_id, size).await?;
        let signer = self
            .signer(
                connection,
                caller.programme_id,
                &caller.programme_code,
                size,
            )
            .await?;
        let checkpoint = Checkpoint {
            origin: signer.name().to_owned(),
            size,
            root,
        };
        let note = checkpoint.sign(&signer);
        store::trail::insert_checkpoint(connection, caller.programme_id, size, &note).await?;
        // Another request may have signed it first, with the key of its moment.
        let kept = store::trail::checkpoint_note(connection, caller.programme_id, size).await?;
        Ok(kept.unwrap_or(note))
    }

    /// Proves that entry `index` is in the tree of the first `size` entries (default: all).
    pub async fn inclusion(
        &self,
        caller: &Caller,
        index: u64,
        size: Option<u64>,
    ) -> Result<InclusionProof, ServiceError> {
        let mut connection = self.reading(caller).await?;
        let size = self.known_size(&mut connection, caller, size).await?;
        inclusion_in_trail(&mut connection, caller, index, size).await
    }

    /// Proves that the first `old_size` entries still begin the trail of `new_size` entries.
    pub async fn consistency(
        &self,
        caller: &Caller,
        old_size: u64,
        new_size: Option<u64>,
    ) -> Result<ConsistencyProof, ServiceError> {
        let mut connection = self.reading(caller).await?;
        let new_size = self.known_size(&mut connection, caller, new_size).await?;
        if old_size == 0 || old_size > new_size {
            return Err(ServiceError::invalid(
                "old_size",
                format!("must be from 1 to the newer size, {new_size}"),
            ));
        }
        let addresses = addresses_for_consistency(old_size, new_size)
            .map_err(|e| ServiceError::invalid("old_size", e.to_string()))?;
        let programme_id = caller.programme_id;
        let nodes = store::trail::nodes(&mut connection, programme_id, &addresses).await?;
        let path = prove_consistency(old_size, new_size, &nodes)
            .map_err(|e| ServiceError::Internal(format!("consistency proof: {e}")))?;
        Ok(ConsistencyProof {
            old_size,
            new_size,
            old_root: store::trail::root(&mut connection, programme_id, old_size)
                .await?
                .to_string(),
            new_root: store::trail::root(&mut connection, programme_id, new_size)
                .await?
                .to_string(),
            path: path.iter().map(Hash::to_string).collect(),
        })
    }

    /// Proves one row of a batch up to the head of the trail.
    pub async fn row_proof(
        &self,
        caller: &Caller,
        batch_id: Uuid,
        line: u64,
    ) -> Result<RowProof, ServiceError> {
        let mut connection = self.reading(caller).await?;
        let batch = store::batches::by_id(&mut connection, caller.programme_id, batch_id)
            .await?
            .ok_or_else(|| ServiceError::not_found("batch", batch_id))?;
        let kind: BatchKind = batch
            .record
            .kind
            .parse()
            .map_err(|e| ServiceError::Internal(format!("{e}")))?;
        let no_row = || ServiceError::not_found("row", format!("{batch_id}/{line}"));
        let row = store::rows::of_batch(
            &mut connection,
            caller.programme_id,
            kind,
            batch_id,
            line.saturating_sub(1),
            1,
            caller.sites.as_deref(),
        )
        .await?
        .into_iter()
        .find(|row| row.line == line)
        .ok_or_else(no_row)?;
        let hashes =
            store::rows::hashes_of_batch(&mut connection, caller.programme_id, kind, batch_id)
                .await?;
        let index = hashes
            .iter()
            .position(|(l, _)| *l == line)
            .ok_or_else(no_row)? as u64;
        let hashes: Vec<Hash> = hashes.into_iter().map(|(_, hash)| hash).collect();
        let size = hashes.len() as u64;
        let path = prove_inclusion(index, size, &Leaves(&hashes))
            .map_err(|e| ServiceError::Internal(format!("row proof: {e}")))?;
        let head = store::trail::size(&mut connection, caller.programme_id).await?;
        Ok(RowProof {
            batch: batch_id,
            line,
            row: super::evidence::canonical_row(kind, &row)?,
            in_batch: InclusionProof {
                index,
                size,
                leaf_hash: row.row_hash.to_string(),
                path: path.iter().map(Hash::to_string).collect(),
                root: batch.record.root,
            },
            batch_in_trail: inclusion_in_trail(&mut connection, caller, batch.sequence, head)
                .await?,
        })
    }

    async fn known_size(
        &self,
        connection: &mut PgConnection,
        caller: &Caller,
        asked: Option<u64>,
    ) -> Result<u64, ServiceError> {
        let size = store::trail::size(connection, caller.programme_id).await?;
        match asked {
            Some(asked) if asked > size => Err(ServiceError::invalid(
                "size",
                format!("the trail has {size} entries, not {asked}"),
            )),
            Some(asked) => Ok(asked),
            None => Ok(size),
        }
    }
}

async fn inclusion_in_trail(
    connection: &mut PgConnection,
    caller: &Caller,
    index: u64,
    size: u64,
) -> Result<InclusionProof, ServiceError> {
    let addresses = addresses_for_inclusion(index, size)
        .map_err(|_| ServiceError::not_found("trail entry", index))?;
    let nodes = store::trail::nodes(connection, caller.programme_id, &addresses).await?;
    let path = prove_inclusion(index, size, &nodes)
        .map_err(|e| ServiceError::Internal(format!("inclusion proof: {e}")))?;
    let entry = store::trail::entries(connection, caller.programme_id, index, 1)
        .await?
        .pop()
        .ok_or_else(|| ServiceError::not_found("trail entry", index))?;
    Ok(InclusionProof {
        index,
        size,
        leaf_hash: entry.leaf_hash.to_string(),
        path: path.iter().map(Hash::to_string).collect(),
        root: store::trail::root(connection, caller.programme_id, size)
            .await?
            .to_string(),
    })
}

fn entry_view(row: store::trail::EntryRow, with_content: bool) -> Result<EntryView, ServiceError> {
    let unreadable =
        |e: String| ServiceError::Internal(format!("trail entry {}: {e}", row.sequence));
    let content = if with_content {
        Some(serde_json::from_slice(&row.content).map_err(|e| unreadable(e.to_string()))?)
    } else {
        None
    };
    Ok(EntryView {
        sequence: row.sequence,
        kind: row.kind,
        subject: row.subject,
        actor: row.actor,
        at: row.at,
        reason: row.reason,
        leaf: String::from_utf8(row.leaf).map_err(|e| unreadable(e.to_string()))?,
        leaf_hash: row.leaf_hash.to_string(),
        content_hash: row.content_hash.to_string(),
        content,
    })
}
