//! People who sign in with a password. The table holds Argon2id hashes, never passwords.

use super::StoreError;
use chrono::{DateTime, Utc};
use sqlx::PgConnection;
use uuid::Uuid;

#[derive(Debug, Clone)]
pub struct PersonRow {
    pub person_id: Uuid,
    pub name: String,
    pub role: String,
    pub sites: Option<Vec<String>>,
    pub first_password: bool,
    pub created_at: DateTime<Utc>,
    pub disabled_at: Option<DateTime<Utc>>,
}

/// What a sign-in is checked against.
#[derive(Debug, Clone)]
pub struct SignInRow {
    pub programme_id: Uuid,
    pub person_id: Uuid,
    pub password_hash: String,
}

pub async fn insert(
    connection: &mut PgConnection,
    programme_id: Uuid,
    row: &PersonRow,
    password_hash: &str,
) -> Result<(), StoreError> {
    sqlx::query!(
        "insert into person (programme_id, person_id, name, role, sites, password_hash,
                             first_password, created_at)
         values ($1, $2, $3, $4, $5, $6, $7, $8)",
        programme_id,
        row.person_id,
        row.name,
        row.role,
        row.sites.as_deref(),
        password_hash,
        row.first_password,
        row.created_at
    )
    .execute(connection)
    .await?;
    Ok(())
}

pub async fn all(
    connection: &mut PgConnection,
    programme_id: Uuid,
) -> Result<Vec<PersonRow>, StoreError> {
    Ok(sqlx::query_as!(
        PersonRow,
        "select person_id, name, role, sites, first_password, created_at, disabled_at
         from person where programme_id = $1 order by name",
        programme_id
    )
    .fetch_all(connection)
    .await?)
}

pub async fn by_name(
    connection: &mut PgConnection,
    programme_id: Uuid,
    name: &str,
) -> Result<Option<PersonRow>, StoreError> {
    Ok(sqlx::query_as!(
        PersonRow,
        "select person_id, name, role, sites, first_password, created_at, disabled_at
         from person where programme_id = $1 and name = $2",
        programme_id,
        name
    )
    .fetch_optional(connection)
    .await?)
}

/// Role, sites and whether the person may come in.
pub async fn change(
    connection: &mut PgConnection,
    programme_id: Uuid,
    row: &PersonRow,
) -> Result<(), StoreError> {
    sqlx::query!(
        "update person set role = $3, sites = $4, disabled_at = $5
         where programme_id = $1 and person_id = $2",
        programme_id,
        row.person_id,
        row.role,
        row.sites.as_deref(),
        row.disabled_at
    )
    .execute(connection)
    .await?;
    Ok(())
}

pub async fn set_password(
    connection: &mut PgConnection,
    programme_id: Uuid,
    person_id: Uuid,
    password_hash: &str,
    first_password: bool,
) -> Result<(), StoreError> {
    sqlx::query!(
        "update person set password_hash = $3, first_password = $4
         where programme_id = $1 and person_id = $2",
        programme_id,
        person_id,
        password_hash,
        first_password
    )
    .execute(connection)
    .await?;
    Ok(())
}

/// Someone who may come in, by programme code and name. Asked as the owner: nobody is known yet.
pub async fn for_sign_in(
    connection: &mut PgConnection,
    programme_code: &str,
    name: &str,
) -> Result<Option<SignInRow>, StoreError> {
    Ok(sqlx::query_as!(
        SignInRow,
        "select n.programme_id, n.person_id, n.password_hash
         from programme p join person n using (programme_id)
         where p.code = $1 and n.name = $2 and n.disabled_at is null",
        programme_code,
        name
    )
    .fetch_optional(connection)
    .await?)
}

pub async fn password_hash(
    connection: &mut PgConnection,
    programme_id: Uuid,
    person_id: Uuid,
) -> Result<Option<String>, StoreError> {
    Ok(sqlx::query_scalar!(
        "select password_hash from person where programme_id = $1 and person_id = $2",
        programme_id,
        person_id
    )
    .fetch_optional(connection)
    .await?)
}
