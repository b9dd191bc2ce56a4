//! Baseline surveys, cooking tests, stove tests and char samples, as a statement takes them.
//!
//! `accounting::gather` finds the same from rows.

use super::cohorts::{Scope, add_burn, narrow, open_household};
use super::{StoreError, signed};
use crate::accounting::evidence::{CharLabTest, CookingTest, StoveTest};
use crate::accounting::inputs::{Burn, KitchenHousehold};
use sqlx::PgConnection;
use std::collections::BTreeMap;

/// Baseline surveys of `rounds`, one entry a household, summed over the days it was asked.
pub async fn survey_households(
    connection: &mut PgConnection,
    scope: Scope<'_>,
    rounds: &[String],
) -> Result<Vec<KitchenHousehold>, StoreError> {
    let visits = sqlx::query!(
        r#"select day.household_code as "household!", h.site_code as "site!",
                  count(*)::integer as "days!", sum(day.adults) as "adult_days!"
           from (select household_code, surveyed_on,
                        max(children_0_14 * 0.5 + women_over_14 * 0.8
                            + men_15_59 * 1.0 + men_over_59 * 0.8) as adults
                 from live_baseline_survey_answer($1, $2)
                 where round_code = any($3)
                 group by household_code, surveyed_on) as day
           join live_household($1, $2) h on h.household_code = day.household_code
           group by day.household_code, h.site_code"#,
        scope.programme_id,
        signed(scope.position),
        rounds
    )
    .fetch_all(&mut *connection)
    .await?;
    let mut households = BTreeMap::new();
    for row in visits {
        let asked = (row.household, row.site, row.days, row.adult_days);
        open_household(&mut households, asked, "baseline survey")?;
    }
    let burns = sqlx::query!(
        r#"select household_code as "household_code!", device as "device!", fuel as "fuel!",
                  sum(fuel_wet_kg_per_day * (1 - moisture_wb)) as "dry_kg!"
           from live_baseline_survey_answer($1, $2)
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
        add_burn(&mut households, burnt, "baseline survey")?;
    }
    Ok(households.into_values().collect())
}

/// Cooking tests of `rounds`, sorted by code.
pub async fn cooking_tests(
    connection: &mut PgConnection,
    scope: Scope<'_>,
    rounds: &[String],
) -> Result<Vec<CookingTest>, StoreError> {
    let mut tests = sqlx::query_as!(
        CookingTest,
        r#"select test_code as "test_code!", cook_code as "cook_code!",
                  tested_on as "tested_on!", device as "device!", dish as "dish!",
                  fuel as "fuel!",
                  trim_scale(fuel_wet_kg) as "fuel_wet_kg!",
                  trim_scale(moisture_wb) as "moisture_wb!",
                  trim_scale(char_left_dry_kg) as "char_left_kg!",
                  trim_scale(food_kg) as "food_kg!", trim_scale(minutes) as minutes
           from live_cooking_test($1, $2)
           where round_code = any($3)"#,
        scope.programme_id,
        signed(scope.position),
        rounds
    )
    .fetch_all(connection)
    .await?;
    // PostgreSQL orders text by its collation, the statement by bytes.
    tests.sort_by(|a, b| a.test_code.cmp(&b.test_code));
    Ok(tests)
}

/// Stove tests of `rounds`, sorted by code.
pub async fn stove_tests(
    connection: &mut PgConnection,
    scope: Scope<'_>,
    rounds: &[String],
) -> Result<Vec<StoveTest>, StoreError> {
    let rows = sqlx::query!(
        r#"select test_code as "test_code!", laboratory as "laboratory!",
                  tested_on as "tested_on!", device as "device!",
                  stove_age_years as "stove_age_years!", fuel as "fuel!",
                  trim_scale(fuel_wet_kg) as "fuel_wet_kg!",
                  trim_scale(moisture_wb) as "moisture_wb!",
                  trim_scale(fuel_ncv_dry_mj_per_kg) as "fuel_ncv_dry_mj_per_kg!",
                  trim_scale(char_left_dry_kg) as "char_left_kg!",
                  trim_scale(char_ncv_mj_per_kg) as "char_ncv_mj_per_kg!",
                  trim_scale(water_start_kg) as "water_start_kg!",
                  trim_scale(water_end_kg) as "water_end_kg!",
                  trim_scale(water_start_c) as "water_start_c!",
                  trim_scale(water_end_c) as "water_end_c!",
                  trim_scale(minutes) as "minutes!",
                  trim_scale(co_g) as co_g, trim_scale(pm25_mg) as pm25_mg,
                  trim_scale(safety_score) as safety_score,
                  trim_scale(durability_score) as durability_score
           from live_stove_test($1, $2)
           where round_code = any($3)"#,
        scope.programme_id,
        signed(scope.position),
        rounds
    )
    .fetch_all(connection)
    .await?;
    let mut tests = rows
        .into_iter()
        .map(|row| {
            Ok(StoveTest {
                test_code: row.test_code,
                laboratory: row.laboratory,
                tested_on: row.tested_on,
                device: row.device,
                stove_age_years: narrow(row.stove_age_years, "stove test")?,
                fuel: row.fuel,
                fuel_wet_kg: row.fuel_wet_kg,
                moisture_wb: row.moisture_wb,
                fuel_ncv_dry_mj_per_kg: row.fuel_ncv_dry_mj_per_kg,
                char_left_kg: row.char_left_kg,
                char_ncv_mj_per_kg: row.char_ncv_mj_per_kg,
                water_start_kg: row.water_start_kg,
                water_end_kg: row.water_end_kg,
                water_start_c: row.water_start_c,
                water_end_c: row.water_end_c,
                minutes: row.minutes,
                co_g: row.co_g,
                pm25_mg: row.pm25_mg,
                safety_score: row.safety_score,
                durability_score: row.durability_score,
            })
        })
        .collect::<Result<Vec<_>, StoreError>>()?;
    tests.sort_by(|a, b| a.test_code.cmp(&b.test_code));
    Ok(tests)
}

/// Laboratory results of `rounds`, sorted by code of the sample.
pub async fn char_lab(
    connection: &mut PgConnection,
    scope: Scope<'_>,
    rounds: &[String],
) -> Result<Vec<CharLabTest>, StoreError> {
    let mut samples = sqlx::query_as!(
        CharLabTest,
        r#"select sample_code as "sample_code!", laboratory as "laboratory!",
                  sampled_on as "sampled_on!", feedstock as "feedstock!",
                  trim_scale(carbon_total) as "carbon_total!",
                  trim_scale(carbon_inorganic) as "carbon_inorganic!",
                  trim_scale(hydrogen) as "hydrogen!", trim_scale(ash) as ash
           from live_char_lab_result($1, $2)
           where round_code = any($3)"#,
        scope.programme_id,
        signed(scope.position),
        rounds
    )
    .fetch_all(connection)
    .await?;
    samples.sort_by(|a, b| a.sample_code.cmp(&b.sample_code));
    Ok(samples)
}
