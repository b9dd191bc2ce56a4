//! Tokens and browser sessions. Only hashes of secrets are stored.

use super::StoreError;
use chrono::{DateTime, Utc};
use sqlx::PgConnection;
use uuid::Uuid;

#[derive(Debug, Clone)]
pub struct TokenRow {
    pub token_id: Uuid,
    pub role: String,
    pub label: String,
    pub created_at: DateTime<Utc>,
}

/// A token together with the programme that it opens.
#[derive(Debug, Clone)]
pub struct HolderRow {
    pub token_id: Uuid,
    pub role: String,
    pub label: String,
    pub programme_code: String,
    pub programme_name: String,
}

pub async fn insert_token(
    connection: &mut PgConnection,
    programme_id: Uuid,
    row: &TokenRow,
    token_hash: &[u8],
) -> Result<(), StoreError> {
    sqlx::query!(
        "insert into access_token (programme_id, token_id, token_hash, role, label, created_at)
         values ($1, $2, $3, $4, $5, $6)",
        programme_id,
        row.token_id,
        token_hash,
        row.role,
        row.label,
        row.created_at
    )
    .execute(connection)
    .await?;
    Ok(())
}

/// Who holds the token of this hash.
pub async fn holder_by_token(
    connection: &mut PgConnection,
    programme_id: Uuid,
    token_hash: &[u8],
) -> Result<Option<HolderRow>, StoreError> {
    Ok(sqlx::query_as!(
        HolderRow,
        "select t.token_id, t.role, t.label, p.code as programme_code, p.name as programme_name
         from access_token t
         join programme p using (programme_id)
         where t.programme_id = $1 and t.token_hash = $2",
        programme_id,
        token_hash
    )
    .fetch_optional(connection)
    .await?)
}

pub async fn tokens(
    connection: &mut PgConnection,
    programme_id: Uuid,
) -> Result<Vec<TokenRow>, StoreError> {
    Ok(sqlx::query_as!(
        TokenRow,
        "select token_id, role, label, created_at from access_token
         where programme_id = $1 order by created_at, token_id",
        programme_id
    )
    .fetch_all(connection)
    .await?)
}

pub async fn insert_operator_token(
    connection: &mut PgConnection,
    token_hash: &[u8],
    label: &str,
    created_at: DateTime<Utc>,
) -> Result<(), StoreError> {
    sqlx::query!(
        "insert into operator_token (token_hash, label, created_at) values ($1, $2, $3)",
        token_hash,
        label,
        created_at
    )
    .execute(connection)
    .await?;
    Ok(())
}

pub async fn operator_label(
    connection: &mut PgConnection,
    token_hash: &[u8],
) -> Result<Option<String>, StoreError> {
    Ok(sqlx::query_scalar!(
        "select label from operator_token where token_hash = $1",
        token_hash
    )
    .fetch_optional(connection)
    .await?)
}

pub async fn insert_session(
    connection: &mut PgConnection,
    programme_id: Uuid,
    session_hash: &[u8],
    token_id: Uuid,
    expires_at: DateTime<Utc>,
) -> Result<(), StoreError> {
    sqlx::query!(
        "insert into browser_session (programme_id, session_hash, token_id, expires_at)
         values ($1, $2, $3, $4)",
        programme_id,
        session_hash,
        token_id,
        expires_at
    )
    .execute(connection)
    .await?;
    Ok(())
}

/// Who holds the token behind a session that has not expired at `now`.
pub async fn holder_by_session(
    connection: &mut PgConnection,
    programme_id: Uuid,
    session_hash: &[u8],
    now: DateTime<Utc>,
) -> Result<Option<HolderRow>, StoreError> {
    Ok(sqlx::query_as!(
        HolderRow,
        "select t.token_id, t.role, t.label, p.code as programme_code, p.name as programme_name
         from browser_session s
         join access_token t using (programme_id, token_id)
         join programme p using (programme_id)
         where s.programme_id = $1 and s.session_hash = $2 and s.expires_at > $3",
        programme_id,
        session_hash,
        now
    )
    .fetch_optional(connection)
    .await?)
}

/// Ends one session, and with it every one that has expired.
pub async fn delete_session(
    connection: &mut PgConnection,
    programme_id: Uuid,
    session_hash: &[u8],
    now: DateTime<Utc>,
) -> Result<(), StoreError> {
    sqlx::query!(
        "delete from browser_session
         where programme_id = $1 and (session_hash = $2 or expires_at <= $3)",
        programme_id,
        session_hash,
        now
    )
    .execute(connection)
    .await?;
    Ok(())
}
