//! Witnesses, whose cosignatures on checkpoints hold the log to one history.

use super::super::{Caller, Once, Role, Service, ServiceError};
use crate::accounting::records::log_keys::{WitnessRecord, kind};
use crate::store;
use crate::store::cosignatures::CosignatureRow;
use crate::trail::cosignature::{WitnessKey, signed_text};
use crate::trail::note::NoteError;
use chrono::{DateTime, SubsecRound, Utc};
use serde::{Deserialize, Serialize};
use sqlx::PgConnection;
use utoipa::ToSchema;
use uuid::Uuid;

/// Witnesses that one trail may have: a checkpoint with all of them under it must stay a
/// note that anybody reads.
const WITNESSES_MAX: usize = 64;

/// Seconds that a witness's clock may be ahead of ours.
const AHEAD_SECONDS_MAX: i64 = 300;

/// A witness's key, to be registered.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewWitness {
    /// C2SP verifier key of type 4, as `emberbook witness-key` prints it.
    #[schema(example = "auditor.example+1b2c3d4e+BA0…")]
    pub key: String,
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct WitnessView {
    pub key: String,
    pub name: String,
    /// Trail entry that registers it.
    pub sequence: u64,
    pub registered_by: String,
    pub registered_at: DateTime<Utc>,
}

/// A cosignature, to be kept.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewCosignature {
    /// One signature line of a signed note, as `emberbook cosign` prints it.
    #[schema(example = "— auditor.example jWbPPw…")]
    pub cosignature: String,
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct CosignatureView {
    /// Entries that the checkpoint is over.
    pub size: u64,
    pub witness: String,
    /// C2SP verifier key of the witness.
    pub key: String,
    /// When the witness says that it signed.
    pub cosigned_at: Option<DateTime<Utc>>,
    /// The signature line under the checkpoint.
    pub cosignature: String,
    pub sent_by: String,
    pub received_at: DateTime<Utc>,
}

impl Service {
    /// Registers a witness, as an entry of the trail.
    ///
    /// # Errors
    /// `Invalid` where the key is none of a witness or has the log's own name; `Conflict`
    /// where it is registered, or its name is.
    pub async fn register_witness(
        &self,
        caller: &Caller,
        once: &Once,
        new: &NewWitness,
    ) -> Result<WitnessView, ServiceError> {
        caller.must_be(&[Role::Manager, Role::Verifier])?;
        let key: WitnessKey = new
            .key
            .trim()
            .parse()
            .map_err(|e: NoteError| ServiceError::invalid("key", e.to_string()))?;
        self.write(caller, once, async |connection| {
            let chain = super::key_chain(connection, caller.programme_id).await?;
            if key.name() == chain.current().name() {
                return Err(ServiceError::invalid(
                    "key",
                    "has the name of the log itself",
                ));
            }
            let known = registered(connection, caller.programme_id).await?;
            if known.iter().any(|each| each.name == key.name()) {
                return Err(ServiceError::conflict(
                    "witness_known",
                    format!("a witness named {} is registered already", key.name()),
                ));
            }
            if known.len() >= WITNESSES_MAX {
                return Err(ServiceError::conflict(
                    "witnesses_full",
                    format!("the trail has {WITNESSES_MAX} witnesses, as many as it takes"),
                ));
            }
            let record = WitnessRecord {
                key: key.to_string(),
            };
            let what = kind::WITNESS_REGISTERED;
            let sequence = self
                .log(connection, caller, what, key.name(), &record)
                .await?;
            let entries =
                store::trail::entries(connection, caller.programme_id, sequence, 1).await?;
            let mut views = entries.into_iter().map(witness_view);
            views
                .next()
                .ok_or_else(|| ServiceError::Internal("the witness was not kept".into()))?
        })
        .await
    }

    /// The registered witnesses, in trail order.
    pub async fn witnesses(&self, caller: &Caller) -> Result<Vec<WitnessView>, ServiceError> {
        let mut connection = self.reading(caller).await?;
        registered(&mut connection, caller.programme_id).await
    }

    /// Keeps a cosignature on the checkpoint of a size.
    ///
    /// # Errors
    /// `Invalid` where it is of no registered witness, does not fit the checkpoint, or is of
    /// a time to come; `Conflict` where the witness has cosigned this checkpoint at another
    /// time; `NotFound` where the trail is not that long.
    pub async fn cosign(
        &self,
        caller: &Caller,
        once: &Once,
        size: u64,
        new: &NewCosignature,
    ) -> Result<CosignatureView, ServiceError> {
        caller.must_be(&[Role::Verifier])?;
        let line = new.cosignature.trim();
        self.write(caller, once, async |connection| {
            let programme_id = caller.programme_id;
            let have = store::trail::size(connection, programme_id).await?;
            if size == 0 || size > have {
                return Err(ServiceError::not_found("checkpoint", size));
            }
            let note = self.checkpoint_at(connection, caller, size).await?;
            let (witness, time) = fitting(connection, programme_id, &note, line).await?;
            self.must_not_be_to_come(time)?;
            let row = CosignatureRow {
                size,
                witness: witness.to_string(),
                time,
                line: line.to_owned(),
                actor: caller.actor(),
                // As fine as the database keeps it, so that a repeat is answered alike.
                received_at: self.now().trunc_subsecs(6),
            };
            let kept =
                store::cosignatures::list(connection, programme_id, Some(size), size, u32::MAX)
                    .await?;
            match kept.into_iter().find(|each| each.witness == row.witness) {
                Some(same) if same.line == row.line => cosignature_view(same),
                Some(other) => Err(ServiceError::conflict(
                    "cosigned_already",
                    format!(
                        "{} has cosigned the checkpoint over {size} entries, at {} seconds since 1970",
                        witness.name(),
                        other.time
                    ),
                )),
                None => {
                    store::cosignatures::insert(connection, programme_id, &row).await?;
                    cosignature_view(row)
                }
            }
        })
        .await
    }

