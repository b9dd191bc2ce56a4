//! Corrections: which rows were superseded or excluded and which batches withdrawn, from which
//! trail entry on.
//!
//! Which rows count at a position is said by the functions `live_x` and `standing_x` of the
//! database, one pair for each table of evidence.

use super::staging::table;
use super::{StoreError, signed, unsigned};
use crate::accounting::records::corrections::{Correction, CorrectionKind};
use crate::intake::BatchKind;
use chrono::{DateTime, Utc};
use sqlx::{AssertSqlSafe, PgConnection, Row as _};
use uuid::Uuid;

/// A correction with what its trail entry says of it.
#[derive(Debug, Clone)]
pub struct CorrectionRow {
    pub correction: Correction,
    pub sequence: u64,
    pub actor: String,
    pub at: DateTime<Utc>,
    pub reason: String,
}

/// Whether anything was ever corrected.
pub async fn any(connection: &mut PgConnection, programme_id: Uuid) -> Result<bool, StoreError> {
    Ok(sqlx::query_scalar!(
        r#"select exists (select from correction where programme_id = $1) as "any!""#,
        programme_id
    )
    .fetch_one(connection)
    .await?)
}

pub async fn insert(
    connection: &mut PgConnection,
    programme_id: Uuid,
    correction: &Correction,
    sequence: u64,
) -> Result<(), StoreError> {
    sqlx::query!(
        "insert into correction (programme_id, sequence, kind, batch_id, line, replaced_by)
         values ($1, $2, $3, $4, $5, $6)",
        programme_id,
        signed(sequence),
        correction.kind.code(),
        correction.batch,
        correction.line.map(signed),
        correction.replaced_by
    )
    .execute(connection)
    .await?;
    Ok(())
}

/// Which corrections are asked for.
#[derive(Debug, Clone, Copy)]
pub struct Asked<'a> {
    /// Trail position at which they are known.
    pub position: u64,
    /// Only those of these batches, or that one of these came out of.
    pub batches: Option<&'a [Uuid]>,
    /// Only those below this entry.
    pub before: Option<u64>,
    pub limit: Option<u32>,
}

/// Corrections known at a position, the latest first.
pub async fn list(
    connection: &mut PgConnection,
    programme_id: Uuid,
    asked: Asked<'_>,
) -> Result<Vec<CorrectionRow>, StoreError> {
    let rows = sqlx::query!(
        r#"select c.sequence, c.kind, c.batch_id, c.line, c.replaced_by, e.actor, e.at,
                  coalesce(e.reason, '') as "reason!"
           from correction c join trail_entry e using (programme_id, sequence)
           where c.programme_id = $1 and c.sequence < $2
             and ($3::uuid[] is null or c.batch_id = any($3) or c.replaced_by = any($3))
             and ($4::bigint is null or c.sequence < $4)
           order by c.sequence desc limit $5"#,
        programme_id,
        signed(asked.position),
        asked.batches,
        asked.before.map(signed),
        asked.limit.map(i64::from)
    )
    .fetch_all(connection)
    .await?;
    rows.into_iter()
        .map(|row| {
            let kind = CorrectionKind::from_code(&row.kind)
                .ok_or_else(|| StoreError::damaged("correction", "its kind is unknown"))?;
            let line = row.line.map(|line| unsigned(line, "correction"));
            Ok(CorrectionRow {
                correction: Correction {
                    kind,
                    batch: row.batch_id,
                    line: line.transpose()?,
                    replaced_by: row.replaced_by,
                },
                sequence: unsigned(row.sequence, "correction")?,
                actor: row.actor,
                at: row.at,
                reason: row.reason,
            })
        })
        .collect()
}

/// A row that stands in place of another.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Successor {
    /// Line of the row that was superseded.
    pub superseded_line: u64,
    /// The batch of one row that stands in its place.
    pub batch: Uuid,
}

