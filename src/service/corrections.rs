//! Corrections: a row superseded or excluded, a batch withdrawn, each with its reason and each
//! an entry of the trail. No row is changed: what stood before is read at an earlier position.

mod new_row;

use super::batches::view;
use super::evidence::{known_kind, position};
use super::{Caller, Once, Service, ServiceError};
use crate::accounting::records::corrections::{
    BatchWithdrawnRecord, Correction, CorrectionKind, RowExcludedRecord, RowSupersededRecord,
};
use crate::accounting::records::kind;
use crate::intake::BatchKind;
use crate::store;
use crate::store::batches::BatchRow;
pub use crate::store::corrections::Successor;
use crate::store::corrections::{Asked, CorrectionRow};
use crate::store::rows::StoredRow;
use chrono::{DateTime, Utc};
use new_row::{check_row, insert_row, must_be, staged_row};
use serde::{Deserialize, Serialize};
use serde_json::{Map, Value};
use sqlx::PgConnection;
use utoipa::ToSchema;
use uuid::Uuid;

/// Characters that a reason may have.
pub const REASON_CHARACTERS_MAX: usize = 500;

/// Where the one row of a batch in place of another stands.
pub const LINE_IN_PLACE: u64 = 2;

/// What was corrected, why, by whom and when.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct CorrectionView {
    /// Trail entry that says it; it counts at positions above this one.
    pub sequence: u64,
    pub kind: CorrectionKind,
    pub batch: Uuid,
    /// Line of the row in its batch; absent for a whole batch.
    pub line: Option<u64>,
    /// The batch of one row that stands in place of a superseded one, on its line 2.
    pub replaced_by: Option<Uuid>,
    pub reason: String,
    pub actor: String,
    pub at: DateTime<Utc>,
}

/// Why a row is excluded or a batch withdrawn.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Reason {
    /// In words, without anything that tells who a person is.
    #[schema(example = "Feast day: the household cooked for forty guests.")]
    pub reason: String,
}

/// New cells for a row, and why.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewCells {
    /// The cells that change, by column; null empties one. The others stay as they are.
    #[schema(value_type = Object)]
    pub cells: Map<String, Value>,
    /// In words, without anything that tells who a person is.
    #[schema(example = "The scale was read in pounds.")]
    pub reason: String,
}

/// A row or batch that is to be corrected, as it stands.
struct Place {
    batch: BatchRow,
    kind: BatchKind,
    /// Corrections of the batch, the latest first.
    earlier: Vec<CorrectionView>,
}

impl Service {
    /// Puts a new row in place of one, as a batch of its own of the same kind and round.
    pub async fn supersede_row(
        &self,
        caller: &Caller,
        (batch, line): (Uuid, u64),
        new: &NewCells,
        once: &Once,
    ) -> Result<CorrectionView, ServiceError> {
        caller.must_manage()?;
        let reason = checked_reason(&new.reason)?;
        self.write(caller, once, async |connection| {
            let place = place(connection, caller, batch).await?;
            let old = place.standing_row(connection, caller, line).await?;
            let record = RowSupersededRecord {
                batch,
                line,
                replacement: staged_row(
                    connection,
                    caller,
                    (place.kind, &place.batch.record),
                    &old,
                    &new.cells,
                )
                .await?,
            };
            let correction = Correction {
                kind: CorrectionKind::Superseded,
                batch,
                line: Some(line),
                replaced_by: Some(record.replacement.id),
            };
            // Under the write lock the trail's size is the sequence of the entry to come. The
            // correction stands first, so that the checks find the row's place free.
            let due = store::trail::size(connection, caller.programme_id).await?;
            store::corrections::insert(connection, caller.programme_id, &correction, due).await?;
            check_row(connection, caller, place.kind, &record.replacement).await?;
            let subject = format!("{batch}/{line}");
            let what = (kind::ROW_SUPERSEDED, subject.as_str());
            let sequence = self
                .log_for_reason(connection, caller, what, &record, reason)
                .await?;
            must_be(sequence, due)?;
            insert_row(
                connection,
                caller,
                place.kind,
                &record.replacement,
                sequence,
            )
            .await?;
            must_leave_no_orphan(connection, caller, place.kind, &correction).await?;
            let new_batch = view(record.replacement, sequence, false);
            self.raise_flags(connection, caller, place.kind, &new_batch)
                .await?;
            Ok(self.view(caller, correction, sequence, reason))
        })
        .await
    }

