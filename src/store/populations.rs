//! How many units of the register samples were drawn from; `accounting::gather` finds the same
//! from rows.

use super::cohorts::{Scope, narrow};
use super::{StoreError, signed, unsigned};
use crate::accounting::gather::FieldDays;
use crate::accounting::inputs::{EvidenceRole, RegisterCount};
use chrono::NaiveDate;
use sqlx::PgConnection;

/// Stoves in service on the field days of usage surveys, households of project kitchens, and
/// all households for the baseline; sorted by their fields in order.
pub async fn to_draw_from(
    connection: &mut PgConnection,
    scope: Scope<'_>,
    field: &FieldDays,
) -> Result<Vec<RegisterCount>, StoreError> {
    let mut counts = households(connection, scope).await?;
    counts.extend(stoves(connection, scope, &field.usage).await?);
    counts.extend(kitchens(connection, scope, &field.project_kitchens).await?);
    // PostgreSQL orders text by its collation, the statement by bytes.
    counts.sort();
    Ok(counts)
}

async fn households(
    connection: &mut PgConnection,
    scope: Scope<'_>,
) -> Result<Vec<RegisterCount>, StoreError> {
    let rows = sqlx::query!(
        r#"select site_code as "site_code!", count(*) as "units!"
           from live_household($1, $2) group by site_code"#,
        scope.programme_id,
        signed(scope.position)
    )
    .fetch_all(connection)
    .await?;
    let mut counts = Vec::new();
    for row in rows {
        for role in [EvidenceRole::BaselineKitchens, EvidenceRole::BaselineSurvey] {
            counts.push(RegisterCount {
                role,
                age_band: None,
                site_code: row.site_code.clone(),
                units: unsigned(row.units, "household")?,
            });
        }
    }
    Ok(counts)
}

async fn stoves(
    connection: &mut PgConnection,
    scope: Scope<'_>,
    days: &[(NaiveDate, NaiveDate)],
) -> Result<Vec<RegisterCount>, StoreError> {
    let (from, until): (Vec<_>, Vec<_>) = days.iter().copied().unzip();
    let rows = sqlx::query!(
        r#"with served as (
               select h.site_code, d.installed_on,
                      greatest(asked.since, d.installed_on) as since,
                      least(asked.until, coalesce(d.ended_on, e.ended_on)) as until
               from live_deployment($1, $2) d
               join live_household($1, $2) h on h.household_code = d.household_code
               left join live_deployment_end($1, $2) e
                      on e.serial = d.serial and e.installed_on = d.installed_on
               cross join unnest($3::date[], $4::date[]) as asked(since, until)
           ), banded as (
               select site_code,
                      years - ((installed_on + make_interval(years => years))::date
                               > until - 1)::integer as age_band
               from served
               cross join lateral (select extract(year from until - 1)::integer
                                          - extract(year from installed_on)::integer as years) y
               where since < until
           )
           select site_code as "site_code!", age_band as "age_band!", count(*) as "units!"
           from banded group by site_code, age_band"#,
        scope.programme_id,
        signed(scope.position),
        &from,
        &until
    )
    .fetch_all(connection)
    .await?;
    rows.into_iter()
        .map(|row| {
            Ok(RegisterCount {
                role: EvidenceRole::Usage,
                age_band: Some(narrow(row.age_band, "deployment")?),
                site_code: row.site_code,
                units: unsigned(row.units, "deployment")?,
            })
        })
        .collect()
}

async fn kitchens(
    connection: &mut PgConnection,
    scope: Scope<'_>,
    days: &[(NaiveDate, NaiveDate)],
) -> Result<Vec<RegisterCount>, StoreError> {
    let (from, until): (Vec<_>, Vec<_>) = days.iter().copied().unzip();
    let rows = sqlx::query!(
        r#"select h.site_code as "site_code!",
                  count(distinct (asked.round, d.household_code)) as "units!"
           from live_deployment($1, $2) d
           join live_household($1, $2) h on h.household_code = d.household_code
           left join live_deployment_end($1, $2) e
                  on e.serial = d.serial and e.installed_on = d.installed_on
           cross join unnest($3::date[], $4::date[]) with ordinality
                      as asked(since, until, round)
           where greatest(asked.since, d.installed_on)
                 < least(asked.until, coalesce(d.ended_on, e.ended_on))
           group by h.site_code"#,
        scope.programme_id,
        signed(scope.position),
        &from,
        &until
    )
    .fetch_all(connection)
    .await?;
    rows.into_iter()
        .map(|row| {
            Ok(RegisterCount {
                role: EvidenceRole::ProjectKitchens,
                age_band: None,
                site_code: row.site_code,
                units: unsigned(row.units, "household")?,
            })
        })
        .collect()
}
