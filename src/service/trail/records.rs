//! The proof of a record: which entries of the trail tell of it, each with its path to a
//! signed head, in one document that is checked without this server.

use super::super::{Caller, Service, ServiceError};
use super::log_keys::chain_and_changes;
use crate::accounting::factor::FactorId;
use crate::accounting::records::findings::{Act, finding_id, number_of_finding};
use crate::accounting::records::kind;
use crate::store;
use crate::store::trail::{EntryRow, Wanted};
use crate::trail::merkle::{Hash, addresses_for_inclusion, prove_inclusion};
use crate::trail::proof_file;
use crate::verify::proof::{FORMAT, Proof, ProvedEntry, ProvedRow};
use serde::{Deserialize, Serialize};
use sqlx::PgConnection;
use utoipa::ToSchema;
use uuid::Uuid;

/// Entries of one record that a proof brings, the earliest first.
const ENTRIES_MAX: u32 = 1000;

/// What a proof can be asked of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum RecordKind {
    /// An entry of the trail, by its sequence.
    Entry,
    Batch,
    /// `BATCH/LINE`
    Row,
    /// `CODE@VERSION`
    Factor,
    /// `CODE@VERSION`
    Methodology,
    Statement,
    /// `F-001`
    Finding,
    Period,
    Round,
    /// A correction, by the sequence of its entry.
    Correction,
    Site,
    /// `CODE@VERSION`
    StoveModel,
}

impl RecordKind {
    pub fn code(self) -> &'static str {
        match self {
            RecordKind::Entry => "entry",
            RecordKind::Batch => "batch",
            RecordKind::Row => "row",
            RecordKind::Factor => "factor",
            RecordKind::Methodology => "methodology",
            RecordKind::Statement => "statement",
            RecordKind::Finding => "finding",
            RecordKind::Period => "period",
            RecordKind::Round => "round",
            RecordKind::Correction => "correction",
            RecordKind::Site => "site",
            RecordKind::StoveModel => "stove_model",
        }
    }

    /// Whether an entry of this kind tells of such a record, where its subject does.
    fn is_told_by(self, entry: &str) -> bool {
        match self {
            RecordKind::Batch => [
                kind::FLAGS_RAISED,
                kind::BATCH_WITHDRAWN,
                kind::BATCH_ACCEPTED,
            ]
            .contains(&entry),
            RecordKind::Row => [kind::ROW_EXCLUDED, kind::ROW_SUPERSEDED].contains(&entry),
            RecordKind::Methodology => entry == kind::METHODOLOGY_ADDED,
            RecordKind::Statement => entry == kind::STATEMENT_MADE,
            RecordKind::Finding => Act::from_entry_kind(entry).is_some(),
            RecordKind::Period => entry.starts_with("period-"),
            RecordKind::Round => entry.starts_with("round-"),
            RecordKind::Site => entry == kind::SITE_ADDED,
            RecordKind::StoveModel => entry == kind::STOVE_MODEL_ADDED,
            RecordKind::Entry | RecordKind::Factor | RecordKind::Correction => false,
        }
    }
}

/// A record, and the size of the trail that it is proved against.
#[derive(Debug, Clone)]
pub struct ProofRequest {
    pub record: RecordKind,
    pub key: String,
    /// Absent = the whole trail.
    pub size: Option<u64>,
}

impl Service {
    /// Proves a record. Whoever is bound to sites may ask for batches and rows that they
    /// see, and is given hashes for all but the row itself.
    ///
    /// # Errors
    /// `NotFound` where there is no such record in the trail of that size.
    pub async fn record_proof(
        &self,
        caller: &Caller,
        asked: &ProofRequest,
    ) -> Result<Proof, ServiceError> {
        let (entries, row) = self.told(caller, asked).await?;
        let none = || ServiceError::not_found(asked.record.code(), &asked.key);
        let mut transaction = self.changing(caller).await?;
        let connection = &mut *transaction;
        let size = self.known_size(connection, caller, asked.size).await?;
        let entries: Vec<EntryRow> = entries.into_iter().filter(|e| e.sequence < size).collect();
        if entries.is_empty() {
            return Err(none());
        }
        let mut proof = self
            .proof_at(connection, caller, size, asked.record.code(), &asked.key)
            .await?;
        proof.row = row;
        for entry in entries {
            let proved = proved_entry(connection, caller, entry, size).await?;
            proof.entries.push(proved);
        }
        transaction.commit().await?;
        if caller.sites.is_some() {
            for entry in &mut proof.entries {
                (entry.leaf, entry.content) = (None, None);
            }
        }
        Ok(proof)
    }

    /// The entry that first tells of a record, as a C2SP `.tlog-proof`. Its extra data is
    /// the leaf, for whoever may read the trail.
    pub async fn proof_file(
        &self,
        caller: &Caller,
        asked: &ProofRequest,
    ) -> Result<String, ServiceError> {
        let proof = self.record_proof(caller, asked).await?;
        let entry = proof
            .entries
            .first()
            .ok_or_else(|| ServiceError::not_found(asked.record.code(), &asked.key))?;
        let path: Vec<Hash> = entry
            .path
            .iter()
            .map(|hash| Hash::from_hex(hash))
            .collect::<Result<_, _>>()
            .map_err(|e| ServiceError::Internal(e.to_string()))?;
        let extra = entry.leaf.as_ref().map(String::as_bytes);
        Ok(proof_file::write(
            entry.sequence,
            extra,
            &path,
            &proof.checkpoint,
        ))
    }