    fn must_not_be_to_come(&self, time: u64) -> Result<(), ServiceError> {
        let latest = self.now().timestamp().saturating_add(AHEAD_SECONDS_MAX);
        if i64::try_from(time).is_ok_and(|time| time <= latest) {
            Ok(())
        } else {
            Err(ServiceError::invalid("cosignature", "is of a time to come"))
        }
    }

    /// Cosignatures, of one checkpoint or of all, the largest checkpoint first.
    pub async fn cosignatures(
        &self,
        caller: &Caller,
        size: Option<u64>,
        limit: u32,
    ) -> Result<Vec<CosignatureView>, ServiceError> {
        let mut connection = self.reading(caller).await?;
        let all = u64::MAX >> 1;
        let rows =
            store::cosignatures::list(&mut connection, caller.programme_id, size, all, limit)
                .await?;
        rows.into_iter().map(cosignature_view).collect()
    }
}

/// The witness of a line, and the time at which it signed the checkpoint.
async fn fitting(
    connection: &mut PgConnection,
    programme_id: Uuid,
    note: &str,
    line: &str,
) -> Result<(WitnessKey, u64), ServiceError> {
    let refused = |e: String| ServiceError::invalid("cosignature", e);
    let text = signed_text(note).map_err(|e| ServiceError::Internal(e.to_string()))?;
    let known = registered(connection, programme_id).await?;
    for witness in known {
        let key: WitnessKey = witness
            .key
            .parse()
            .map_err(|e: NoteError| ServiceError::Internal(e.to_string()))?;
        match key.check(text, line) {
            Ok(time) => return Ok((key, time)),
            Err(crate::trail::cosignature::CosignatureError::AnotherKey) => {}
            Err(error) => return Err(refused(error.to_string())),
        }
    }
    let form = crate::trail::cosignature::line_name(line).map_err(|e| refused(e.to_string()))?;
    Err(refused(format!(
        "is by {form}, whose key is not registered as a witness of this trail"
    )))
}

/// The lines under a checkpoint, each with its newline.
pub(super) async fn lines_of(
    connection: &mut PgConnection,
    programme_id: Uuid,
    size: u64,
) -> Result<String, ServiceError> {
    let rows =
        store::cosignatures::list(connection, programme_id, Some(size), size, u32::MAX).await?;
    Ok(rows.iter().map(|row| format!("{}\n", row.line)).collect())
}

/// Every cosigned checkpoint up to a size, with its cosignatures, the smallest first.
pub(in crate::service) async fn cosigned_notes(
    connection: &mut PgConnection,
    programme_id: Uuid,
    up_to: u64,
) -> Result<Vec<(u64, String)>, ServiceError> {
    let rows = store::cosignatures::list(connection, programme_id, None, up_to, u32::MAX).await?;
    let mut notes = std::collections::BTreeMap::new();
    for row in rows {
        let note: &mut String = match notes.entry(row.size) {
            std::collections::btree_map::Entry::Occupied(known) => known.into_mut(),
            std::collections::btree_map::Entry::Vacant(new) => {
                let note = store::trail::checkpoint_note(connection, programme_id, row.size)
                    .await?
                    .ok_or_else(|| {
                        ServiceError::Internal("a cosigned checkpoint is gone".into())
                    })?;
                new.insert(note)
            }
        };
        note.push_str(&row.line);
        note.push('\n');
    }
    Ok(notes.into_iter().collect())
}

async fn registered(
    connection: &mut PgConnection,
    programme_id: Uuid,
) -> Result<Vec<WitnessView>, ServiceError> {
    let kinds = [kind::WITNESS_REGISTERED];
    let entries = store::trail::of_kinds(connection, programme_id, &kinds, u64::MAX).await?;
    entries.into_iter().map(witness_view).collect()
}

fn witness_view(entry: store::trail::EntryRow) -> Result<WitnessView, ServiceError> {
    let record: WitnessRecord = serde_json::from_slice(&entry.content)
        .map_err(|e| ServiceError::Internal(format!("trail entry {}: {e}", entry.sequence)))?;
    Ok(WitnessView {
        key: record.key,
        name: entry.subject,
        sequence: entry.sequence,
        registered_by: entry.actor,
        registered_at: entry.at,
    })
}

fn cosignature_view(row: CosignatureRow) -> Result<CosignatureView, ServiceError> {
    let key: WitnessKey = row
        .witness
        .parse()
        .map_err(|e: NoteError| ServiceError::Internal(e.to_string()))?;
    let seconds = i64::try_from(row.time).ok();
    Ok(CosignatureView {
        size: row.size,
        witness: key.name().to_owned(),
        key: row.witness,
        cosigned_at: seconds.and_then(|s| DateTime::from_timestamp(s, 0)),
        cosignature: row.line,
        sent_by: row.actor,
        received_at: row.received_at,
    })
}
