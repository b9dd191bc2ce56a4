//! Screening a batch when it has come: in its transaction, after its entry, before its commit.

use super::batches::BatchView;
use super::{Caller, Service, ServiceError, apart, id_of};
use crate::accounting::records::flags::{FlagRecord, FlagsRaisedRecord, ROWS_NAMED, RowPlace};
use crate::accounting::records::kind;
use crate::intake::{BatchKind, row_from_texts, screens};
use crate::statistics::screens::Screen;
use crate::store;
use crate::store::rows::StoredRow;
use sqlx::PgConnection;
use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;
use uuid::Uuid;

/// Rows that are screened together. A batch of fewer is looked at with what came before it in
/// its round; one of more in parts of so many, in the order of its rows, so that what a
/// screening holds in memory does not grow with the batch.
const ROWS_AT_ONCE: u64 = 20_000;

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
        let drawn = store::drawn_rounds::draw(connection, caller.programme_id, &round).await?;
        // Reserve units are drawn too. Where nothing was drawn, nothing can be outside of it.
        let drawn: BTreeSet<String> = drawn.into_iter().map(|unit| unit.unit).collect();
        let drawn = Arc::new(drawn);
        let mut flags = Gathered::default();
        let parts = batch.rows.div_ceil(ROWS_AT_ONCE).max(1);
        for part in 0..parts {
            let rows = self
                .part_of(connection, caller, (batch_kind, &round), batch, part)
                .await?;
            // The caller holds the write lock, so the batch's own rows are the last of the round.
            let own = batch.rows - part * ROWS_AT_ONCE;
            let own = usize::try_from(own).unwrap_or(usize::MAX);
            let new_from = rows.len().saturating_sub(own);
            let drawn = Arc::clone(&drawn);
            let screened = move || found(batch_kind, &rows, new_from, &drawn);
            flags.add(apart("the screens stopped", screened).await??);
        }
        let flags = flags.into_records(batch.id);
        if flags.is_empty() {
            return Ok(());
        }
        let record = FlagsRaisedRecord {
            batch: batch.id,
            round,
            flags,
        };
        let subject = batch.id.to_string();
        let sequence = self
            .log(connection, caller, kind::FLAGS_RAISED, &subject, &record)
            .await?;
        store::flags::insert(connection, caller.programme_id, &record, sequence).await?;
        Ok(())
    }

    /// The rows of a batch that are screened together, the last of them being its own. The last
    /// part of a long batch is as long as the others, with rows of the part before it.
    async fn part_of(
        &self,
        connection: &mut PgConnection,
        caller: &Caller,
        (batch_kind, round): (BatchKind, &str),
        batch: &BatchView,
        part: u64,
    ) -> Result<Vec<StoredRow>, ServiceError> {
        let programme = caller.programme_id;
        if batch.rows <= ROWS_AT_ONCE {
            let rows =
                store::rows::of_round(connection, programme, batch_kind, round, ROWS_AT_ONCE);
            return Ok(rows.await?);
        }
        let before = (part * ROWS_AT_ONCE).min(batch.rows - ROWS_AT_ONCE);
        // The header is line 1.
        let after_line = before + 1;
        let limit = u32::try_from(ROWS_AT_ONCE).unwrap_or(u32::MAX);
        Ok(store::rows::of_batch(
            connection, programme, batch_kind, batch.id, after_line, limit, None,
        )
        .await?)
    }
}

/// Flags of a screen, with the first of the rows that each names.
#[derive(Default)]
struct OfScreen {
    kept: Vec<FlagRecord>,
    /// What came after as many as are raised one by one.
    rest: Option<FlagRecord>,
}

/// The flags of all parts of a batch, screen by screen.
#[derive(Default)]
struct Gathered(BTreeMap<Screen, OfScreen>);

impl Gathered {
    fn add(&mut self, flags: Vec<(Screen, FlagRecord)>) {
        for (screen, flag) in flags {
            let of_screen = self.0.entry(screen).or_default();
            // A part's own gathering of what it found beyond is one more.
            if of_screen.kept.len() <= screens::FLAGS_A_SCREEN {
                of_screen.kept.push(flag);
                continue;
            }
            match &mut of_screen.rest {
                Some(rest) => {
                    rest.row_count += flag.row_count;
                    let room = ROWS_NAMED.saturating_sub(rest.rows.len());
                    rest.rows.extend(flag.rows.into_iter().take(room));
                }
                None => {
                    let sentence = format!(
                        "What this screen found further on in the batch is gathered here. The \
                         first of it: {}",
                        flag.sentence
                    );
                    of_screen.rest = Some(FlagRecord { sentence, ..flag });
                }
            }
        }
    }

    /// The flags with their ids, which follow from their places.
    fn into_records(self, batch: Uuid) -> Vec<FlagRecord> {
        let flags = self
            .0
            .into_values()
            .flat_map(|of_screen| of_screen.kept.into_iter().chain(of_screen.rest));
        flags
            .enumerate()
            .map(|(place, flag)| FlagRecord {
                id: id_of(&["flag", &batch.to_string(), &place.to_string()]),
                ..flag
            })
            .collect()
    }
}

fn found(
    batch_kind: BatchKind,
    stored: &[StoredRow],
    new_from: usize,
    drawn: &BTreeSet<String>,
) -> Result<Vec<(Screen, FlagRecord)>, ServiceError> {
    let rows = stored
        .iter()
        .map(|row| {
            let texts = row.texts.iter().map(|text| text.as_deref().unwrap_or(""));
            row_from_texts(batch_kind.template(), row.line, texts)
        })
        .collect::<Result<Vec<_>, _>>()
        .map_err(|_| ServiceError::Internal("a stored row breaks its template".into()))?;
    let drawn: BTreeSet<&str> = drawn.iter().map(String::as_str).collect();
    let drawn = (!drawn.is_empty()).then_some(&drawn);
    let flags = screens::screen(batch_kind, &rows, new_from, drawn)
        .map_err(|e| ServiceError::Internal(format!("screens: {e}")))?;
    let records = flags.into_iter().map(|flag| {
        let named = flag.lines.iter().filter_map(|line| stored.get(*line));
        let record = FlagRecord {
            id: Uuid::nil(),
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
        };
        (flag.screen, record)
    });
    Ok(records.collect())
}
