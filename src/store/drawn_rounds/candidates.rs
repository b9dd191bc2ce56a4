//! Who may be drawn for a round, by the register and the rows that count at a position;
//! `accounting::rounds::frame` finds the same from rows.

use crate::accounting::rounds::frame::summed;
use crate::accounting::rounds::frame::{Candidate, InService, Weighed, group_of, weighing_code};
use crate::accounting::rounds::plan::{GroupCount, RoundPlan, SampleUnit};
use crate::store::cohorts::narrow;
use crate::store::{StoreError, signed, unsigned};
use sqlx::postgres::PgRow;
use sqlx::{AssertSqlSafe, PgConnection, Row as _};
use uuid::Uuid;

/// Stoves in service on day `$3`, second ones left out. `$1` is the programme, `$2` the position.
const IN_SERVICE: &str = "
    select d.household_code, d.serial, d.model_code || '@' || d.model_version as model,
           y.years - ((d.installed_on + make_interval(years => y.years))::date > $3)::integer
               as age_band
    from live_deployment($1, $2) d
    left join live_deployment_end($1, $2) e
           on e.serial = d.serial and e.installed_on = d.installed_on
    cross join lateral (select extract(year from $3::date)::integer
                               - extract(year from d.installed_on)::integer as years) y
    where not coalesce(d.second_stove, false) and d.installed_on <= $3
      and coalesce(d.ended_on, e.ended_on, 'infinity'::date) > $3";

/// The candidates of a plan; `$4` is the first day of weighings.
fn source(unit: SampleUnit) -> String {
    let (stoves, households) = (IN_SERVICE, "live_household($1, $2) h");
    let no_weighing = "null::bigint as sequence, null::bigint as line, null::date as weighed_on,
                       null::text as feedstock, $4::date as unused";
    match unit {
        SampleUnit::Stove | SampleUnit::Household => format!(
            "select h.household_code, h.site_code, s.serial, s.model, s.age_band, {no_weighing}
             from ({stoves}) s join {households} using (household_code)"
        ),
        SampleUnit::RegisteredHousehold => format!(
            "select h.household_code, h.site_code, s.serial, s.model, s.age_band, {no_weighing}
             from {households} left join ({stoves}) s using (household_code)"
        ),
        SampleUnit::HouseholdWithoutStove => format!(
            "select h.household_code, h.site_code, s.serial, s.model, s.age_band, {no_weighing}
             from {households} left join ({stoves}) s using (household_code)
             where s.serial is null"
        ),
        SampleUnit::CharWeighing => format!(
            "select h.household_code, h.site_code, null::text as serial, null::text as model,
                    null::integer as age_band, w.sequence, w.line, w.weighed_on, w.feedstock
             from live_char_weighing($1, $2) w join {households} using (household_code)
             where w.weighed_on >= $4 and w.weighed_on < $3"
        ),
    }
}

/// Everything that a plan may draw from.
pub async fn all(
    connection: &mut PgConnection,
    programme_id: Uuid,
    position: u64,
    plan: &RoundPlan,
) -> Result<Vec<Candidate>, StoreError> {
    let rows = sqlx::query(AssertSqlSafe(source(plan.unit)))
        .bind(programme_id)
        .bind(signed(position))
        .bind(plan.frame_on)
        .bind(plan.frame_from)
        .fetch_all(connection)
        .await?;
    rows.iter()
        .map(|row| {
            let mut found = alike(row)?;
            found.household_code = row.try_get("household_code")?;
            if let Some(stove) = &mut found.stove {
                stove.serial = row.try_get("serial")?;
            }
            if let Some(weighed) = &mut found.weighed {
                let sequence = unsigned(row.try_get("sequence")?, "row")?;
                let line = unsigned(row.try_get("line")?, "row")?;
                weighed.code = weighing_code(sequence, line);
                weighed.weighed_on = row.try_get("weighed_on")?;
            }
            Ok(found)
        })
        .collect()
}

/// How many there are in each group of a plan; they are counted where they are, not read.
pub async fn counted(
    connection: &mut PgConnection,
    programme_id: Uuid,
    position: u64,
    plan: &RoundPlan,
) -> Result<Vec<GroupCount>, StoreError> {
    let source = source(plan.unit);
    let sql = format!(
        "select site_code, model, age_band, feedstock, count(*) as units
         from ({source}) c group by site_code, model, age_band, feedstock"
    );
    let rows = sqlx::query(AssertSqlSafe(sql))
        .bind(programme_id)
        .bind(signed(position))
        .bind(plan.frame_on)
        .bind(plan.frame_from)
        .fetch_all(connection)
        .await?;
    let counts = rows
        .iter()
        .map(|row| {
            let units = unsigned(row.try_get("units")?, "count")?;
            Ok((group_of(plan, &alike(row)?), units))
        })
        .collect::<Result<Vec<_>, StoreError>>()?;
    Ok(summed(counts))
}

/// What a group can be made of; codes are left empty.
fn alike(row: &PgRow) -> Result<Candidate, StoreError> {
    let model: Option<String> = row.try_get("model")?;
    let age: Option<i32> = row.try_get("age_band")?;
    let feedstock: Option<String> = row.try_get("feedstock")?;
    let stove = match (model, age) {
        (Some(model), Some(age)) => Some(InService {
            serial: String::new(),
            model,
            age_band: narrow(age, "deployment")?,
        }),
        _ => None,
    };
    Ok(Candidate {
        household_code: String::new(),
        site_code: row.try_get("site_code")?,
        stove,
        weighed: feedstock.map(|feedstock| Weighed {
            code: String::new(),
            weighed_on: chrono::NaiveDate::MIN,
            feedstock,
        }),
    })
}
