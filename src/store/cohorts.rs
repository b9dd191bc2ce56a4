//! The counts and sums that a statement is a function of, added up in SQL.
//!
//! Everything here is exact: integers and sums of `numeric`. Divisions and
//! formulas stay in `accounting`; `accounting::gather` finds the same from rows.

use super::{StoreError, signed, unsigned};
use crate::accounting::inputs::{
    BatchRef, Burn, CharLot, CohortDays, KitchenHousehold, Period, Sums, UsageCount,
};
use rust_decimal::Decimal;
use sqlx::PgConnection;
use std::collections::BTreeMap;
use uuid::Uuid;

/// What every query here is asked about.
#[derive(Debug, Clone, Copy)]
pub struct Scope<'a> {
    pub programme_id: Uuid,
    pub period: &'a Period,
    /// Trail size at which the evidence is read.
    pub position: u64,
}

/// Stove-days by model, site and age band. Second stoves give none.
pub async fn cohort_days(
    connection: &mut PgConnection,
    scope: Scope<'_>,
    grace_days: u32,
) -> Result<Vec<CohortDays>, StoreError> {
    let rows = sqlx::query!(
        r#"with served as (
               select d.model_code, d.model_version, h.site_code, d.installed_on,
                      greatest($3, d.installed_on + $5::integer) as counts_from,
                      least($4, coalesce(d.ended_on, e.ended_on)) as counts_until
               from live_deployment($1, $2) d
               join live_household($1, $2) h on h.household_code = d.household_code
               left join live_deployment_end($1, $2) e
                      on e.serial = d.serial and e.installed_on = d.installed_on
               where not coalesce(d.second_stove, false) and d.installed_on < $4
           ), banded as (
               select model_code, model_version, site_code, age_band,
                      least(counts_until, (installed_on + make_interval(years => age_band + 1))::date)
                      - greatest(counts_from, (installed_on + make_interval(years => age_band))::date)
                      as days
               from served
               cross join lateral generate_series(
                   greatest(0, extract(year from counts_from)::integer
                               - extract(year from installed_on)::integer - 1),
                   extract(year from counts_until)::integer
                   - extract(year from installed_on)::integer) as age_band
               where counts_from < counts_until
           )
           select model_code as "model_code!", model_version as "model_version!",
                  site_code as "site_code!", age_band as "age_band!",
                  sum(days)::bigint as "stove_days!", count(*) as "stoves!"
           from banded where days > 0
           group by model_code, model_version, site_code, age_band
           order by model_code, model_version, site_code, age_band"#,
        scope.programme_id,
        signed(scope.position),
        scope.period.starts_on,
        scope.period.ends_on,
        i32::try_from(grace_days).unwrap_or(i32::MAX)
    )
    .fetch_all(connection)
    .await?;
    let mut cohorts = rows
        .into_iter()
        .map(|row| {
            Ok(CohortDays {
                model_code: row.model_code,
                model_version: narrow(row.model_version, "deployment")?,
                site_code: row.site_code,
                age_band: narrow(row.age_band, "deployment")?,
                stove_days: unsigned(row.stove_days, "deployment")?,
                stoves: unsigned(row.stoves, "deployment")?,
            })
        })
        .collect::<Result<Vec<_>, StoreError>>()?;
    // PostgreSQL orders text by its collation, the statement by bytes.
    cohorts.sort();
    Ok(cohorts)
}

