//! From an accepted file to its table: COPY into a staging table, set-based
//! checks, one insert. All inside the caller's transaction.
//!
//! The statements here are built from the template of the kind, so the compiler
//! cannot check them; the end-to-end tests run each on a real PostgreSQL.

mod checks;

use super::{StoreError, signed};
use crate::intake::{BatchKind, CellTexts, Column, Rejection, Template, ValueRule};
use crate::trail::merkle::Hash;
use sqlx::{AssertSqlSafe, PgConnection, Row as _};
use std::fmt::Write as _;
use std::io::Write as _;
use uuid::Uuid;

/// The table that holds the rows of a kind.
pub(super) fn table(kind: BatchKind) -> &'static str {
    match kind {
        BatchKind::Households => "household",
        BatchKind::Deployments => "deployment",
        BatchKind::DeploymentEnds => "deployment_end",
        BatchKind::UsageSurvey => "usage_answer",
        BatchKind::KitchenTest => "kitchen_day",
        BatchKind::CharWeighing => "char_weighing",
        BatchKind::BaselineSurvey => "baseline_survey_answer",
        BatchKind::CookingTest => "cooking_test",
        BatchKind::StoveTest => "stove_test",
        BatchKind::CharLab => "char_lab_result",
        BatchKind::MoistureReading => "moisture_reading",
    }
}

/// The columns of which no two standing rows of a kind are the same; the migrations build
/// the unique indexes over them.
pub(super) fn key(kind: BatchKind) -> &'static str {
    match kind {
        BatchKind::Households => "household_code",
        BatchKind::Deployments | BatchKind::DeploymentEnds => "serial, installed_on",
        BatchKind::UsageSurvey => "round_code, serial",
        BatchKind::KitchenTest => "round_code, household_code, measured_on, device, fuel",
        BatchKind::CharWeighing => "round_code, row_hash",
        BatchKind::BaselineSurvey => "household_code, surveyed_on, device, fuel",
        BatchKind::CookingTest | BatchKind::StoveTest => "test_code",
        BatchKind::CharLab => "sample_code",
        BatchKind::MoistureReading => "household_code, measured_on, fuel",
    }
}

fn sql_type(column: &Column) -> &'static str {
    match column.value {
        ValueRule::Code { .. } | ValueRule::OneOf { .. } => "text",
        ValueRule::Date => "date",
        ValueRule::Decimal { .. } => "numeric",
        ValueRule::Integer { .. } => "integer",
        ValueRule::YesNo => "boolean",
        ValueRule::Minute => "timestamp",
    }
}

/// Makes the staging table of this transaction.
pub async fn open(connection: &mut PgConnection, template: &Template) -> Result<(), StoreError> {
    let mut sql =
        "create temp table staged (line bigint not null, row_hash bytea not null".to_owned();
    for column in template.columns {
        let _ = write!(sql, ", {} {}", column.name, sql_type(column));
    }
    sql.push_str(") on commit drop");
    sqlx::query(AssertSqlSafe(sql))
        .execute(&mut *connection)
        .await?;
    // The checks and the insert sort and join the whole batch, which the default of 4 MB sends to disk.
    sqlx::query("set local work_mem = '64MB'")
        .execute(connection)
        .await?;
    Ok(())
}

/// One row in the text format of COPY: its line, its hash and the texts of its cells.
pub fn copy_line(buffer: &mut Vec<u8>, line: u64, row_hash: &Hash, texts: &CellTexts) {
    // Writing to memory cannot fail.
    let _ = write!(buffer, "{line}\t\\\\x{row_hash}");
    for text in texts.iter() {
        buffer.push(b'\t');
        let Some(text) = text else {
            buffer.extend_from_slice(b"\\N");
            continue;
        };
        for byte in text.bytes() {
            match byte {
                b'\\' => buffer.extend_from_slice(b"\\\\"),
                b'\t' => buffer.extend_from_slice(b"\\t"),
                b'\n' => buffer.extend_from_slice(b"\\n"),
                b'\r' => buffer.extend_from_slice(b"\\r"),
                other => buffer.push(other),
            }
        }
    }
    buffer.push(b'\n');
}

/// Sends what `chunks` yields into the staging table; returns the rows copied.
pub async fn copy(
    connection: &mut PgConnection,
    chunks: &mut tokio::sync::mpsc::Receiver<Vec<u8>>,
) -> Result<u64, StoreError> {
    let mut sink = connection.copy_in_raw("copy staged from stdin").await?;
    while let Some(chunk) = chunks.recv().await {
        sink.send(chunk).await?;
    }
    let rows = sink.finish().await?;
    // The checks join on what was just copied; without statistics they would be planned for an empty table.
    sqlx::query("analyze staged").execute(connection).await?;
    Ok(rows)
}

/// What the staged rows break of the rules that need the database.
#[derive(Debug)]
pub struct Findings {
    /// The first of them, in line order within each rule.
    pub rejections: Vec<Rejection>,
    pub count: u64,
}

/// What the staged rows are.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Staged {
    /// All rows of a file.
    WholeFile,
    /// Those rows of a file that could be read: nothing is said that the others might have
    /// answered.
    PartOfFile,
    /// One row in place of another: its fellows stand in an earlier batch.
    OneRow,
}

