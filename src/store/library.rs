//! Factors and methodologies: versions that are added, never edited.

use super::{StoreError, signed, unsigned};
use crate::accounting::factor::{Factor, FactorId};
use crate::accounting::methodology::Methodology;
use sqlx::PgConnection;
use uuid::Uuid;

/// Adds factors; `bodies` are their canonical JSON, in the same order.
pub async fn insert_factors(
    connection: &mut PgConnection,
    programme_id: Uuid,
    factors: &[Factor],
    bodies: &[String],
    sequence: u64,
) -> Result<(), StoreError> {
    let codes: Vec<String> = factors.iter().map(|f| f.code.clone()).collect();
    let versions: Vec<i32> = factors.iter().map(|f| version(f.version)).collect();
    let quantities: Vec<String> = factors.iter().map(quantity_code).collect();
    sqlx::query!(
        "insert into factor (programme_id, code, version, quantity, body, sequence)
         select $1, f.code, f.version, f.quantity, f.body, $6
         from unnest($2::text[], $3::integer[], $4::text[], $5::text[]) as f (code, version, quantity, body)",
        programme_id,
        &codes,
        &versions,
        &quantities,
        bodies,
        signed(sequence)
    )
    .execute(connection)
    .await?;
    Ok(())
}

/// Factor versions known at `position`, by code and version.
pub async fn factors(
    connection: &mut PgConnection,
    programme_id: Uuid,
    position: u64,
) -> Result<Vec<Factor>, StoreError> {
    let bodies = sqlx::query_scalar!(
        "select body from factor where programme_id = $1 and sequence < $2 order by code, version",
        programme_id,
        signed(position)
    )
    .fetch_all(connection)
    .await?;
    bodies.iter().map(|body| parse(body, "factor")).collect()
}

/// The trail entry that brought a factor version.
pub async fn sequence_of_factor(
    connection: &mut PgConnection,
    programme_id: Uuid,
    id: &FactorId,
) -> Result<Option<u64>, StoreError> {
    let sequence = sqlx::query_scalar!(
        "select sequence from factor where programme_id = $1 and code = $2 and version = $3",
        programme_id,
        id.code,
        version(id.version)
    )
    .fetch_optional(connection)
    .await?;
    sequence.map(|s| unsigned(s, "factor")).transpose()
}

/// The named versions, in the order asked for; unknown ones are left out.
pub async fn factors_by_id(
    connection: &mut PgConnection,
    programme_id: Uuid,
    ids: &[FactorId],
    position: u64,
) -> Result<Vec<Factor>, StoreError> {
    let codes: Vec<String> = ids.iter().map(|id| id.code.clone()).collect();
    let versions: Vec<i32> = ids.iter().map(|id| version(id.version)).collect();
    let bodies = sqlx::query_scalar!(
        "select f.body
         from unnest($2::text[], $3::integer[]) with ordinality as wanted (code, version, place)
         join factor f on f.programme_id = $1 and f.code = wanted.code and f.version = wanted.version
         where f.sequence < $4
         order by wanted.place",
        programme_id,
        &codes,
        &versions,
        signed(position)
    )
    .fetch_all(connection)
    .await?;
    bodies.iter().map(|body| parse(body, "factor")).collect()
}

pub async fn insert_methodology(
    connection: &mut PgConnection,
    programme_id: Uuid,
    methodology: &Methodology,
    body: &str,
    sequence: u64,
) -> Result<(), StoreError> {
    sqlx::query!(
        "insert into methodology (programme_id, code, version, body, sequence)
         values ($1, $2, $3, $4, $5)",
        programme_id,
        methodology.code,
        version(methodology.version),
        body,
        signed(sequence)
    )
    .execute(connection)
    .await?;
    Ok(())
}

/// Methodology versions known at `position`, by code and version.
pub async fn methodologies(
    connection: &mut PgConnection,
    programme_id: Uuid,
    position: u64,
) -> Result<Vec<Methodology>, StoreError> {
    let bodies = sqlx::query_scalar!(
        "select body from methodology where programme_id = $1 and sequence < $2
         order by code, version",
        programme_id,
        signed(position)
    )
    .fetch_all(connection)
    .await?;
    bodies
        .iter()
        .map(|body| parse(body, "methodology"))
        .collect()
}

fn parse<T: serde::de::DeserializeOwned>(body: &str, what: &str) -> Result<T, StoreError> {
    serde_json::from_str(body).map_err(|e| StoreError::damaged(what, e))
}

fn version(version: u32) -> i32 {
    i32::try_from(version).unwrap_or(i32::MAX)
}

fn quantity_code(factor: &Factor) -> String {
    match serde_json::to_value(factor.quantity) {
        Ok(serde_json::Value::String(code)) => code,
        _ => String::new(),
    }
}
