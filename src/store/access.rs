//! Tokens. Only hashes of secrets are stored.
//!
//! What is asked before a programme's caller is known (whose token is this?) runs as the
//! owner of the tables, one statement by the hash; all else behind the second wall.

use super::StoreError;
use chrono::{DateTime, NaiveDate, Utc};
use sqlx::PgConnection;
use uuid::Uuid;

#[derive(Debug, Clone)]
pub struct TokenRow {
    pub token_id: Uuid,
    pub role: String,
    pub label: String,
    /// Sites that it is bound to; absent = every site.
    pub sites: Option<Vec<String>>,
    pub read_only: bool,
    pub created_at: DateTime<Utc>,
    pub expires_at: DateTime<Utc>,
    pub revoked_at: Option<DateTime<Utc>>,
    pub used_on: Option<NaiveDate>,
}

/// A token together with the programme that it opens.
#[derive(Debug, Clone)]
pub struct HolderRow {
    pub token_id: Uuid,
    pub role: String,
    pub label: String,
    pub sites: Option<Vec<String>>,
    pub read_only: bool,
    pub used_on: Option<NaiveDate>,
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
        "insert into access_token (programme_id, token_id, token_hash, role, label, sites,
                                   read_only, created_at, expires_at)
         values ($1, $2, $3, $4, $5, $6, $7, $8, $9)",
        programme_id,
        row.token_id,
        token_hash,
        row.role,
        row.label,
        row.sites.as_deref(),
        row.read_only,
        row.created_at,
        row.expires_at
    )
    .execute(connection)
    .await?;
    Ok(())
}

/// Who holds the token of this hash, where it has neither ended nor been revoked.
pub async fn holder_by_token(
    connection: &mut PgConnection,
    programme_id: Uuid,
    token_hash: &[u8],
    now: DateTime<Utc>,
) -> Result<Option<HolderRow>, StoreError> {
    Ok(sqlx::query_as!(
        HolderRow,
        r#"select t.token_id, t.role, t.label, t.sites, t.read_only, u.used_on as "used_on?",
                  p.code as programme_code, p.name as programme_name
           from access_token t
           join programme p using (programme_id)
           left join token_use u using (programme_id, token_id)
           where t.programme_id = $1 and t.token_hash = $2
             and t.revoked_at is null and t.expires_at > $3"#,
        programme_id,
        token_hash,
        now
    )
    .fetch_optional(connection)
    .await?)
}

/// Notes that a token was used on a day.
pub async fn note_use(
    connection: &mut PgConnection,
    programme_id: Uuid,
    token_id: Uuid,
    day: NaiveDate,
) -> Result<(), StoreError> {
    sqlx::query!(
        "insert into token_use (programme_id, token_id, used_on) values ($1, $2, $3)
         on conflict (programme_id, token_id) do update set used_on = excluded.used_on",
        programme_id,
        token_id,
        day
    )
    .execute(connection)
    .await?;
    Ok(())
}

pub async fn tokens(
    connection: &mut PgConnection,
    programme_id: Uuid,
) -> Result<Vec<TokenRow>, StoreError> {
    Ok(sqlx::query_as!(
        TokenRow,
        r#"select t.token_id, t.role, t.label, t.sites, t.read_only, t.created_at, t.expires_at,
                  t.revoked_at, u.used_on as "used_on?"
           from access_token t left join token_use u using (programme_id, token_id)
           where t.programme_id = $1 order by t.created_at, t.token_id"#,
        programme_id
    )
    .fetch_all(connection)
    .await?)
}

/// Revokes a token that has not been revoked; false where there is none such.
pub async fn revoke_token(
    connection: &mut PgConnection,
    programme_id: Uuid,
    token_id: Uuid,
    now: DateTime<Utc>,
) -> Result<bool, StoreError> {
    let done = sqlx::query!(
        "update access_token set revoked_at = $3
         where programme_id = $1 and token_id = $2 and revoked_at is null",
        programme_id,
        token_id,
        now
    )
    .execute(connection)
    .await?;
    Ok(done.rows_affected() == 1)
}

pub async fn insert_operator_token(
    connection: &mut PgConnection,
    token_hash: &[u8],
    label: &str,
    created_at: DateTime<Utc>,
    expires_at: DateTime<Utc>,
) -> Result<(), StoreError> {
    sqlx::query!(
        "insert into operator_token (token_hash, label, created_at, expires_at)
         values ($1, $2, $3, $4)",
        token_hash,
        label,
        created_at,
        expires_at
    )
    .execute(connection)
    .await?;
    Ok(())
}

pub async fn operator_label(
    connection: &mut PgConnection,
    token_hash: &[u8],
    now: DateTime<Utc>,
) -> Result<Option<String>, StoreError> {
    Ok(sqlx::query_scalar!(
        "select label from operator_token
         where token_hash = $1 and revoked_at is null and expires_at > $2",
        token_hash,
        now
    )
    .fetch_optional(connection)
    .await?)
}

pub async fn revoke_operator_token(
    connection: &mut PgConnection,
    token_hash: &[u8],
    now: DateTime<Utc>,
) -> Result<(), StoreError> {
    sqlx::query!(
        "update operator_token set revoked_at = $2 where token_hash = $1 and revoked_at is null",
        token_hash,
        now
    )
    .execute(connection)
    .await?;
    Ok(())
}
