//! Every table as it stands, for an audit that trusts none of them: rows with all their
//! columns, in the order of the trail entries that should have written them.
//!
//! Nothing is changed here, and memory stays flat: rows come through cursors.

mod derived;
mod files;

pub use derived::{
    Derived, rounds_beside, wrong_attachments, wrong_finding_batches, wrong_generations,
    wrong_known_households, wrong_spans,
};
pub use files::{FilePart, each_part, kept_files, unknown_file_columns};

use super::staging::table;
use super::{StoreError, rows, signed};
use crate::intake::BatchKind;
use chrono::{DateTime, Utc};
use futures_util::TryStreamExt;
use serde_json::{Map, Value};
use sqlx::{AssertSqlSafe, PgConnection, Row as _};
use std::collections::VecDeque;
use uuid::Uuid;

/// Rows that a cursor fetches at a time.
const ROWS_AT_ONCE: usize = 500;

/// A table whose rows follow from the trail.
#[derive(Debug, Clone, Copy)]
pub struct AuditedTable {
    pub name: &'static str,
    /// The columns that tell its rows of one programme apart.
    pub key: &'static [&'static str],
    /// The trail entry that a row `t` says it is of, in SQL; -1 where it says none.
    entry: &'static str,
}

const fn of_sequence(name: &'static str, key: &'static [&'static str]) -> AuditedTable {
    AuditedTable {
        name,
        key,
        entry: "t.sequence",
    }
}

/// Tables that are read beside the trail, entry by entry.
pub const BESIDE_THE_TRAIL: [AuditedTable; 21] = [
    AuditedTable {
        name: "trail_node",
        key: &["level", "index"],
        // The leaf that completes the node.
        entry: "case when t.level between 0 and 62 and t.index between 0 and (9223372036854775807 >> t.level::integer) - 1
                     then ((t.index + 1) << t.level::integer) - 1 else -1 end",
    },
    AuditedTable {
        name: "checkpoint",
        key: &["size"],
        entry: "greatest(t.size, 0) - 1",
    },
    // After the heads, which it is read beside.
    AuditedTable {
        name: "cosignature",
        key: &["size", "witness"],
        entry: "greatest(t.size, 0) - 1",
    },
    of_sequence("site", &["site_code"]),
    of_sequence("stove_model", &["model_code", "model_version"]),
    of_sequence("factor", &["code", "version"]),
    of_sequence("methodology", &["code", "version"]),
    of_sequence("round", &["round_code"]),
    of_sequence("round_step", &["round_code", "step"]),
    of_sequence("batch", &["batch_id"]),
    of_sequence("correction", &["sequence"]),
    of_sequence("flag", &["flag_id"]),
    AuditedTable {
        name: "flag_row",
        key: &["flag_id", "batch_id", "line"],
        entry: "coalesce((select min(f.sequence) from flag f
                          where f.programme_id = t.programme_id and f.flag_id = t.flag_id), -1)",
    },
    of_sequence("flag_disposition", &["flag_id", "sequence"]),
    of_sequence("column_mapping", &["kind", "name", "sequence"]),
    of_sequence("monitoring_period", &["period_code"]),
    of_sequence("period_close", &["period_code"]),
    of_sequence("statement", &["statement_id"]),
    of_sequence("finding", &["number"]),
    of_sequence("finding_entry", &["sequence"]),
    of_sequence("finding_attachment", &["sequence", "place"]),
];

/// Tables of which a row changes with later entries, so that they are compared at the end.
pub const AS_OF_NOW: [AuditedTable; 4] = [
    AuditedTable {
        name: "programme",
        key: &["code"],
        entry: "0",
    },
    AuditedTable {
        name: "trail_head",
        key: &[],
        entry: "0",
    },
    AuditedTable {
        name: "access_token",
        key: &["token_id"],
        entry: "0",
    },
    AuditedTable {
        name: "person",
        key: &["person_id"],
        entry: "0",
    },
];

/// Fixes how values are written, and one state of the database for the whole transaction.
pub async fn settle(connection: &mut PgConnection) -> Result<(), StoreError> {
    sqlx::raw_sql(
        "set transaction isolation level repeatable read, read only;
         set local timezone = 'UTC'; set local datestyle = 'ISO, YMD';
         set local bytea_output = 'hex'; set local row_security = off",
    )
    .execute(connection)
    .await?;
    Ok(())
}

