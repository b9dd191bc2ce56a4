//! Browser sessions: a token's or a person's, until they expire. Only hashes are stored.

use super::StoreError;
use chrono::{DateTime, Utc};
use sqlx::PgConnection;
use uuid::Uuid;

/// Whose session it is: one of the two ids is there.
#[derive(Debug, Clone)]
pub struct SessionHolderRow {
    pub token_id: Option<Uuid>,
    pub person_id: Option<Uuid>,
    pub role: String,
    /// Label of the token or name of the person.
    pub label: String,
    pub sites: Option<Vec<String>>,
    pub read_only: bool,
    pub first_password: bool,
    pub programme_code: String,
    pub programme_name: String,
}

pub async fn insert(
    connection: &mut PgConnection,
    programme_id: Uuid,
    session_hash: &[u8],
    token_id: Option<Uuid>,
    person_id: Option<Uuid>,
    expires_at: DateTime<Utc>,
) -> Result<(), StoreError> {
    sqlx::query!(
        "insert into browser_session (programme_id, session_hash, token_id, person_id, expires_at)
         values ($1, $2, $3, $4, $5)",
        programme_id,
        session_hash,
        token_id,
        person_id,
        expires_at
    )
    .execute(connection)
    .await?;
    Ok(())
}

/// Who is behind a session that has not expired at `now`, where the token or the person may
/// still come in.
pub async fn holder(
    connection: &mut PgConnection,
    programme_id: Uuid,
    session_hash: &[u8],
    now: DateTime<Utc>,
) -> Result<Option<SessionHolderRow>, StoreError> {
    Ok(sqlx::query_as!(
        SessionHolderRow,
        r#"select t.token_id as "token_id?", n.person_id as "person_id?",
                  coalesce(t.role, n.role) as "role!", coalesce(t.label, n.name) as "label!",
                  coalesce(t.sites, n.sites) as "sites?",
                  coalesce(t.read_only, false) as "read_only!",
                  coalesce(n.first_password, false) as "first_password!",
                  p.code as programme_code, p.name as programme_name
           from browser_session s
           join programme p using (programme_id)
           left join access_token t on t.programme_id = s.programme_id and t.token_id = s.token_id
                                   and t.revoked_at is null and t.expires_at > $3
           left join person n on n.programme_id = s.programme_id and n.person_id = s.person_id
                             and n.disabled_at is null
           where s.programme_id = $1 and s.session_hash = $2 and s.expires_at > $3
             and (t.token_id is not null or n.person_id is not null)"#,
        programme_id,
        session_hash,
        now
    )
    .fetch_optional(connection)
    .await?)
}

/// Ends one session, and with it every one that has expired.
pub async fn delete(
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

/// Ends every session of a person.
pub async fn delete_of_person(
    connection: &mut PgConnection,
    programme_id: Uuid,
    person_id: Uuid,
) -> Result<(), StoreError> {
    sqlx::query!(
        "delete from browser_session where programme_id = $1 and person_id = $2",
        programme_id,
        person_id
    )
    .execute(connection)
    .await?;
    Ok(())
}
