//! Screening a batch when it has come: in its transaction, after its entry, before its commit.

use super::batches::BatchView;
use super::{Caller, Service, ServiceError, apart, id_of};
use crate::accounting::records::flags::{FlagRecord, FlagsRaisedRecord, ROWS_NAMED, RowPlace};
use crate::accounting::records::kind;
use crate::accounting::rounds::drawing::DrawnUnit;
use crate::intake::{BatchKind, row_from_texts, screens};
use crate::store;
use crate::store::rows::StoredRow;
use sqlx::PgConnection;
use std::collections::BTreeSet;

/// Rows that a screening looks at where the batch itself has fewer: it and what came before it
/// in its round.
const COMPANY_ROWS: u64 = 20_000;

impl Service {
    /// Runs the screens of the batch's kind and records what they raise, as an entry of the
    /// trail; nothing where they raise nothing.
    pub(super) async fn raise_flags(
        &self,
        connection: &mut PgConnection,
        caller: &Caller,
        batch_kind: BatchKind,
        batch: &BatchView,
    ) -> Result<(), ServiceError> {
        let Some(round) = batch.round.clone() else {
            return Ok(());
        };
        if !screens::are_screened(batch_kind) {
            return Ok(());
        }
        let rows = store::rows::of_round(
            connection,
            caller.programme_id,
            batch_kind,
            &round,
            batch.rows.max(COMPANY_ROWS),
        )
        .await?;
        // The caller holds the write lock, so the batch's own rows are the last of the round.
        let own = usize::try_from(batch.rows).unwrap_or(usize::MAX);
        let new_from = rows.len().saturating_sub(own);
        let id = batch.id;
        let drawn = store::drawn_rounds::draw(connection, caller.programme_id, &round).await?;
        let screened = move || found(batch_kind, &rows, new_from, id, &drawn);
        let flags = apart("the screens stopped", screened).await??;
        if flags.is_empty() {
            return Ok(());
        }
        let record = FlagsRaisedRecord {
            batch: id,
            round,
            flags,
        };
        let subject = id.to_string();
        let sequence = self
            .log(connection, caller, kind::FLAGS_RAISED, &subject, &record)
            .await?;
        store::flags::insert(connection, caller.programme_id, &record, sequence).await?;
        Ok(())
    }
}

fn found(
    batch_kind: BatchKind,
    stored: &[StoredRow],
    new_from: usize,
    batch: uuid::Uuid,
    drawn: &[DrawnUnit],
) -> Result<Vec<FlagRecord>, ServiceError> {
    let rows = stored
        .iter()
        .map(|row| {
            let texts = row.texts.iter().map(|text| text.as_deref().unwrap_or(""));
            row_from_texts(batch_kind.template(), row.line, texts)
        })
        .collect::<Result<Vec<_>, _>>()
        .map_err(|_| ServiceError::Internal("a stored row breaks its template".into()))?;
    // Reserve units are drawn too. Where nothing was drawn, nothing can be outside of it.
    let drawn: BTreeSet<&str> = drawn.iter().map(|unit| unit.unit.as_str()).collect();
    let drawn = (!drawn.is_empty()).then_some(&drawn);
    let flags = screens::screen(batch_kind, &rows, new_from, drawn)
        .map_err(|e| ServiceError::Internal(format!("screens: {e}")))?;
    let records = flags.into_iter().enumerate().map(|(place, flag)| {
        let named = flag.lines.iter().filter_map(|line| stored.get(*line));
        FlagRecord {
            id: id_of(&["flag", &batch.to_string(), &place.to_string()]),
            screen: flag.screen.code().to_owned(),
            sentence: flag.sentence,
            row_count: flag.lines.len() as u64,
            rows: named
                .take(ROWS_NAMED)
                .map(|row| RowPlace {
                    batch: row.batch_id,
                    line: row.line,
                })
                .collect(),
        }
    });
    Ok(records.collect())
}
