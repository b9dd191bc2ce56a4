//! The directory of programmes.

use super::StoreError;
use chrono::{DateTime, Utc};
use sqlx::PgConnection;
use uuid::Uuid;

#[derive(Debug, Clone)]
pub struct ProgrammeRow {
    pub programme_id: Uuid,
    pub code: String,
    pub name: String,
    pub created_at: DateTime<Utc>,
}

pub async fn insert(connection: &mut PgConnection, row: &ProgrammeRow) -> Result<(), StoreError> {
    sqlx::query!(
        "insert into programme (programme_id, code, name, created_at) values ($1, $2, $3, $4)",
        row.programme_id,
        row.code,
        row.name,
        row.created_at
    )
    .execute(connection)
    .await?;
    Ok(())
}

pub async fn by_id(
    connection: &mut PgConnection,
    programme_id: Uuid,
) -> Result<Option<ProgrammeRow>, StoreError> {
    Ok(sqlx::query_as!(
        ProgrammeRow,
        "select programme_id, code, name, created_at from programme where programme_id = $1",
        programme_id
    )
    .fetch_optional(connection)
    .await?)
}

pub async fn by_code(
    connection: &mut PgConnection,
    code: &str,
) -> Result<Option<ProgrammeRow>, StoreError> {
    Ok(sqlx::query_as!(
        ProgrammeRow,
        "select programme_id, code, name, created_at from programme where code = $1",
        code
    )
    .fetch_optional(connection)
    .await?)
}

/// Every programme, in order of code. For the operator's own commands.
pub async fn all(connection: &mut PgConnection) -> Result<Vec<ProgrammeRow>, StoreError> {
    Ok(sqlx::query_as!(
        ProgrammeRow,
        "select programme_id, code, name, created_at from programme order by code"
    )
    .fetch_all(connection)
    .await?)
}
