//! Flags of the screens, the rows that they name, and what people answered.

use super::cohorts::Scope;
use super::{StoreError, signed, unsigned};
use crate::accounting::records::flags::{
    Disposition, FlagAnswerRecord, FlagsRaisedRecord, RowPlace,
};
use chrono::{DateTime, Utc};
use sqlx::PgConnection;
use std::collections::BTreeMap;
use uuid::Uuid;

/// A place in the order of all flags: the entry that raised it, then its place there.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct FlagPlace {
    pub sequence: u64,
    pub place: u32,
}

#[derive(Debug, Clone)]
pub struct FlagRow {
    pub id: Uuid,
    pub at: FlagPlace,
    pub round: String,
    pub batch: Uuid,
    pub screen: String,
    pub sentence: String,
    pub row_count: u64,
    /// The last word on it; absent while it is open.
    pub disposition: Option<Disposition>,
}

/// One answer, with the trail entry that holds it.
#[derive(Debug, Clone)]
pub struct AnswerRow {
    pub disposition: Disposition,
    pub reason: String,
    pub sequence: u64,
    pub actor: String,
    pub at: DateTime<Utc>,
}

/// Which flags are wanted.
#[derive(Debug, Clone, Default)]
pub struct Wanted {
    pub round: Option<String>,
    pub batch: Option<Uuid>,
    /// Absent = open ones and answered ones.
    pub open: Option<bool>,
}

/// Flags of `rounds` that nobody had answered at the scope's position, on rows that counted
/// then: how many by screen. A flag names at most its first rows; those are looked at.
pub async fn open_on_rows_of(
    connection: &mut PgConnection,
    scope: Scope<'_>,
    rounds: &[String],
) -> Result<BTreeMap<String, u64>, StoreError> {
    let rows = sqlx::query!(
        r#"select f.screen, count(*) as "flags!"
           from flag f
           where f.programme_id = $1 and f.sequence < $2 and f.round_code = any($3)
             and not exists (select from flag_disposition d
                             where d.programme_id = $1 and d.flag_id = f.flag_id
                               and d.sequence < $2)
             and exists (select from flag_row r
                         where r.programme_id = $1 and r.flag_id = f.flag_id
                           and not exists (select from correction c
                                           where c.programme_id = $1 and c.batch_id = r.batch_id
                                             and (c.line is null or c.line = r.line)
                                             and c.sequence < $2))
           group by f.screen"#,
        scope.programme_id,
        signed(scope.position),
        rounds
    )
    .fetch_all(connection)
    .await?;
    rows.into_iter()
        .map(|row| Ok((row.screen, unsigned(row.flags, "flag")?)))
        .collect()
}

pub async fn insert(
    connection: &mut PgConnection,
    programme_id: Uuid,
    record: &FlagsRaisedRecord,
    sequence: u64,
) -> Result<(), StoreError> {
    let flags = &record.flags;
    let ids: Vec<Uuid> = flags.iter().map(|flag| flag.id).collect();
    let screens: Vec<String> = flags.iter().map(|flag| flag.screen.clone()).collect();
    let sentences: Vec<String> = flags.iter().map(|flag| flag.sentence.clone()).collect();
    let counts: Vec<i32> = flags
        .iter()
        .map(|flag| i32::try_from(flag.row_count).unwrap_or(i32::MAX))
        .collect();
    sqlx::query!(
        "insert into flag (programme_id, flag_id, sequence, place, round_code, batch_id, screen,
                           sentence, row_count)
         select $1, f.id, $2, f.place::integer, $3, $4, f.screen, f.sentence, f.row_count
         from unnest($5::uuid[], $6::text[], $7::text[], $8::integer[])
              with ordinality as f (id, screen, sentence, row_count, place)",
        programme_id,
        signed(sequence),
        record.round,
        record.batch,
        &ids,
        &screens,
        &sentences,
        &counts
    )
    .execute(&mut *connection)
    .await?;
    let rows = || {
        let of_flag = |flag: &'_ crate::accounting::records::flags::FlagRecord| {
            let id = flag.id;
            flag.rows
                .iter()
                .map(move |row| (id, row.batch, signed(row.line)))
                .collect::<Vec<_>>()
        };
        flags.iter().flat_map(of_flag)
    };
    let of_flag: Vec<Uuid> = rows().map(|(flag, _, _)| flag).collect();
    let batches: Vec<Uuid> = rows().map(|(_, batch, _)| batch).collect();
    let lines: Vec<i64> = rows().map(|(_, _, line)| line).collect();
    sqlx::query!(
        "insert into flag_row (programme_id, flag_id, batch_id, line)
         select $1, r.flag_id, r.batch_id, r.line
         from unnest($2::uuid[], $3::uuid[], $4::bigint[]) as r (flag_id, batch_id, line)",
        programme_id,
        &of_flag,
        &batches,
        &lines
    )
    .execute(connection)
    .await?;
    Ok(())
}

/// A page of flags after `after`, in the order in which they were raised.
pub async fn page(
    connection: &mut PgConnection,
    programme_id: Uuid,
    wanted: &Wanted,
    after: Option<FlagPlace>,
    limit: u32,
) -> Result<Vec<FlagRow>, StoreError> {
    let (sequence, place) = place_of(after);
    select(
        connection,
        programme_id,
        None,
        wanted,
        (sequence, place),
        limit,
    )
    .await
}