/// Usage answers of `rounds` surveyed inside the period, by age band on the day
/// of the survey.
pub async fn usage_counts(
    connection: &mut PgConnection,
    scope: Scope<'_>,
    rounds: &[String],
) -> Result<Vec<UsageCount>, StoreError> {
    let rows = sqlx::query!(
        r#"with answered as (
               select u.outcome, u.surveyed_on, u.share_of_meals, u.days_used_last_week,
                      h.site_code,
                      (select max(d.installed_on) from live_deployment($1, $2) d
                       where d.serial = u.serial and d.household_code = u.household_code
                         and d.installed_on <= u.surveyed_on) as installed_on
               from live_usage_answer($1, $2) u
               join live_household($1, $2) h on h.household_code = u.household_code
               where u.round_code = any($5)
                 and u.surveyed_on >= $3 and u.surveyed_on < $4
           ), banded as (
               select outcome, site_code,
                      case when outcome = 'in_use' then share_of_meals end as meals,
                      case when outcome = 'in_use' then days_used_last_week::numeric end as days,
                      years - ((installed_on + make_interval(years => years))::date
                               > surveyed_on)::integer as age_band
               from answered
               cross join lateral (select extract(year from surveyed_on)::integer
                                          - extract(year from installed_on)::integer as years) y
               where installed_on is not null
           )
           select age_band as "age_band!", site_code as "site_code!",
                  count(*) filter (where outcome = 'in_use') as "in_use!",
                  count(*) filter (where outcome = 'not_in_use') as "not_in_use!",
                  count(*) filter (where outcome = 'not_found') as "not_found!",
                  count(*) filter (where outcome = 'refused') as "refused!",
                  count(meals) as "meals!", coalesce(sum(meals), 0) as "meals_sum!",
                  coalesce(sum(meals * meals), 0) as "meals_squares!",
                  count(days) as "days!", coalesce(sum(days), 0) as "days_sum!",
                  coalesce(sum(days * days), 0) as "days_squares!"
           from banded group by age_band, site_code"#,
        scope.programme_id,
        signed(scope.position),
        scope.period.starts_on,
        scope.period.ends_on,
        rounds
    )
    .fetch_all(connection)
    .await?;
    let mut counts = rows
        .into_iter()
        .map(|row| {
            Ok(UsageCount {
                age_band: narrow(row.age_band, "usage answer")?,
                site_code: row.site_code,
                in_use: unsigned(row.in_use, "usage answer")?,
                not_in_use: unsigned(row.not_in_use, "usage answer")?,
                not_found: unsigned(row.not_found, "usage answer")?,
                refused: unsigned(row.refused, "usage answer")?,
                meal_share: Sums {
                    count: unsigned(row.meals, "usage answer")?,
                    sum: row.meals_sum.normalize(),
                    sum_of_squares: row.meals_squares.normalize(),
                },
                days_per_week: Sums {
                    count: unsigned(row.days, "usage answer")?,
                    sum: row.days_sum.normalize(),
                    sum_of_squares: row.days_squares.normalize(),
                },
            })
        })
        .collect::<Result<Vec<_>, StoreError>>()?;
    // PostgreSQL orders text by its collation, the statement by bytes.
    counts.sort_by(|a, b| (a.age_band, &a.site_code).cmp(&(b.age_band, &b.site_code)));
    Ok(counts)
}

/// Kitchen tests of `rounds`, one entry a household, summed over its days.
pub async fn kitchen_households(
    connection: &mut PgConnection,
    scope: Scope<'_>,
    rounds: &[String],
) -> Result<Vec<KitchenHousehold>, StoreError> {
    let tests = sqlx::query!(
        r#"select day.household_code as "household!", h.site_code as "site!",
                  count(*)::integer as "days!", sum(day.adults) as "adult_days!"
           from (select household_code, measured_on,
                        max(children_0_14 * 0.5 + women_over_14 * 0.8
                            + men_15_59 * 1.0 + men_over_59 * 0.8) as adults
                 from live_kitchen_day($1, $2)
                 where round_code = any($3)
                 group by household_code, measured_on) as day
           join live_household($1, $2) h on h.household_code = day.household_code
           group by day.household_code, h.site_code"#,
        scope.programme_id,
        signed(scope.position),
        rounds
    )
    .fetch_all(&mut *connection)
    .await?;
    let mut households = BTreeMap::new();
    for row in tests {
        let asked = (row.household, row.site, row.days, row.adult_days);
        open_household(&mut households, asked, "kitchen test")?;
    }
    let burns = sqlx::query!(
        r#"select household_code as "household_code!", device as "device!", fuel as "fuel!",
                  sum((stock_start_wet_kg + added_wet_kg - stock_end_wet_kg) * (1 - moisture_wb))
                  as "dry_kg!"
           from live_kitchen_day($1, $2)
           where round_code = any($3)
           group by household_code, device, fuel"#,
        scope.programme_id,
        signed(scope.position),
        rounds
    )
    .fetch_all(connection)
    .await?;
    for row in burns {
        let burn = Burn {
            device: row.device,
            fuel: row.fuel,
        };
        let burnt = (row.household_code, burn, row.dry_kg);
        add_burn(&mut households, burnt, "kitchen test")?;
    }
    Ok(households.into_values().collect())
}

