//! A programme's own names for the columns of a kind of batch.

use super::{StoreError, signed, unsigned};
use crate::accounting::records::MappingRecord;
use chrono::{DateTime, Utc};
use sqlx::PgConnection;
use uuid::Uuid;

#[derive(Debug, Clone)]
pub struct MappingRow {
    pub record: MappingRecord,
    pub sequence: u64,
    pub saved_at: DateTime<Utc>,
}

pub async fn insert(
    connection: &mut PgConnection,
    programme_id: Uuid,
    row: &MappingRow,
) -> Result<(), StoreError> {
    let columns = serde_json::to_string(&row.record.columns)
        .map_err(|e| StoreError::damaged("column mapping", e))?;
    sqlx::query!(
        "insert into column_mapping (programme_id, kind, name, columns, sequence, saved_at)
         values ($1, $2, $3, $4, $5, $6)",
        programme_id,
        row.record.kind,
        row.record.name,
        columns,
        signed(row.sequence),
        row.saved_at
    )
    .execute(connection)
    .await?;
    Ok(())
}

/// The mappings of a kind that hold now, by name.
pub async fn of_kind(
    connection: &mut PgConnection,
    programme_id: Uuid,
    kind: &str,
) -> Result<Vec<MappingRow>, StoreError> {
    let rows = sqlx::query!(
        "select distinct on (name) name, columns, sequence, saved_at
         from column_mapping
         where programme_id = $1 and kind = $2
         order by name, sequence desc",
        programme_id,
        kind
    )
    .fetch_all(connection)
    .await?;
    rows.into_iter()
        .map(|row| {
            let columns = serde_json::from_str(&row.columns)
                .map_err(|e| StoreError::damaged("column mapping", e))?;
            Ok(MappingRow {
                record: MappingRecord {
                    kind: kind.to_owned(),
                    name: row.name,
                    columns,
                },
                sequence: unsigned(row.sequence, "column mapping")?,
                saved_at: row.saved_at,
            })
        })
        .collect()
}