pub async fn by_id(
    connection: &mut PgConnection,
    programme_id: Uuid,
    id: Uuid,
) -> Result<Option<FlagRow>, StoreError> {
    let wanted = Wanted::default();
    let start = place_of(None);
    Ok(
        select(connection, programme_id, Some(id), &wanted, start, 1)
            .await?
            .pop(),
    )
}

fn place_of(after: Option<FlagPlace>) -> (i64, i32) {
    after.map_or((-1, 0), |after| {
        let place = i32::try_from(after.place).unwrap_or(i32::MAX);
        (signed(after.sequence), place)
    })
}

async fn select(
    connection: &mut PgConnection,
    programme_id: Uuid,
    id: Option<Uuid>,
    wanted: &Wanted,
    (sequence, place): (i64, i32),
    limit: u32,
) -> Result<Vec<FlagRow>, StoreError> {
    let rows = sqlx::query!(
        r#"select f.flag_id, f.sequence, f.place, f.round_code, f.batch_id, f.screen, f.sentence,
                  f.row_count, d.word as "word?"
           from flag f
           left join lateral (select word from flag_disposition
                              where programme_id = f.programme_id and flag_id = f.flag_id
                              order by sequence desc limit 1) d on true
           where f.programme_id = $1
             and ($2::uuid is null or f.flag_id = $2)
             and ($3::text is null or f.round_code = $3)
             and ($4::uuid is null or f.batch_id = $4)
             and ($5::boolean is null or (d.word is null) = $5)
             and (f.sequence, f.place) > ($6, $7)
           order by f.sequence, f.place limit $8"#,
        programme_id,
        id,
        wanted.round.as_deref(),
        wanted.batch,
        wanted.open,
        sequence,
        place,
        i64::from(limit)
    )
    .fetch_all(connection)
    .await?;
    rows.into_iter()
        .map(|row| {
            Ok(FlagRow {
                id: row.flag_id,
                at: FlagPlace {
                    sequence: unsigned(row.sequence, "flag")?,
                    place: u32::try_from(row.place).map_err(|e| StoreError::damaged("flag", e))?,
                },
                round: row.round_code,
                batch: row.batch_id,
                screen: row.screen,
                sentence: row.sentence,
                row_count: unsigned(row.row_count.into(), "flag")?,
                disposition: row.word.as_deref().map(known_word).transpose()?,
            })
        })
        .collect()
}

fn known_word(word: &str) -> Result<Disposition, StoreError> {
    Disposition::from_code(word)
        .ok_or_else(|| StoreError::damaged("flag", format!("{word} is no disposition")))
}

/// How many flags are open.
pub async fn count_open(
    connection: &mut PgConnection,
    programme_id: Uuid,
) -> Result<u64, StoreError> {
    let count = sqlx::query_scalar!(
        r#"select count(*) as "count!" from flag f where programme_id = $1
           and not exists (select from flag_disposition d
                           where d.programme_id = $1 and d.flag_id = f.flag_id)"#,
        programme_id
    )
    .fetch_one(connection)
    .await?;
    unsigned(count, "count")
}

/// The rows that a flag names, the earlier batches first.
pub async fn rows_of(
    connection: &mut PgConnection,
    programme_id: Uuid,
    id: Uuid,
) -> Result<Vec<RowPlace>, StoreError> {
    let rows = sqlx::query!(
        "select r.batch_id, r.line from flag_row r join batch b using (programme_id, batch_id)
         where r.programme_id = $1 and r.flag_id = $2 order by b.sequence, r.line",
        programme_id,
        id
    )
    .fetch_all(connection)
    .await?;
    rows.into_iter()
        .map(|row| {
            Ok(RowPlace {
                batch: row.batch_id,
                line: unsigned(row.line, "row")?,
            })
        })
        .collect()
}

pub async fn insert_answer(
    connection: &mut PgConnection,
    programme_id: Uuid,
    record: &FlagAnswerRecord,
    sequence: u64,
) -> Result<(), StoreError> {
    sqlx::query!(
        "insert into flag_disposition (programme_id, flag_id, sequence, word, reason)
         values ($1, $2, $3, $4, $5)",
        programme_id,
        record.flag,
        signed(sequence),
        record.disposition.code(),
        record.reason
    )
    .execute(connection)
    .await?;
    Ok(())
}

/// What was said of a flag, the first answer first.
pub async fn answers(
    connection: &mut PgConnection,
    programme_id: Uuid,
    id: Uuid,
) -> Result<Vec<AnswerRow>, StoreError> {
    let rows = sqlx::query!(
        "select d.word, d.reason, d.sequence, e.actor, e.at
         from flag_disposition d join trail_entry e using (programme_id, sequence)
         where d.programme_id = $1 and d.flag_id = $2 order by d.sequence",
        programme_id,
        id
    )
    .fetch_all(connection)
    .await?;
    rows.into_iter()
        .map(|row| {
            Ok(AnswerRow {
                disposition: known_word(&row.word)?,
                reason: row.reason,
                sequence: unsigned(row.sequence, "flag")?,
                actor: row.actor,
                at: row.at,
            })
        })
        .collect()
}
