//! Flags: what the screens raised, read and answered.

use super::evidence::{Page, RowView, known_kind};
use super::register::check_text;
use super::{Caller, Once, Role, Service, ServiceError};
use crate::accounting::records::flags::{Disposition, FlagAnswerRecord, RowPlace};
use crate::accounting::records::kind;
use crate::store;
use crate::store::flags::{FlagPlace, FlagRow};
use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use uuid::Uuid;

pub use crate::store::flags::Wanted;

/// Rows of a flag that are read with it.
const ROWS_SHOWN: usize = 100;

/// One flag. It says what a person should look at, and changes nothing.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct FlagView {
    pub id: Uuid,
    pub round: String,
    /// Batch whose screening raised it.
    pub batch: Uuid,
    /// `duplicate_unit`, `near_twins`, `straight_line`, `digit_heaping`, `pace`,
    /// `beyond_limits`, `extreme_value` or `outside_draw`.
    pub screen: String,
    /// What was found, with the threshold that it passed.
    pub sentence: String,
    /// Rows that it is of.
    pub row_count: u64,
    /// Trail entry that raised it.
    pub sequence: u64,
    /// The last word on it; absent while it is open.
    pub disposition: Option<Disposition>,
}

/// A flag with its rows and all that was said of it.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct FlagDetail {
    #[serde(flatten)]
    pub flag: FlagView,
    /// Where its rows stand: the first 1,000.
    pub places: Vec<RowPlace>,
    /// The first 100 of them as they were accepted.
    pub rows: Vec<RowView>,
    /// What was said of it, the last word last.
    pub answers: Vec<FlagAnswer>,
}

#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct FlagAnswer {
    pub disposition: Disposition,
    pub reason: String,
    /// Role and name of who said so.
    pub who: String,
    pub at: DateTime<Utc>,
    /// Trail entry that holds it.
    pub sequence: u64,
}

#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewFlagAnswer {
    pub disposition: Disposition,
    pub reason: String,
}

impl Service {
    /// A page of flags, in the order in which they were raised.
    pub async fn flags(
        &self,
        caller: &Caller,
        wanted: &Wanted,
        after: Option<&str>,
        limit: u32,
    ) -> Result<Page<FlagView>, ServiceError> {
        caller.must_see_every_site()?;
        let after = after.map(read_cursor).transpose()?;
        let mut connection = self.reading(caller).await?;
        let rows =
            store::flags::page(&mut connection, caller.programme_id, wanted, after, limit).await?;
        let full = rows.len() as u64 == u64::from(limit);
        let next = rows.last().filter(|_| full);
        Ok(Page {
            next: next.map(|row| format!("{}.{}", row.at.sequence, row.at.place)),
            items: rows.into_iter().map(view).collect(),
        })
    }

    /// How many flags are open.
    pub async fn open_flags(&self, caller: &Caller) -> Result<u64, ServiceError> {
        caller.must_see_every_site()?;
        let mut connection = self.reading(caller).await?;
        Ok(store::flags::count_open(&mut connection, caller.programme_id).await?)
    }

    /// One flag with its rows.
    pub async fn flag(&self, caller: &Caller, id: Uuid) -> Result<FlagDetail, ServiceError> {
        caller.must_see_every_site()?;
        let mut connection = self.reading(caller).await?;
        let programme = caller.programme_id;
        let flag = store::flags::by_id(&mut connection, programme, id)
            .await?
            .ok_or_else(|| ServiceError::not_found("flag", id))?;
        let places = store::flags::rows_of(&mut connection, programme, id).await?;
        let answers = store::flags::answers(&mut connection, programme, id).await?;
        let batch = store::batches::by_id(&mut connection, programme, flag.batch)
            .await?
            .ok_or_else(|| ServiceError::Internal(format!("flag {id} is of no batch")))?;
        let batch_kind = known_kind(&batch.record.kind)?;
        let shown: Vec<RowPlace> = places.iter().take(ROWS_SHOWN).copied().collect();
        let rows = store::rows::at_places(&mut connection, programme, batch_kind, &shown).await?;
        Ok(FlagDetail {
            flag: view(flag),
            places,
            rows: rows
                .iter()
                .map(|row| super::evidence::row_view(batch_kind, row))
                .collect(),
            answers: answers
                .into_iter()
                .map(|row| FlagAnswer {
                    disposition: row.disposition,
                    reason: row.reason,
                    who: row.actor,
                    at: row.at,
                    sequence: row.sequence,
                })
                .collect(),
        })
    }

    /// Says what is to become of a flag, with the reason. A later answer takes the place of
    /// the earlier ones, which stay; no row and no figure changes.
    pub async fn answer_flag(
        &self,
        caller: &Caller,
        id: Uuid,
        answer: &NewFlagAnswer,
        once: &Once,
    ) -> Result<FlagView, ServiceError> {
        caller.must_be(&[Role::Manager])?;
        check_text("reason", &answer.reason, 1_000)?;
        let record = FlagAnswerRecord {
            flag: id,
            disposition: answer.disposition,
            reason: answer.reason.trim().to_owned(),
        };
        self.write(caller, once, async |connection| {
            let programme = caller.programme_id;
            let mut flag = store::flags::by_id(connection, programme, id)
                .await?
                .ok_or_else(|| ServiceError::not_found("flag", id))?;
            let subject = id.to_string();
            let sequence = self
                .log(connection, caller, kind::FLAG_ANSWERED, &subject, &record)
                .await?;
            store::flags::insert_answer(connection, programme, &record, sequence).await?;
            flag.disposition = Some(record.disposition);
            Ok(view(flag))
        })
        .await
    }
}

fn view(row: FlagRow) -> FlagView {
    FlagView {
        id: row.id,
        round: row.round,
        batch: row.batch,
        screen: row.screen,
        sentence: row.sentence,
        row_count: row.row_count,
        sequence: row.at.sequence,
        disposition: row.disposition,
    }
}

fn read_cursor(text: &str) -> Result<FlagPlace, ServiceError> {
    text.split_once('.')
        .and_then(|(sequence, place)| {
            Some(FlagPlace {
                sequence: sequence.parse().ok()?,
                place: place.parse().ok()?,
            })
        })
        .ok_or_else(|| ServiceError::invalid("after", "must be the `next` of an earlier page"))
}
