//! Accepted rows read back as texts, in the columns of their template: for
//! pages, proofs and the export.
//!
//! The texts are those that were hashed: dates in ISO form, decimals with the
//! digits that were entered, `yes` and `no`, nothing for an empty cell.

use super::sites;
use super::staging::table;
use super::{StoreError, signed, unsigned};
use crate::accounting::records::flags::RowPlace;
use crate::intake::{BatchKind, ValueRule};
use crate::trail::merkle::Hash;
use futures_util::TryStreamExt;
use sqlx::postgres::PgRow;
use sqlx::{AssertSqlSafe, PgConnection, Row as _};
use uuid::Uuid;

/// One accepted row.
#[derive(Debug, Clone)]
pub struct StoredRow {
    pub batch_id: Uuid,
    pub round_code: Option<String>,
    pub line: u64,
    pub row_hash: Hash,
    /// In template order; absent = empty cell.
    pub texts: Vec<Option<String>>,
}

/// Columns of [`selection`] before those of the template.
pub(super) const FIXED_COLUMNS: usize = 5;

/// All accepted rows of a kind, corrected or not.
pub(super) fn selection(kind: BatchKind) -> String {
    selection_from(kind, table(kind))
}

/// The rows of a kind that count at the position of parameter `known_at`.
fn live(kind: BatchKind, known_at: &str) -> String {
    let table = table(kind);
    selection_from(kind, &format!("live_{table}($1, {known_at}) as {table}"))
}

fn selection_from(kind: BatchKind, source: &str) -> String {
    let mut sql = "select batch_id, line, row_hash, sequence".to_owned();
    sql.push_str(if kind.needs_round() {
        ", round_code"
    } else {
        ", null::text as round_code"
    });
    for column in kind.template().columns {
        sql.push_str(", ");
        match column.value {
            ValueRule::YesNo => {
                sql.push_str(&format!(
                    "case {} when true then 'yes' when false then 'no' end",
                    column.name
                ));
            }
            ValueRule::Minute => sql.push_str(&format!(
                "to_char({}, 'YYYY-MM-DD\"T\"HH24:MI')",
                column.name
            )),
            _ => sql.push_str(&format!("{}::text", column.name)),
        }
    }
    format!("{sql} from {source} ")
}

fn stored_row(kind: BatchKind, row: &PgRow) -> Result<StoredRow, StoreError> {
    let hash: &[u8] = row.try_get("row_hash")?;
    let texts = (0..kind.template().columns.len())
        .map(|index| row.try_get::<Option<String>, _>(FIXED_COLUMNS + index))
        .collect::<Result<_, _>>()?;
    Ok(StoredRow {
        batch_id: row.try_get("batch_id")?,
        round_code: row.try_get("round_code")?,
        line: unsigned(row.try_get("line")?, "row")?,
        row_hash: <[u8; 32]>::try_from(hash)
            .map(Hash)
            .map_err(|e| StoreError::damaged("row", e))?,
        texts,
    })
}

/// Hands every row known at `position` to `take`, in trail order; memory stays flat.
pub async fn each<E>(
    connection: &mut PgConnection,
    programme_id: Uuid,
    kind: BatchKind,
    position: u64,
    mut take: impl FnMut(StoredRow) -> Result<(), E>,
) -> Result<Result<(), E>, StoreError> {
    let sql = selection(kind) + "where programme_id = $1 and sequence < $2 order by sequence, line";
    let mut rows = sqlx::query(AssertSqlSafe(sql))
        .bind(programme_id)
        .bind(signed(position))
        .fetch(connection);
    while let Some(row) = rows.try_next().await? {
        if let Err(refused) = take(stored_row(kind, &row)?) {
            return Ok(Err(refused));
        }
    }
    Ok(Ok(()))
}

/// A place in the order of all rows of a kind: trail entry, then line.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Place {
    pub sequence: u64,
    pub line: u64,
}

/// A page of all rows of a kind that count at `position`, after `after`; each with its place.
/// `own_sites` leaves out the rows of other sites, here and below; absent = every site.
pub async fn page(
    connection: &mut PgConnection,
    programme_id: Uuid,
    kind: BatchKind,
    position: u64,
    after: Option<Place>,
    limit: u32,
    own_sites: Option<&[String]>,
) -> Result<Vec<(Place, StoredRow)>, StoreError> {
    let sql = live(kind, "$2")
        + "where (sequence, line) > ($3, $4) and "
        + &sites::condition(kind, "$6")
        + " order by sequence, line limit $5";
    let (sequence, line) = after.map_or((-1, 0), |a| (signed(a.sequence), signed(a.line)));
    let rows = sqlx::query(AssertSqlSafe(sql))
        .bind(programme_id)
        .bind(signed(position))
        .bind(sequence)
        .bind(line)
        .bind(i64::from(limit))
        .bind(own_sites)
        .fetch_all(connection)
        .await?;
    rows.iter()
        .map(|row| {
            let stored = stored_row(kind, row)?;
            let sequence = unsigned(row.try_get("sequence")?, "row")?;
            Ok((
                Place {
                    sequence,
                    line: stored.line,
                },
                stored,
            ))
        })
        .collect()
}