/// Ids of the programme of this code, by the directory or by a trail; of all, without a code.
pub async fn programmes(
    connection: &mut PgConnection,
    code: Option<&str>,
) -> Result<Vec<Uuid>, StoreError> {
    Ok(sqlx::query_scalar(
        "select programme_id from (
             select programme_id from programme where $1::text is null or code = $1
             union select programme_id from trail_head where $1::text is null
             union select programme_id from trail_entry
                   where sequence = 0 and ($1::text is null or subject = $1)) as known
         order by programme_id",
    )
    .bind(code)
    .fetch_all(connection)
    .await?)
}

/// Tables with rows of programmes that are not these: name, programme, count.
pub async fn strays(
    connection: &mut PgConnection,
    known: &[Uuid],
) -> Result<Vec<(String, Uuid, i64)>, StoreError> {
    let tables: Vec<String> = sqlx::query_scalar(
        "select c.relname::text from pg_class c
         join pg_attribute a on a.attrelid = c.oid and a.attname = 'programme_id' and not a.attisdropped
         where c.relkind in ('r', 'p') and c.relnamespace = current_schema()::regnamespace
         order by 1",
    )
    .fetch_all(&mut *connection)
    .await?;
    let mut found = Vec::new();
    for table in tables {
        let sql = format!(
            "select programme_id, count(*) from \"{table}\"
             where programme_id <> all ($1) group by programme_id order by programme_id"
        );
        let rows: Vec<(Uuid, i64)> = sqlx::query_as(AssertSqlSafe(sql))
            .bind(known)
            .fetch_all(&mut *connection)
            .await?;
        found.extend(
            rows.into_iter()
                .map(|(id, count)| (table.clone(), id, count)),
        );
    }
    Ok(found)
}

/// A trail entry as its columns have it; hashes may have any length.
#[derive(Debug, Clone, sqlx::FromRow)]
pub struct RawEntry {
    pub sequence: i64,
    pub kind: String,
    pub subject: String,
    pub actor: String,
    pub at: DateTime<Utc>,
    pub reason: Option<String>,
    pub leaf: Vec<u8>,
    pub leaf_hash: Vec<u8>,
    pub content: Vec<u8>,
    pub content_hash: Vec<u8>,
}

/// Entries after `after`, in order, at most `limit`.
pub async fn entries(
    connection: &mut PgConnection,
    programme_id: Uuid,
    after: i64,
    limit: u32,
) -> Result<Vec<RawEntry>, StoreError> {
    Ok(sqlx::query_as(
        "select sequence, kind, subject, actor, at, reason, leaf, leaf_hash, content, content_hash
         from trail_entry where programme_id = $1 and sequence > $2 order by sequence limit $3",
    )
    .bind(programme_id)
    .bind(after)
    .bind(i64::from(limit))
    .fetch_all(connection)
    .await?)
}

/// The content of one entry.
pub async fn content(
    connection: &mut PgConnection,
    programme_id: Uuid,
    sequence: u64,
) -> Result<Option<Vec<u8>>, StoreError> {
    Ok(sqlx::query_scalar(
        "select content from trail_entry where programme_id = $1 and sequence = $2",
    )
    .bind(programme_id)
    .bind(signed(sequence))
    .fetch_optional(connection)
    .await?)
}

/// The contents of the first entry and of those whose column says one of these kinds, in order.
pub async fn first_and_of_kinds(
    connection: &mut PgConnection,
    programme_id: Uuid,
    kinds: &[&str],
) -> Result<Vec<Vec<u8>>, StoreError> {
    Ok(sqlx::query_scalar(
        "select content from trail_entry
         where programme_id = $1 and (sequence = 0 or kind = any ($2)) order by sequence",
    )
    .bind(programme_id)
    .bind(kinds)
    .fetch_all(connection)
    .await?)
}

/// A table's rows with all their columns, in the order of their trail entries.
#[derive(Debug)]
pub struct Cursor {
    pub table: AuditedTable,
    waiting: VecDeque<(i64, Map<String, Value>)>,
    exhausted: bool,
}