/// A household without its fuel yet, from its code, its site, the days and the standard
/// adults over them.
pub(super) fn open_household(
    households: &mut BTreeMap<String, KitchenHousehold>,
    (household, site, days, adult_days): (String, String, i32, Decimal),
    what: &str,
) -> Result<(), StoreError> {
    let opened = KitchenHousehold {
        household: household.clone(),
        site,
        days: narrow(days, what)?,
        adult_days: adult_days.normalize(),
        dry_kg: BTreeMap::new(),
    };
    households.insert(household, opened);
    Ok(())
}

/// Dry kg of one fuel in one device, to the household that burnt it.
pub(super) fn add_burn(
    households: &mut BTreeMap<String, KitchenHousehold>,
    (household, burn, dry_kg): (String, Burn, Decimal),
    what: &str,
) -> Result<(), StoreError> {
    households
        .get_mut(&household)
        .ok_or_else(|| StoreError::damaged(what, "its household is not registered"))?
        .dry_kg
        .insert(burn, dry_kg.normalize());
    Ok(())
}

/// Char of `rounds` weighed inside the period, by feedstock and fate.
pub async fn char_lots(
    connection: &mut PgConnection,
    scope: Scope<'_>,
    rounds: &[String],
    yield_bound: Decimal,
) -> Result<Vec<CharLot>, StoreError> {
    let rows = sqlx::query!(
        r#"with weighed as (
               select feedstock, fate, char_wet_kg * (1 - char_moisture_wb) as dry_kg,
                      coalesce(char_wet_kg * (1 - char_moisture_wb)
                               > $6::numeric * fuel_burnt_wet_kg * (1 - fuel_moisture_wb), false)
                      as over_bound
               from live_char_weighing($1, $2)
               where round_code = any($5)
                 and weighed_on >= $3 and weighed_on < $4
           )
           select feedstock as "feedstock!", fate as "fate!", count(*) as "weighings!", sum(dry_kg) as "dry_kg!",
                  count(*) filter (where over_bound) as "over_bound_weighings!",
                  coalesce(sum(dry_kg) filter (where over_bound), 0) as "over_bound_dry_kg!"
           from weighed group by feedstock, fate"#,
        scope.programme_id,
        signed(scope.position),
        scope.period.starts_on,
        scope.period.ends_on,
        rounds,
        yield_bound
    )
    .fetch_all(connection)
    .await?;
    let mut lots = rows
        .into_iter()
        .map(|row| {
            Ok(CharLot {
                feedstock: row.feedstock,
                fate: row.fate,
                weighings: unsigned(row.weighings, "char weighing")?,
                dry_kg: row.dry_kg.normalize(),
                over_bound_weighings: unsigned(row.over_bound_weighings, "char weighing")?,
                over_bound_dry_kg: row.over_bound_dry_kg.normalize(),
            })
        })
        .collect::<Result<Vec<_>, StoreError>>()?;
    lots.sort_by(|a, b| (&a.feedstock, &a.fate).cmp(&(&b.feedstock, &b.fate)));
    Ok(lots)
}

/// The batches of `rounds`, or of the register where none are asked for, known at the
/// scope's position and not withdrawn by then, in trail order.
pub async fn batches(
    connection: &mut PgConnection,
    scope: Scope<'_>,
    rounds: Option<&[String]>,
) -> Result<Vec<BatchRef>, StoreError> {
    let rows = sqlx::query!(
        "select batch_id, row_count, root from batch b
         where programme_id = $1 and sequence < $2
           and case when $3::text[] is null then round_code is null
                    else round_code = any($3) end
           and not exists (select from correction c
                           where c.programme_id = $1 and c.batch_id = b.batch_id
                             and c.line is null and c.sequence < $2)
         order by sequence",
        scope.programme_id,
        signed(scope.position),
        rounds
    )
    .fetch_all(connection)
    .await?;
    rows.into_iter()
        .map(|row| {
            Ok(BatchRef {
                id: row.batch_id,
                rows: unsigned(row.row_count, "batch")?,
                root: hex::encode(row.root),
            })
        })
        .collect()
}

pub(super) fn narrow<T>(value: T, what: &str) -> Result<u32, StoreError>
where
    u32: TryFrom<T>,
    <u32 as TryFrom<T>>::Error: std::fmt::Display,
{
    u32::try_from(value).map_err(|e| StoreError::damaged(what, e))
}
