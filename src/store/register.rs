//! Sites, stove models, and what the register holds, counted.

use super::{StoreError, signed, unsigned};
use crate::accounting::records::{SiteRecord, StoveModelRecord};
use chrono::NaiveDate;
use sqlx::PgConnection;
use uuid::Uuid;

pub async fn insert_site(
    connection: &mut PgConnection,
    programme_id: Uuid,
    record: &SiteRecord,
    sequence: u64,
) -> Result<(), StoreError> {
    sqlx::query!(
        "insert into site (programme_id, site_code, name, sequence) values ($1, $2, $3, $4)",
        programme_id,
        record.code,
        record.name,
        signed(sequence)
    )
    .execute(connection)
    .await?;
    Ok(())
}

pub async fn sites(
    connection: &mut PgConnection,
    programme_id: Uuid,
) -> Result<Vec<SiteRecord>, StoreError> {
    Ok(sqlx::query_as!(
        SiteRecord,
        "select site_code as code, name from site where programme_id = $1 order by site_code",
        programme_id
    )
    .fetch_all(connection)
    .await?)
}

pub async fn insert_stove_model(
    connection: &mut PgConnection,
    programme_id: Uuid,
    record: &StoveModelRecord,
    sequence: u64,
) -> Result<(), StoreError> {
    sqlx::query!(
        "insert into stove_model (programme_id, model_code, model_version, name, device,
                                  char_making, sequence)
         values ($1, $2, $3, $4, $5, $6, $7)",
        programme_id,
        record.code,
        i32::try_from(record.version).unwrap_or(i32::MAX),
        record.name,
        record.device,
        record.char_making,
        signed(sequence)
    )
    .execute(connection)
    .await?;
    Ok(())
}

pub async fn stove_models(
    connection: &mut PgConnection,
    programme_id: Uuid,
) -> Result<Vec<StoveModelRecord>, StoreError> {
    let rows = sqlx::query!(
        "select model_code, model_version, name, device, char_making
         from stove_model where programme_id = $1 order by model_code, model_version",
        programme_id
    )
    .fetch_all(connection)
    .await?;
    rows.into_iter()
        .map(|row| {
            Ok(StoveModelRecord {
                code: row.model_code,
                version: u32::try_from(row.model_version)
                    .map_err(|e| StoreError::damaged("stove model", e))?,
                name: row.name,
                device: row.device,
                char_making: row.char_making,
            })
        })
        .collect()
}

/// Stoves in service on one day, of one model at one site.
#[derive(Debug, Clone)]
pub struct InService {
    pub on: NaiveDate,
    pub model_code: String,
    pub model_version: u32,
    pub site_code: String,
    pub stoves: u64,
}

/// Stoves in service on each of `days`, by model and site.
pub async fn in_service(
    connection: &mut PgConnection,
    programme_id: Uuid,
    days: &[NaiveDate],
) -> Result<Vec<InService>, StoreError> {
    let rows = sqlx::query!(
        r#"select day.on as "on!", d.model_code, d.model_version, h.site_code as "site_code!",
                  count(*) as "stoves!"
           from unnest($2::date[]) as day ("on")
           join deployment_span s on s.programme_id = $1 and s.span @> day.on
           join deployment d using (programme_id, batch_id, line)
           join standing_household($1) h on h.household_code = d.household_code
           group by day.on, d.model_code, d.model_version, h.site_code
           order by day.on, d.model_code, d.model_version, h.site_code"#,
        programme_id,
        days
    )
    .fetch_all(connection)
    .await?;
    rows.into_iter()
        .map(|row| {
            Ok(InService {
                on: row.on,
                model_code: row.model_code,
                model_version: u32::try_from(row.model_version)
                    .map_err(|e| StoreError::damaged("deployment", e))?,
                site_code: row.site_code,
                stoves: unsigned(row.stoves, "count")?,
            })
        })
        .collect()
}

/// First and last day that anything is recorded about a deployment.
pub async fn first_installation(
    connection: &mut PgConnection,
    programme_id: Uuid,
) -> Result<Option<(NaiveDate, NaiveDate)>, StoreError> {
    let row = sqlx::query!(
        "select min(installed_on) as first, max(greatest(installed_on, upper(span))) as last
         from deployment_span where programme_id = $1",
        programme_id
    )
    .fetch_one(connection)
    .await?;
    Ok(row.first.zip(row.last))
}

#[derive(Debug, Clone)]
pub struct RegisterCounts {
    pub households: u64,
    pub deployments: u64,
    pub ended: u64,
}

/// Counts of `own_sites`; absent = of every site.
pub async fn counts(
    connection: &mut PgConnection,
    programme_id: Uuid,
    own_sites: Option<&[String]>,
) -> Result<RegisterCounts, StoreError> {
    let row = sqlx::query!(
        r#"with own as (
               select s.span from deployment_span s
               where s.programme_id = $1
                 and ($2::text[] is null or exists (
                     select from standing_household($1) h
                     where h.household_code = s.household_code and h.site_code = any($2)))
           )
           select (select count(*) from standing_household($1)
                   where ($2::text[] is null or site_code = any($2))) as "households!",
                  (select count(*) from own) as "deployments!",
                  (select count(*) from own where not upper_inf(span)) as "ended!""#,
        programme_id,
        own_sites
    )
    .fetch_one(connection)
    .await?;
    Ok(RegisterCounts {
        households: unsigned(row.households, "count")?,
        deployments: unsigned(row.deployments, "count")?,
        ended: unsigned(row.ended, "count")?,
    })
}