/// Runs every check of the kind on the staged rows.
pub async fn check(
    connection: &mut PgConnection,
    programme_id: Uuid,
    kind: BatchKind,
    round_code: Option<&str>,
    staged: Staged,
) -> Result<Findings, StoreError> {
    let mut findings = Findings {
        rejections: Vec::new(),
        count: 0,
    };
    let askable = |check: &&checks::Check| match staged {
        Staged::WholeFile => true,
        Staged::PartOfFile => !check.needs_every_row,
        Staged::OneRow => !check.of_whole_files,
    };
    for check in checks::of(kind).iter().filter(askable) {
        let sql = format!(
            "select line, detail, count(*) over () as total
             from ({}) as broken order by line limit 1000",
            check.broken_rows
        );
        // Every check may name both parameters; this keeps their types known where it does not.
        let sql = format!("with asked as (select $1::uuid, $2::text) {sql}");
        let rows = sqlx::query(AssertSqlSafe(sql))
            .bind(programme_id)
            .bind(round_code)
            .fetch_all(&mut *connection)
            .await?;
        for (index, row) in rows.iter().enumerate() {
            if index == 0 {
                findings.count += super::unsigned(row.try_get("total")?, "count")?;
            }
            findings.rejections.push(Rejection {
                line: Some(super::unsigned(row.try_get("line")?, "line")?),
                column: Some(check.column.to_owned()),
                code: check.code,
                detail: row.try_get("detail")?,
            });
        }
    }
    Ok(findings)
}

/// Moves the staged rows into their table as rows of `batch_id`.
///
/// From here on a row's line is its place in the batch, the header being line 1:
/// that place is what the batch's root commits to. It is the line of the file
/// too, but for a file with blank lines.
pub async fn insert(
    connection: &mut PgConnection,
    programme_id: Uuid,
    kind: BatchKind,
    round_code: Option<&str>,
    batch_id: Uuid,
    sequence: u64,
) -> Result<u64, StoreError> {
    let names = kind.template().columns.iter().map(|column| column.name);
    let columns = names.clone().collect::<Vec<_>>().join(", ");
    let staged_columns: Vec<String> = names.map(|name| format!("s.{name}")).collect();
    let staged_columns = staged_columns.join(", ");
    let (round_column, round_value) = if kind.needs_round() {
        (", round_code", ", $4::text")
    } else {
        ("", "")
    };
    let generations = Generations::of(connection, programme_id, kind).await?;
    let sql = format!(
        "with asked as (select $4::text){gone}
         insert into {table} (programme_id, batch_id, sequence, line, row_hash{round_column}, {columns}, generation)
         select $1::uuid, $2::uuid, $3::bigint, 1 + row_number() over (order by s.line),
                s.row_hash{round_value}, {staged_columns}, {generation}
         from staged s {joined} order by s.line",
        table = table(kind),
        gone = generations.gone,
        joined = generations.joined,
        generation = generations.of_row,
    );
    let done = sqlx::query(AssertSqlSafe(sql))
        .bind(programme_id)
        .bind(batch_id)
        .bind(signed(sequence))
        .bind(round_code)
        .execute(connection)
        .await?;
    Ok(done.rows_affected())
}

/// How the rows to be inserted learn which generation of their key they are: how many rows
/// held it before and were superseded or withdrawn.
struct Generations {
    /// A further table of the statement: each key that rows have left, and how many.
    gone: String,
    /// How a staged row `s` finds its key in it.
    joined: String,
    of_row: &'static str,
}

impl Generations {
    /// A programme without corrections, as most are, is spared the work.
    async fn of(
        connection: &mut PgConnection,
        programme_id: Uuid,
        kind: BatchKind,
    ) -> Result<Self, StoreError> {
        if !super::corrections::any(connection, programme_id).await? {
            return Ok(Generations {
                gone: String::new(),
                joined: String::new(),
                of_row: "0",
            });
        }
        let (key, table) = (key(kind), table(kind));
        let same_key = key
            .split(", ")
            .map(|column| match column {
                "round_code" => "g.round_code = $4".to_owned(),
                column => format!("g.{column} = s.{column}"),
            })
            .collect::<Vec<_>>()
            .join(" and ");
        Ok(Generations {
            gone: format!(
                ", gone as materialized (
                     select {key}, count(distinct (t.batch_id, t.line))::integer as rows
                     from correction c
                     join {table} t on t.programme_id = c.programme_id and t.batch_id = c.batch_id
                                   and (c.line is null or c.line = t.line)
                     where c.programme_id = $1 and c.kind <> 'excluded' group by {key})"
            ),
            joined: format!("left join gone g on {same_key}"),
            of_row: "coalesce(g.rows, 0)",
        })
    }
}

/// Batches below this many rows leave the planner's statistics to the database's own care.
const LARGE_BATCH_ROWS: u64 = 1_000;

/// Brings the planner's statistics up to date after a batch with more rows than the
/// planner knows of in the whole table. The database does so by itself, but only about a
/// minute later: what is asked until then would be planned for a small table.
pub async fn refresh_statistics(
    connection: &mut PgConnection,
    kind: BatchKind,
    rows: u64,
) -> Result<(), StoreError> {
    if rows < LARGE_BATCH_ROWS {
        return Ok(());
    }
    let outgrown: bool =
        sqlx::query_scalar("select reltuples < $2 from pg_class where oid = $1::regclass")
            .bind(table(kind))
            .bind(rows as f32)
            .fetch_one(&mut *connection)
            .await?;
    if !outgrown {
        return Ok(());
    }
    let mut sql = format!("analyze {}", table(kind));
    if kind == BatchKind::Deployments {
        // Filled by a trigger.
        sql.push_str(", deployment_span");
    }
    sqlx::query(AssertSqlSafe(sql)).execute(connection).await?;
    Ok(())
}