/// Rows that count at `position` and whose column `column` of the template is `value`.
///
/// `column` must come from the template, never from a request.
pub async fn with_code(
    connection: &mut PgConnection,
    programme_id: Uuid,
    kind: BatchKind,
    column: &'static str,
    value: &str,
    position: u64,
    own_sites: Option<&[String]>,
) -> Result<Vec<StoredRow>, StoreError> {
    let sql = live(kind, "$3")
        + &format!(
            "where {column} = $2 and {}
             order by sequence, line",
            sites::condition(kind, "$4")
        );
    let rows = sqlx::query(AssertSqlSafe(sql))
        .bind(programme_id)
        .bind(value)
        .bind(signed(position))
        .bind(own_sites)
        .fetch_all(connection)
        .await?;
    rows.iter().map(|row| stored_row(kind, row)).collect()
}

/// Rows that count at `position` (`$2`) and fulfil `condition`, in which `$3` is a round.
///
/// `condition` is this program's own text, never a request's.
pub(super) async fn matching(
    connection: &mut PgConnection,
    programme_id: Uuid,
    kind: BatchKind,
    position: u64,
    condition: &str,
    round: &str,
) -> Result<Vec<StoredRow>, StoreError> {
    let rows = sqlx::query(AssertSqlSafe(live(kind, "$2") + condition))
        .bind(programme_id)
        .bind(signed(position))
        .bind(round)
        .fetch_all(connection)
        .await?;
    rows.iter().map(|row| stored_row(kind, row)).collect()
}

/// A page of one batch's rows, after `after_line`.
pub async fn of_batch(
    connection: &mut PgConnection,
    programme_id: Uuid,
    kind: BatchKind,
    batch_id: Uuid,
    after_line: u64,
    limit: u32,
    own_sites: Option<&[String]>,
) -> Result<Vec<StoredRow>, StoreError> {
    let sql = selection(kind)
        + "where programme_id = $1 and batch_id = $2 and line > $3 and "
        + &sites::condition(kind, "$5")
        + " order by line limit $4";
    let rows = sqlx::query(AssertSqlSafe(sql))
        .bind(programme_id)
        .bind(batch_id)
        .bind(signed(after_line))
        .bind(i64::from(limit))
        .bind(own_sites)
        .fetch_all(connection)
        .await?;
    rows.iter().map(|row| stored_row(kind, row)).collect()
}

/// The last `limit` rows of a round that count now, the earliest first.
pub async fn of_round(
    connection: &mut PgConnection,
    programme_id: Uuid,
    kind: BatchKind,
    round_code: &str,
    limit: u64,
) -> Result<Vec<StoredRow>, StoreError> {
    let sql = live(kind, "$4")
        + "where programme_id = $1 and round_code = $2
           order by sequence desc, line desc limit $3";
    let rows = sqlx::query(AssertSqlSafe(sql))
        .bind(programme_id)
        .bind(round_code)
        .bind(signed(limit))
        .bind(i64::MAX)
        .fetch_all(connection)
        .await?;
    let rows = rows.iter().rev();
    rows.map(|row| stored_row(kind, row)).collect()
}

/// The rows at these places, the earliest first.
pub async fn at_places(
    connection: &mut PgConnection,
    programme_id: Uuid,
    kind: BatchKind,
    places: &[RowPlace],
) -> Result<Vec<StoredRow>, StoreError> {
    let batches: Vec<Uuid> = places.iter().map(|place| place.batch).collect();
    let lines: Vec<i64> = places.iter().map(|place| signed(place.line)).collect();
    let sql = selection(kind)
        + "where programme_id = $1
           and (batch_id, line) in (select * from unnest($2::uuid[], $3::bigint[]))
           order by sequence, line";
    let rows = sqlx::query(AssertSqlSafe(sql))
        .bind(programme_id)
        .bind(&batches)
        .bind(&lines)
        .fetch_all(connection)
        .await?;
    rows.iter().map(|row| stored_row(kind, row)).collect()
}

/// Leaf hashes of a batch in file order, with their lines.
pub async fn hashes_of_batch(
    connection: &mut PgConnection,
    programme_id: Uuid,
    kind: BatchKind,
    batch_id: Uuid,
) -> Result<Vec<(u64, Hash)>, StoreError> {
    let sql = format!(
        "select line, row_hash from {} where programme_id = $1 and batch_id = $2 order by line",
        table(kind)
    );
    let rows = sqlx::query(AssertSqlSafe(sql))
        .bind(programme_id)
        .bind(batch_id)
        .fetch_all(connection)
        .await?;
    rows.iter()
        .map(|row| {
            let hash: &[u8] = row.try_get("row_hash")?;
            let hash = <[u8; 32]>::try_from(hash).map_err(|e| StoreError::damaged("row", e))?;
            Ok((unsigned(row.try_get("line")?, "row")?, Hash(hash)))
        })
        .collect()
}
