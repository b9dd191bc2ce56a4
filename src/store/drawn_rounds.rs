//! Rounds whose sample the program draws: their steps, the units of frame and draw, and what
//! the rows of a round say of each unit.

use super::cohorts::narrow;
use super::{StoreError, signed, unsigned};
use crate::accounting::records::RoundKind;
use crate::accounting::rounds::drawing::DrawnUnit;
use crate::accounting::rounds::frame::{FrameUnit, InService};
use crate::accounting::rounds::plan::SampleUnit;
use crate::accounting::rounds::progress::{Answer, Visit};
use chrono::NaiveDate;
use rust_decimal::Decimal;
use sqlx::{AssertSqlSafe, PgConnection, Row as _};
use uuid::Uuid;

/// One step of a round, as recorded.
#[derive(Debug, Clone)]
pub struct StepRow {
    /// `plan`, `frame`, `seed`, `draw` or `close`.
    pub step: String,
    pub body: String,
    pub sequence: u64,
}

pub async fn insert_step(
    connection: &mut PgConnection,
    programme_id: Uuid,
    round: &str,
    step: &str,
    body: &str,
    sequence: u64,
) -> Result<(), StoreError> {
    sqlx::query!(
        "insert into round_step (programme_id, round_code, step, body, sequence)
         values ($1, $2, $3, $4, $5)",
        programme_id,
        round,
        step,
        body,
        signed(sequence)
    )
    .execute(connection)
    .await?;
    Ok(())
}

/// The steps of a round, in trail order.
pub async fn steps(
    connection: &mut PgConnection,
    programme_id: Uuid,
    round: &str,
) -> Result<Vec<StepRow>, StoreError> {
    let rows = sqlx::query!(
        "select step, body, sequence from round_step
         where programme_id = $1 and round_code = $2 order by sequence",
        programme_id,
        round
    )
    .fetch_all(connection)
    .await?;
    rows.into_iter()
        .map(|row| {
            Ok(StepRow {
                step: row.step,
                body: row.body,
                sequence: unsigned(row.sequence, "round")?,
            })
        })
        .collect()
}

/// Round and last step of every round that has any, by round.
pub async fn last_steps(
    connection: &mut PgConnection,
    programme_id: Uuid,
) -> Result<Vec<(String, String)>, StoreError> {
    let rows = sqlx::query!(
        "select distinct on (round_code) round_code, step from round_step
         where programme_id = $1 order by round_code, sequence desc",
        programme_id
    )
    .fetch_all(connection)
    .await?;
    Ok(rows
        .into_iter()
        .map(|row| (row.round_code, row.step))
        .collect())
}

/// Rounds planned before `position`, in the order in which they were.
pub async fn planned(
    connection: &mut PgConnection,
    programme_id: Uuid,
    position: u64,
) -> Result<Vec<String>, StoreError> {
    Ok(sqlx::query_scalar!(
        "select round_code from round_step
         where programme_id = $1 and step = 'plan' and sequence < $2 order by sequence",
        programme_id,
        signed(position)
    )
    .fetch_all(connection)
    .await?)
}

/// Stoves in service on a day, second ones left out, by the register known at `position`.
pub async fn in_service(
    connection: &mut PgConnection,
    programme_id: Uuid,
    position: u64,
    on: NaiveDate,
) -> Result<Vec<InService>, StoreError> {
    let rows = sqlx::query!(
        r#"select d.serial, d.household_code, h.site_code, d.model_code, d.model_version,
                  y.years - ((d.installed_on + make_interval(years => y.years))::date > $3)::integer
                  as "age_band!"
           from deployment d
           join household h on h.programme_id = d.programme_id
                           and h.household_code = d.household_code
           left join deployment_end e on e.programme_id = d.programme_id
                           and e.serial = d.serial and e.installed_on = d.installed_on
                           and e.sequence < $2
           cross join lateral (select extract(year from $3::date)::integer
                                      - extract(year from d.installed_on)::integer as years) y
           where d.programme_id = $1 and d.sequence < $2 and not coalesce(d.second_stove, false)
             and d.installed_on <= $3
             and coalesce(d.ended_on, e.ended_on, 'infinity'::date) > $3"#,
        programme_id,
        signed(position),
        on
    )
    .fetch_all(connection)
    .await?;
    rows.into_iter()
        .map(|row| {
            Ok(InService {
                serial: row.serial,
                household_code: row.household_code,
                site_code: row.site_code,
                model_code: row.model_code,
                model_version: narrow(row.model_version, "deployment")?,
                age_band: narrow(row.age_band, "deployment")?,
            })
        })
        .collect()
}

pub async fn insert_frame(
    connection: &mut PgConnection,
    programme_id: Uuid,
    round: &str,
    frame: &[FrameUnit],
) -> Result<(), StoreError> {
    let column = |of: fn(&FrameUnit) -> &String| -> Vec<String> {
        frame.iter().map(|unit| of(unit).clone()).collect()
    };
    let ages: Vec<i32> = frame
        .iter()
        .map(|unit| i32::try_from(unit.age_band).unwrap_or(i32::MAX))
        .collect();
    sqlx::query!(
        "insert into round_frame_unit (programme_id, round_code, unit_code, group_name,
                                       household_code, serial, site_code, model, age_band)
         select $1, $2, f.* from unnest($3::text[], $4::text[], $5::text[], $6::text[],
                                        $7::text[], $8::text[], $9::integer[]) as f",
        programme_id,
        round,
        &column(|unit| &unit.unit),
        &column(|unit| &unit.group),
        &column(|unit| &unit.household_code),
        &column(|unit| &unit.serial),
        &column(|unit| &unit.site_code),
        &column(|unit| &unit.model),
        &ages
    )
    .execute(connection)
    .await?;
    Ok(())
}

