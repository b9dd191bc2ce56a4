//! Statements: which were made, and their exact bytes in the trail.

use super::{StoreError, signed, unsigned};
use sqlx::PgConnection;
use uuid::Uuid;

#[derive(Debug, Clone)]
pub struct StatementRow {
    pub statement_id: Uuid,
    pub period_code: String,
    pub methodology_code: String,
    pub methodology_version: u32,
    /// Trail size the evidence was read at.
    pub position: u64,
    pub restatement: bool,
    /// SHA-256 of the statement's canonical JSON.
    pub content_hash: Vec<u8>,
    /// Its own trail entry.
    pub sequence: u64,
}

pub async fn insert(
    connection: &mut PgConnection,
    programme_id: Uuid,
    row: &StatementRow,
) -> Result<(), StoreError> {
    sqlx::query!(
        "insert into statement (programme_id, statement_id, period_code, methodology_code,
                                methodology_version, position, restatement, content_hash, sequence)
         values ($1, $2, $3, $4, $5, $6, $7, $8, $9)",
        programme_id,
        row.statement_id,
        row.period_code,
        row.methodology_code,
        i32::try_from(row.methodology_version).unwrap_or(i32::MAX),
        signed(row.position),
        row.restatement,
        row.content_hash,
        signed(row.sequence)
    )
    .execute(connection)
    .await?;
    Ok(())
}

/// All statements, the latest first.
pub async fn all(
    connection: &mut PgConnection,
    programme_id: Uuid,
) -> Result<Vec<StatementRow>, StoreError> {
    select(connection, programme_id, None).await
}

pub async fn by_id(
    connection: &mut PgConnection,
    programme_id: Uuid,
    statement_id: Uuid,
) -> Result<Option<StatementRow>, StoreError> {
    Ok(select(connection, programme_id, Some(statement_id))
        .await?
        .pop())
}

async fn select(
    connection: &mut PgConnection,
    programme_id: Uuid,
    statement_id: Option<Uuid>,
) -> Result<Vec<StatementRow>, StoreError> {
    let rows = sqlx::query!(
        "select statement_id, period_code, methodology_code, methodology_version, position,
                restatement, content_hash, sequence
         from statement where programme_id = $1 and ($2::uuid is null or statement_id = $2)
         order by sequence desc",
        programme_id,
        statement_id
    )
    .fetch_all(connection)
    .await?;
    rows.into_iter()
        .map(|row| {
            Ok(StatementRow {
                statement_id: row.statement_id,
                period_code: row.period_code,
                methodology_code: row.methodology_code,
                methodology_version: u32::try_from(row.methodology_version)
                    .map_err(|e| StoreError::damaged("statement", e))?,
                position: unsigned(row.position, "statement")?,
                restatement: row.restatement,
                content_hash: row.content_hash,
                sequence: unsigned(row.sequence, "statement")?,
            })
        })
        .collect()
}

/// The exact bytes of a statement.
pub async fn content(
    connection: &mut PgConnection,
    programme_id: Uuid,
    statement_id: Uuid,
) -> Result<Option<Vec<u8>>, StoreError> {
    Ok(sqlx::query_scalar!(
        "select e.content from statement s
         join trail_entry e using (programme_id, sequence)
         where s.programme_id = $1 and s.statement_id = $2",
        programme_id,
        statement_id
    )
    .fetch_optional(connection)
    .await?)
}