/// Rows that stand, by however many steps, in place of rows of this batch; in the order of its
/// lines.
pub async fn standing_successors(
    connection: &mut PgConnection,
    programme_id: Uuid,
    batch_id: Uuid,
) -> Result<Vec<Successor>, StoreError> {
    let rows = sqlx::query!(
        r#"with recursive later (line, batch_id) as (
               select line, replaced_by from correction
               where programme_id = $1 and batch_id = $2 and replaced_by is not null
               union
               select later.line, c.replaced_by from correction c join later using (batch_id)
               where c.programme_id = $1 and c.replaced_by is not null
           )
           select line as "line!", batch_id as "batch_id!" from later
           where not exists (select from correction c
                             where c.programme_id = $1 and c.batch_id = later.batch_id
                               and c.kind <> 'excluded')
           order by 1, 2"#,
        programme_id,
        batch_id
    )
    .fetch_all(connection)
    .await?;
    rows.into_iter()
        .map(|row| {
            Ok(Successor {
                superseded_line: unsigned(row.line, "correction")?,
                batch: row.batch_id,
            })
        })
        .collect()
}

/// A row that refers to one that no longer stands.
#[derive(Debug, Clone)]
pub struct Orphan {
    pub kind: BatchKind,
    pub batch: Uuid,
    pub line: u64,
    /// What it refers to.
    pub named: String,
}

/// A position above every entry of any trail.
const NOW: i64 = i64::MAX;

/// Orphans told of each kind.
const ORPHANS_TOLD: u32 = 3;

/// Rows that count and refer to a household or deployment of `batch`, of its `line` alone where
/// that is given, and to none that stands now: the first of each kind.
///
/// Only rows of the register are referred to; for other kinds there is nothing to find. A row
/// that is excluded may be left behind: it counts nowhere, and is checked again when superseded.
pub async fn orphans(
    connection: &mut PgConnection,
    programme_id: Uuid,
    kind: BatchKind,
    batch: Uuid,
    line: Option<u64>,
) -> Result<Vec<Orphan>, StoreError> {
    let mut found = Vec::new();
    for referring in BatchKind::ALL {
        let Some((same, named)) = reference(referring, kind) else {
            continue;
        };
        let referred = table(kind);
        let sql = format!(
            "select r.batch_id, r.line, {named} as named
             from live_{referring}($1, {NOW}) r
             where exists (select from {referred} o
                           where o.programme_id = $1 and o.batch_id = $2
                             and ($3::bigint is null or o.line = $3) and {same})
               and not exists (select from standing_{referred}($1) o where {same})
             order by r.sequence, r.line limit {ORPHANS_TOLD}",
            referring = table(referring)
        );
        let rows = sqlx::query(AssertSqlSafe(sql))
            .bind(programme_id)
            .bind(batch)
            .bind(line.map(signed))
            .fetch_all(&mut *connection)
            .await?;
        for row in &rows {
            found.push(Orphan {
                kind: referring,
                batch: row.try_get("batch_id")?,
                line: unsigned(row.try_get("line")?, "row")?,
                named: row.try_get("named")?,
            });
        }
    }
    Ok(found)
}

/// How a row `r` of one kind refers to a row `o` of another, and what it calls it.
fn reference(from: BatchKind, to: BatchKind) -> Option<(&'static str, &'static str)> {
    let has = |name| from.template().column(name).is_some();
    match (to, from) {
        (BatchKind::Households, BatchKind::Households) => None,
        (BatchKind::Households, _) if has("household_code") => Some((
            "o.household_code = r.household_code",
            "format('household %s', r.household_code)",
        )),
        (BatchKind::Deployments, BatchKind::DeploymentEnds) => Some((
            "o.serial = r.serial and o.installed_on = r.installed_on",
            "format('stove %s installed on %s', r.serial, r.installed_on)",
        )),
        (BatchKind::Deployments, BatchKind::UsageSurvey) => Some((
            "o.serial = r.serial and o.household_code = r.household_code
             and o.installed_on <= r.surveyed_on",
            "format('stove %s in household %s', r.serial, r.household_code)",
        )),
        _ => None,
    }
}

/// Opens again the deployments whose end was superseded by one of another deployment.
pub async fn reopen(connection: &mut PgConnection, programme_id: Uuid) -> Result<(), StoreError> {
    sqlx::query!(
        "update deployment_span s set span = daterange(s.installed_on, d.ended_on)
         from deployment d
         where s.programme_id = $1 and isempty(s.span)
           and (d.programme_id, d.batch_id, d.line) = (s.programme_id, s.batch_id, s.line)",
        programme_id
    )
    .execute(connection)
    .await?;
    Ok(())
}
