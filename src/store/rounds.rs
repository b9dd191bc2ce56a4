//! Rounds of field work.

use super::{StoreError, signed, unsigned};
use crate::accounting::records::{RoundKind, RoundRecord};
use sqlx::PgConnection;
use uuid::Uuid;

#[derive(Debug, Clone)]
pub struct RoundRow {
    pub record: RoundRecord,
    pub sequence: u64,
    /// Rows accepted into it so far.
    pub rows: u64,
}

pub async fn insert(
    connection: &mut PgConnection,
    programme_id: Uuid,
    record: &RoundRecord,
    sequence: u64,
) -> Result<(), StoreError> {
    sqlx::query!(
        "insert into round (programme_id, round_code, kind, starts_on, ends_on, design, sequence)
         values ($1, $2, $3, $4, $5, $6, $7)",
        programme_id,
        record.code,
        record.kind.code(),
        record.starts_on,
        record.ends_on,
        record.design,
        signed(sequence)
    )
    .execute(connection)
    .await?;
    Ok(())
}

/// Rounds known at `position`, by code.
pub async fn all(
    connection: &mut PgConnection,
    programme_id: Uuid,
    position: u64,
) -> Result<Vec<RoundRow>, StoreError> {
    let rows = sqlx::query!(
        r#"select r.round_code, r.kind, r.starts_on, r.ends_on, r.design, r.sequence,
                  coalesce(sum(b.row_count), 0)::bigint as "rows!"
           from round r
           left join batch b on b.programme_id = r.programme_id and b.round_code = r.round_code
                            and b.sequence < $2
           where r.programme_id = $1 and r.sequence < $2
           group by r.programme_id, r.round_code
           order by r.round_code"#,
        programme_id,
        signed(position)
    )
    .fetch_all(connection)
    .await?;
    rows.into_iter()
        .map(|row| {
            Ok(RoundRow {
                record: RoundRecord {
                    kind: RoundKind::from_code(&row.kind)
                        .ok_or_else(|| StoreError::damaged("round", "its kind is unknown"))?,
                    code: row.round_code,
                    starts_on: row.starts_on,
                    ends_on: row.ends_on,
                    design: row.design,
                },
                sequence: unsigned(row.sequence, "round")?,
                rows: unsigned(row.rows, "round")?,
            })
        })
        .collect()
}
