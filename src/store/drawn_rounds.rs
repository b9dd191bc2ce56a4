//! Rounds whose sample the program draws: their steps, and the units of frame and draw.
//! `candidates` says who may be drawn, `unit_rows` what the rows of a round are of.

mod candidates;
mod unit_rows;

pub use candidates::{all as candidates, counted};
pub use unit_rows::{of_drawn as rows_of_drawn, outside};

use super::cohorts::narrow;
use super::{StoreError, signed, unsigned};
use crate::accounting::rounds::drawing::DrawnUnit;
use crate::accounting::rounds::frame::FrameUnit;
use chrono::NaiveDate;
use sqlx::PgConnection;
use std::collections::BTreeMap;
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

pub async fn insert_frame(
    connection: &mut PgConnection,
    programme_id: Uuid,
    round: &str,
    frame: &[FrameUnit],
) -> Result<(), StoreError> {
    let column = |of: fn(&FrameUnit) -> &String| -> Vec<String> {
        frame.iter().map(|unit| of(unit).clone()).collect()
    };
    let ages: Vec<Option<i32>> = frame
        .iter()
        .map(|unit| Some(i32::try_from(unit.age_band?).unwrap_or(i32::MAX)))
        .collect();
    let weighed_on: Vec<Option<NaiveDate>> = frame.iter().map(|unit| unit.weighed_on).collect();
    sqlx::query!(
        "insert into round_frame_unit (programme_id, round_code, unit_code, group_name,
                                       household_code, serial, site_code, model, age_band,
                                       weighed_on, feedstock)
         select $1, $2, f.* from unnest($3::text[], $4::text[], $5::text[], $6::text[],
                                        $7::text[], $8::text[], $9::integer[], $10::date[],
                                        $11::text[]) as f",
        programme_id,
        round,
        &column(|unit| &unit.unit),
        &column(|unit| &unit.group),
        &column(|unit| &unit.household_code),
        &column(|unit| &unit.serial),
        &column(|unit| &unit.site_code),
        &column(|unit| &unit.model),
        &ages as &[Option<i32>],
        &weighed_on as &[Option<NaiveDate>],
        &column(|unit| &unit.feedstock)
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
        "select unit_code, group_name, household_code, serial, site_code, model, age_band,
                weighed_on, feedstock
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
                age_band: row.age_band.map(|age| narrow(age, "frame")).transpose()?,
                weighed_on: row.weighed_on,
                feedstock: row.feedstock,
            })
        })
        .collect()
}

/// The units of a frame that were drawn, by their ids; the rest of the frame is not read.
pub async fn drawn_of_frame(
    connection: &mut PgConnection,
    programme_id: Uuid,
    round: &str,
) -> Result<BTreeMap<String, FrameUnit>, StoreError> {
    let rows = sqlx::query!(
        // Unit by unit through the key: just after a frame of any size was taken the planner
        // knows nothing of it, and would read all of it for each drawn unit.
        "select f.unit_code, f.group_name, f.household_code, f.serial, f.site_code, f.model,
                f.age_band, f.weighed_on, f.feedstock
         from round_draw_unit d
         cross join lateral (select * from round_frame_unit u
                             where u.programme_id = $1 and u.round_code = $2
                               and u.unit_code = d.unit_code offset 0) f
         where d.programme_id = $1 and d.round_code = $2",
        programme_id,
        round
    )
    .fetch_all(connection)
    .await?;
    rows.into_iter()
        .map(|row| {
            let unit = FrameUnit {
                unit: row.unit_code,
                group: row.group_name,
                household_code: row.household_code,
                serial: row.serial,
                site_code: row.site_code,
                model: row.model,
                age_band: row.age_band.map(|age| narrow(age, "frame")).transpose()?,
                weighed_on: row.weighed_on,
                feedstock: row.feedstock,
            };
            Ok((unit.unit.clone(), unit))
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