    /// Leaves a row of evidence in the record and out of the account.
    pub async fn exclude_row(
        &self,
        caller: &Caller,
        (batch, line): (Uuid, u64),
        reason: &Reason,
        once: &Once,
    ) -> Result<CorrectionView, ServiceError> {
        caller.must_manage()?;
        let reason = checked_reason(&reason.reason)?;
        self.write(caller, once, async |connection| {
            let place = place(connection, caller, batch).await?;
            if !place.kind.needs_round() {
                return Err(ServiceError::conflict(
                    "wrong_kind",
                    format!(
                        "rows of {} belong to the register and cannot be excluded; supersede the row or withdraw its batch",
                        place.kind
                    ),
                ));
            }
            place.standing_row(connection, caller, line).await?;
            if place.corrected(Some(line), CorrectionKind::Excluded) {
                return Err(ServiceError::conflict(
                    "excluded_already",
                    format!("line {line} of batch {batch} is excluded already"),
                ));
            }
            let correction = Correction {
                kind: CorrectionKind::Excluded,
                batch,
                line: Some(line),
                replaced_by: None,
            };
            let subject = format!("{batch}/{line}");
            let what = (kind::ROW_EXCLUDED, subject.as_str());
            let record = RowExcludedRecord { batch, line };
            let sequence = self
                .log_for_reason(connection, caller, what, &record, reason)
                .await?;
            let programme = caller.programme_id;
            store::corrections::insert(connection, programme, &correction, sequence).await?;
            Ok(self.view(caller, correction, sequence, reason))
        })
        .await
    }

    /// Takes a batch, with every row of it, out of the account and frees the places of its rows.
    pub async fn withdraw_batch(
        &self,
        caller: &Caller,
        batch: Uuid,
        reason: &Reason,
        once: &Once,
    ) -> Result<CorrectionView, ServiceError> {
        caller.must_manage()?;
        let reason = checked_reason(&reason.reason)?;
        self.write(caller, once, async |connection| {
            let place = place(connection, caller, batch).await?;
            let programme = caller.programme_id;
            let successors =
                store::corrections::standing_successors(connection, programme, batch).await?;
            if !successors.is_empty() {
                return Err(superseded(batch, &successors));
            }
            let correction = Correction {
                kind: CorrectionKind::Withdrawn,
                batch,
                line: None,
                replaced_by: None,
            };
            let subject = batch.to_string();
            let what = (kind::BATCH_WITHDRAWN, subject.as_str());
            let record = BatchWithdrawnRecord { batch };
            let sequence = self
                .log_for_reason(connection, caller, what, &record, reason)
                .await?;
            store::corrections::insert(connection, programme, &correction, sequence).await?;
            must_leave_no_orphan(connection, caller, place.kind, &correction).await?;
            Ok(self.view(caller, correction, sequence, reason))
        })
        .await
    }

    /// Rows that stand in place of rows of a batch: while there are any, it is not withdrawn.
    pub async fn standing_successors(
        &self,
        caller: &Caller,
        batch: Uuid,
    ) -> Result<Vec<Successor>, ServiceError> {
        let mut connection = self.reading(caller).await?;
        let programme = caller.programme_id;
        Ok(store::corrections::standing_successors(&mut connection, programme, batch).await?)
    }

    /// A page of the corrections known at trail position `as_of` (default: now), the latest
    /// first, below entry `before`.
    pub async fn corrections(
        &self,
        caller: &Caller,
        as_of: Option<u64>,
        before: Option<u64>,
        limit: u32,
    ) -> Result<super::evidence::Page<CorrectionView>, ServiceError> {
        caller.must_see_every_site()?;
        let mut connection = self.reading(caller).await?;
        let asked = Asked {
            position: position(&mut connection, caller, as_of).await?,
            batches: None,
            before,
            limit: Some(limit),
        };
        let rows = store::corrections::list(&mut connection, caller.programme_id, asked).await?;
        let items: Vec<CorrectionView> = rows.into_iter().map(view_of).collect();
        let full = items.len() as u64 == u64::from(limit);
        let last = items.last().filter(|_| full);
        Ok(super::evidence::Page {
            next: last.map(|last| last.sequence.to_string()),
            items,
        })
    }

    /// Corrections of a batch and its rows, and the one that it came out of; the latest first.
    pub async fn corrections_of_batch(
        &self,
        caller: &Caller,
        batch: Uuid,
    ) -> Result<Vec<CorrectionView>, ServiceError> {
        self.batch(caller, batch).await?;
        let mut connection = self.reading(caller).await?;
        of_batches(&mut connection, caller, u64::MAX, &[batch]).await
    }

    fn view(
        &self,
        caller: &Caller,
        correction: Correction,
        sequence: u64,
        reason: &str,
    ) -> CorrectionView {
        view_of(CorrectionRow {
            correction,
            sequence,
            actor: caller.actor(),
            at: self.now(),
            reason: reason.to_owned(),
        })
    }
}

impl Place {
    fn corrected(&self, line: Option<u64>, kind: CorrectionKind) -> bool {
        let id = self.batch.record.id;
        self.earlier
            .iter()
            .any(|each| each.batch == id && each.line == line && each.kind == kind)
    }