impl Cursor {
    pub async fn open(
        connection: &mut PgConnection,
        programme_id: Uuid,
        table: AuditedTable,
    ) -> Result<Self, StoreError> {
        // What defines a cursor takes no parameters; an id holds nothing to quote.
        let sql = format!(
            "declare audit_{name} no scroll cursor for
             select ({entry})::bigint as entry, to_jsonb(t)::text as cells
             from \"{name}\" t where t.programme_id = '{programme_id}' order by 1, ctid",
            name = table.name,
            entry = table.entry
        );
        sqlx::query(AssertSqlSafe(sql)).execute(connection).await?;
        Ok(Cursor {
            table,
            waiting: VecDeque::new(),
            exhausted: false,
        })
    }

    /// The rows that stand at entries up to `entry` and were not taken before, each with its entry.
    pub async fn take_until(
        &mut self,
        connection: &mut PgConnection,
        entry: i64,
    ) -> Result<Vec<(i64, Map<String, Value>)>, StoreError> {
        let mut taken = Vec::new();
        loop {
            while let Some((at, _)) = self.waiting.front() {
                if *at > entry {
                    return Ok(taken);
                }
                taken.extend(self.waiting.pop_front());
            }
            if self.exhausted {
                return Ok(taken);
            }
            self.fetch(connection).await?;
        }
    }

    async fn fetch(&mut self, connection: &mut PgConnection) -> Result<(), StoreError> {
        let sql = format!("fetch {ROWS_AT_ONCE} from audit_{}", self.table.name);
        let rows: Vec<(i64, String)> = sqlx::query_as(AssertSqlSafe(sql))
            .fetch_all(connection)
            .await?;
        self.exhausted = rows.len() < ROWS_AT_ONCE;
        for (entry, cells) in rows {
            let mut cells: Map<String, Value> = serde_json::from_str(&cells)
                .map_err(|e| StoreError::damaged(self.table.name, e))?;
            cells.remove("programme_id");
            self.waiting.push_back((entry, cells));
        }
        Ok(())
    }

    pub async fn close(self, connection: &mut PgConnection) -> Result<(), StoreError> {
        let sql = format!("close audit_{}", self.table.name);
        sqlx::query(AssertSqlSafe(sql)).execute(connection).await?;
        Ok(())
    }
}

/// A row of evidence with what the database keeps beside its cells.
#[derive(Debug)]
pub struct EvidenceRow {
    pub batch_id: Uuid,
    pub line: i64,
    pub sequence: i64,
    pub round_code: Option<String>,
    pub row_hash: Vec<u8>,
    /// In template order; absent = empty cell.
    pub texts: Vec<Option<String>>,
}

/// The table that the rows of a kind are in.
pub fn table_of(kind: BatchKind) -> &'static str {
    table(kind)
}

/// Hands every row of a kind to `take`, batch after batch.
pub async fn each_row(
    connection: &mut PgConnection,
    programme_id: Uuid,
    kind: BatchKind,
    mut take: impl FnMut(EvidenceRow),
) -> Result<(), StoreError> {
    let sql = rows::selection(kind) + "where programme_id = $1 order by batch_id, line";
    let mut found = sqlx::query(AssertSqlSafe(sql))
        .bind(programme_id)
        .fetch(connection);
    while let Some(row) = found.try_next().await? {
        let texts = (0..kind.template().columns.len())
            .map(|index| row.try_get::<Option<String>, _>(rows::FIXED_COLUMNS + index))
            .collect::<Result<_, _>>()?;
        take(EvidenceRow {
            batch_id: row.try_get("batch_id")?,
            line: row.try_get("line")?,
            sequence: row.try_get("sequence")?,
            round_code: row.try_get("round_code")?,
            row_hash: row.try_get("row_hash")?,
            texts,
        });
    }
    Ok(())
}

/// Columns of a kind's table that neither its template nor the fixed part of a row knows.
pub async fn unknown_columns(
    connection: &mut PgConnection,
    kind: BatchKind,
) -> Result<Vec<String>, StoreError> {
    let mut known: Vec<&str> = vec![
        "programme_id",
        "batch_id",
        "line",
        "sequence",
        "row_hash",
        "generation",
    ];
    if kind.needs_round() {
        known.push("round_code");
    }
    known.extend(kind.template().columns.iter().map(|column| column.name));
    Ok(sqlx::query_scalar(
        "select attname::text from pg_attribute
         where attrelid = $1::text::regclass and attnum > 0 and not attisdropped and attname <> all ($2)",
    )
    .bind(table(kind))
    .bind(&known)
    .fetch_all(connection)
    .await?)
}