    /// A proof that still proves nothing: its keys and its head.
    pub(super) async fn proof_at(
        &self,
        connection: &mut PgConnection,
        caller: &Caller,
        size: u64,
        record: &str,
        key: &str,
    ) -> Result<Proof, ServiceError> {
        let note = self.cosigned_at(connection, caller, size).await?;
        let (chain, key_changes) = chain_and_changes(connection, caller.programme_id).await?;
        let first = chain.keys().next().unwrap_or_else(|| chain.current());
        Ok(Proof {
            format: FORMAT.to_owned(),
            record: record.to_owned(),
            key: key.to_owned(),
            first_key: first.to_string(),
            key_changes,
            checkpoint: note,
            entries: Vec::new(),
            row: None,
            figure: None,
        })
    }

    /// The entries that tell of a record, in order, and its place in a batch.
    async fn told(
        &self,
        caller: &Caller,
        asked: &ProofRequest,
    ) -> Result<(Vec<EntryRow>, Option<ProvedRow>), ServiceError> {
        let none = || ServiceError::not_found(asked.record.code(), &asked.key);
        let mut sequences = Vec::new();
        let mut row = None;
        let mut subject = asked.key.clone();
        match asked.record {
            RecordKind::Batch => {
                let id: Uuid = asked.key.parse().map_err(|_| none())?;
                sequences.push(self.batch(caller, id).await?.sequence);
                subject = id.to_string();
            }
            RecordKind::Row => {
                let (batch, line) = asked.key.split_once('/').ok_or_else(none)?;
                let batch: Uuid = batch.parse().map_err(|_| none())?;
                let line: u64 = line.parse().map_err(|_| none())?;
                let proof = self.row_proof(caller, batch, line).await?;
                sequences.push(proof.batch_in_trail.index);
                row = Some(proved_row(proof));
                subject = format!("{batch}/{line}");
            }
            _ => caller.must_see_every_site()?,
        }
        let mut connection = self.reading(caller).await?;
        let programme = caller.programme_id;
        match asked.record {
            RecordKind::Entry | RecordKind::Correction => {
                sequences.push(asked.key.parse().map_err(|_| none())?);
            }
            RecordKind::Factor => {
                let id: FactorId = asked.key.parse().map_err(|_| none())?;
                let known = store::library::sequence_of_factor(&mut connection, programme, &id);
                sequences.push(known.await?.ok_or_else(none)?);
            }
            RecordKind::Finding => {
                subject = finding_id(number_of_finding(&asked.key).ok_or_else(none)?);
            }
            _ => {}
        }
        let wanted = Wanted {
            kind: None,
            subject: Some(&subject),
            before: u64::MAX >> 1,
            limit: ENTRIES_MAX,
        };
        let about = store::trail::latest(&mut connection, programme, wanted).await?;
        let about = about
            .into_iter()
            .filter(|e| e.subject == subject && asked.record.is_told_by(&e.kind))
            .filter(|e| !sequences.contains(&e.sequence));
        let mut entries: Vec<EntryRow> = about.collect();
        for sequence in &sequences {
            let entry = store::trail::entries(&mut connection, programme, *sequence, 1).await?;
            entries.extend(entry.into_iter().filter(|e| e.sequence == *sequence));
        }
        if asked.record == RecordKind::Correction {
            entries.retain(|entry| kind::CORRECTIONS.contains(&entry.kind.as_str()));
        }
        entries.sort_by_key(|entry| entry.sequence);
        Ok((entries, row))
    }
}

fn proved_row(proof: super::RowProof) -> ProvedRow {
    ProvedRow {
        batch: proof.batch,
        line: proof.line,
        row: proof.row,
        index: proof.in_batch.index,
        rows: proof.in_batch.size,
        path: proof.in_batch.path,
        root: proof.in_batch.root,
        sequence: proof.batch_in_trail.index,
    }
}

/// An entry with its path to the root over `size` entries.
pub(super) async fn proved_entry(
    connection: &mut PgConnection,
    caller: &Caller,
    entry: EntryRow,
    size: u64,
) -> Result<ProvedEntry, ServiceError> {
    let broken =
        |e: String| ServiceError::Internal(format!("proof of entry {}: {e}", entry.sequence));
    let addresses =
        addresses_for_inclusion(entry.sequence, size).map_err(|e| broken(e.to_string()))?;
    let nodes = store::trail::nodes(connection, caller.programme_id, &addresses).await?;
    let path = prove_inclusion(entry.sequence, size, &nodes).map_err(|e| broken(e.to_string()))?;
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).map_err(|e| broken(e.to_string()));
    Ok(ProvedEntry {
        sequence: entry.sequence,
        leaf_hash: entry.leaf_hash.to_string(),
        leaf: Some(text(entry.leaf)?),
        content: Some(text(entry.content)?),
        path: path.iter().map(Hash::to_string).collect(),
    })
}