    /// The row on `line`, where nothing stands in its place.
    async fn standing_row(
        &self,
        connection: &mut PgConnection,
        caller: &Caller,
        line: u64,
    ) -> Result<StoredRow, ServiceError> {
        let (programme, batch) = (caller.programme_id, self.batch.record.id);
        let before = line.saturating_sub(1);
        let row =
            store::rows::of_batch(connection, programme, self.kind, batch, before, 1, None).await?;
        let row = row
            .into_iter()
            .find(|row| row.line == line)
            .ok_or_else(|| ServiceError::not_found("row", format!("{batch}/{line}")))?;
        if self.corrected(Some(line), CorrectionKind::Superseded) {
            return Err(ServiceError::conflict(
                "superseded_already",
                format!(
                    "line {line} of batch {batch} is superseded already; correct the row that stands in its place"
                ),
            ));
        }
        Ok(row)
    }
}

/// A batch that is to be corrected, where it was not withdrawn.
async fn place(
    connection: &mut PgConnection,
    caller: &Caller,
    id: Uuid,
) -> Result<Place, ServiceError> {
    let batch = store::batches::by_id(connection, caller.programme_id, id)
        .await?
        .ok_or_else(|| ServiceError::not_found("batch", id))?;
    if let Some(entry) = batch.withdrawn {
        return Err(ServiceError::conflict(
            "withdrawn_already",
            format!("batch {id} is withdrawn already, by entry {entry}"),
        ));
    }
    Ok(Place {
        kind: known_kind(&batch.record.kind)?,
        earlier: of_batches(connection, caller, u64::MAX, &[id]).await?,
        batch,
    })
}

/// Rows named in the refusal of a withdrawal; the page of the batch lists them all.
const SUCCESSORS_TOLD: usize = 20;

fn superseded(batch: Uuid, successors: &[Successor]) -> ServiceError {
    let told = successors.iter().take(SUCCESSORS_TOLD);
    let mut told: Vec<String> = told
        .map(|row| {
            format!(
                "line {LINE_IN_PLACE} of batch {} in place of line {}",
                row.batch, row.superseded_line
            )
        })
        .collect();
    if successors.len() > SUCCESSORS_TOLD {
        told.push(format!("{} more", successors.len() - SUCCESSORS_TOLD));
    }
    ServiceError::conflict(
        "rows_superseded",
        format!(
            "rows of batch {batch} were superseded and stand on; withdraw first the batches that \
             hold them now: {}",
            told.join(", ")
        ),
    )
}

/// What other rows refer to cannot go: the error names the first that do.
async fn must_leave_no_orphan(
    connection: &mut PgConnection,
    caller: &Caller,
    kind: BatchKind,
    correction: &Correction,
) -> Result<(), ServiceError> {
    let (batch, line) = (correction.batch, correction.line);
    let orphans =
        store::corrections::orphans(connection, caller.programme_id, kind, batch, line).await?;
    if orphans.is_empty() {
        return Ok(());
    }
    let named: Vec<String> = orphans
        .iter()
        .map(|row| {
            format!(
                "{} is named by line {} of batch {} ({})",
                row.named, row.line, row.batch, row.kind
            )
        })
        .collect();
    Err(ServiceError::conflict(
        "still_referred_to",
        format!(
            "other rows refer to what would be gone, correct these first: {}",
            named.join("; ")
        ),
    ))
}

pub(super) async fn of_batches(
    connection: &mut PgConnection,
    caller: &Caller,
    position: u64,
    batches: &[Uuid],
) -> Result<Vec<CorrectionView>, ServiceError> {
    let asked = Asked {
        position,
        batches: Some(batches),
        before: None,
        limit: None,
    };
    let rows = store::corrections::list(connection, caller.programme_id, asked).await?;
    Ok(rows.into_iter().map(view_of).collect())
}

fn view_of(row: CorrectionRow) -> CorrectionView {
    CorrectionView {
        sequence: row.sequence,
        kind: row.correction.kind,
        batch: row.correction.batch,
        line: row.correction.line,
        replaced_by: row.correction.replaced_by,
        reason: row.reason,
        actor: row.actor,
        at: row.at,
    }
}

fn checked_reason(reason: &str) -> Result<&str, ServiceError> {
    let reason = reason.trim();
    let count = reason.chars().count();
    if count == 0 {
        return Err(ServiceError::invalid("reason", "must say why"));
    }
    if count > REASON_CHARACTERS_MAX || reason.chars().any(char::is_control) {
        return Err(ServiceError::invalid(
            "reason",
            format!("must be one line of at most {REASON_CHARACTERS_MAX} characters"),
        ));
    }
    Ok(reason)
}