/// The frame of a round, in the order of the units' bytes.
pub async fn frame(
    connection: &mut PgConnection,
    programme_id: Uuid,
    round: &str,
) -> Result<Vec<FrameUnit>, StoreError> {
    let rows = sqlx::query!(
        "select unit_code, group_name, household_code, serial, site_code, model, age_band
         from round_frame_unit where programme_id = $1 and round_code = $2
         order by unit_code collate \"C\"",
        programme_id,
        round
    )
    .fetch_all(connection)
    .await?;
    rows.into_iter()
        .map(|row| {
            Ok(FrameUnit {
                unit: row.unit_code,
                group: row.group_name,
                household_code: row.household_code,
                serial: row.serial,
                site_code: row.site_code,
                model: row.model,
                age_band: narrow(row.age_band, "deployment")?,
            })
        })
        .collect()
}

pub async fn insert_draw(
    connection: &mut PgConnection,
    programme_id: Uuid,
    round: &str,
    units: &[DrawnUnit],
) -> Result<(), StoreError> {
    let column = |of: fn(&DrawnUnit) -> &String| -> Vec<String> {
        units.iter().map(|unit| of(unit).clone()).collect()
    };
    let places: Vec<i32> = units
        .iter()
        .map(|unit| i32::try_from(unit.place).unwrap_or(i32::MAX))
        .collect();
    let reserve: Vec<bool> = units.iter().map(|unit| unit.reserve).collect();
    sqlx::query!(
        "insert into round_draw_unit (programme_id, round_code, group_name, place, reserve, hash,
                                      unit_code)
         select $1, $2, d.* from unnest($3::text[], $4::integer[], $5::boolean[], $6::text[],
                                        $7::text[]) as d",
        programme_id,
        round,
        &column(|unit| &unit.group),
        &places,
        &reserve,
        &column(|unit| &unit.hash),
        &column(|unit| &unit.unit)
    )
    .execute(connection)
    .await?;
    Ok(())
}

/// The draw of a round: group after group by the names' bytes, each in its order.
pub async fn draw(
    connection: &mut PgConnection,
    programme_id: Uuid,
    round: &str,
) -> Result<Vec<DrawnUnit>, StoreError> {
    let rows = sqlx::query!(
        "select group_name, place, reserve, hash, unit_code
         from round_draw_unit where programme_id = $1 and round_code = $2
         order by group_name collate \"C\", place",
        programme_id,
        round
    )
    .fetch_all(connection)
    .await?;
    rows.into_iter()
        .map(|row| {
            Ok(DrawnUnit {
                group: row.group_name,
                place: unsigned(i64::from(row.place), "draw")?,
                reserve: row.reserve,
                hash: row.hash,
                unit: row.unit_code,
            })
        })
        .collect()
}

/// What the rows of a round say of each unit that they name: its visit, and its value.
///
/// A usage survey gives 1 for in use and 0 for not; of a household with several stoves surveyed
/// the best outcome stands. A kitchen test gives dry kilograms of fuel a day, a round of
/// weighings dry kilograms of char, one of readings the mean moisture, each over the household.
pub async fn answers(
    connection: &mut PgConnection,
    programme_id: Uuid,
    round: &str,
    kind: RoundKind,
    unit: SampleUnit,
    position: u64,
) -> Result<Vec<Answer>, StoreError> {
    let unit = match unit {
        SampleUnit::Stove => "serial",
        SampleUnit::Household => "household_code",
    };
    let (table, outcome, value) = match kind {
        RoundKind::UsageSurvey => (
            "usage_answer",
            "case when bool_or(outcome in ('in_use', 'not_in_use')) then 'done'
                  when bool_or(outcome = 'refused') then 'refused' else 'not_found' end",
            "max(case outcome when 'in_use' then 1 when 'not_in_use' then 0 end)::numeric",
        ),
        RoundKind::KitchenProject => (
            "kitchen_day",
            "'done'",
            "sum((stock_start_wet_kg + added_wet_kg - stock_end_wet_kg) * (1 - moisture_wb))
             / count(distinct measured_on)",
        ),
        RoundKind::CharWeighing => (
            "char_weighing",
            "'done'",
            "sum(char_wet_kg * (1 - char_moisture_wb))",
        ),
        RoundKind::Moisture => ("moisture_reading", "'done'", "avg(moisture_wb)"),
        _ => return Ok(Vec::new()),
    };
    let sql = format!(
        "select {unit} as unit, {outcome} as outcome, round({value}, 12) as value from {table}
         where programme_id = $1 and round_code = $2 and sequence < $3 group by {unit}"
    );
    let rows = sqlx::query(AssertSqlSafe(sql))
        .bind(programme_id)
        .bind(round)
        .bind(signed(position))
        .fetch_all(connection)
        .await?;
    rows.iter()
        .map(|row| {
            let outcome: &str = row.try_get("outcome")?;
            Ok(Answer {
                unit: row.try_get("unit")?,
                visit: match outcome {
                    "refused" => Visit::Refused,
                    "not_found" => Visit::NotFound,
                    _ => Visit::Done,
                },
                value: row.try_get::<Option<Decimal>, _>("value")?,
            })
        })
        .collect()
}

/// Whether any batch was accepted into the round.
pub async fn has_batches(
    connection: &mut PgConnection,
    programme_id: Uuid,
    round: &str,
) -> Result<bool, StoreError> {
    Ok(sqlx::query_scalar!(
        r#"select exists (select from batch where programme_id = $1 and round_code = $2) as "any!""#,
        programme_id,
        round
    )
    .fetch_one(connection)
    .await?)
}
