//! How what was measured is spread: fuel a household-day before and after, the yield of char,
//! the moisture of fuel. Sorted into classes in SQL, so that only counts are read.

use super::{StoreError, signed, unsigned};
use sqlx::{AssertSqlSafe, PgConnection, Row as _};
use uuid::Uuid;

/// One thing that is measured, with the classes that its values are sorted into.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Measure {
    /// kg dry fuel per household and day, a value a kitchen.
    FuelPerDay,
    /// kg dry char per kg dry fuel burnt, a value a weighing.
    CharYield,
    /// Water over wet mass, a value a reading.
    FuelMoisture,
}

impl Measure {
    pub const ALL: [Measure; 3] = [
        Measure::FuelPerDay,
        Measure::CharYield,
        Measure::FuelMoisture,
    ];

    /// Width of a class, in the measure's unit.
    pub fn class_width(self) -> f64 {
        match self {
            Measure::FuelPerDay => 0.5,
            Measure::CharYield | Measure::FuelMoisture => 0.02,
        }
    }

    /// How many classes there are; the last one takes all that lies above it too.
    pub fn classes(self) -> usize {
        match self {
            Measure::FuelPerDay => 30,
            Measure::CharYield | Measure::FuelMoisture => 25,
        }
    }

    /// Values with the group that each belongs to, of the sites in `$3` (null = all).
    fn values(self) -> &'static str {
        match self {
            Measure::FuelPerDay => {
                "select r.kind as of, sum((d.stock_start_wet_kg + d.added_wet_kg - d.stock_end_wet_kg)
                            * (1 - d.moisture_wb)) / count(distinct d.measured_on) as value
                 from live_kitchen_day($1, $2) d
                 join round r on r.programme_id = $1 and r.round_code = d.round_code
                 join live_household($1, $2) h on h.household_code = d.household_code
                 where $3::text[] is null or h.site_code = any($3)
                 group by r.kind, d.round_code, d.household_code"
            }
            Measure::CharYield => {
                "select w.feedstock as of, w.char_wet_kg * (1 - w.char_moisture_wb)
                            / (w.fuel_burnt_wet_kg * (1 - w.fuel_moisture_wb)) as value
                 from live_char_weighing($1, $2) w
                 join live_household($1, $2) h on h.household_code = w.household_code
                 where w.fuel_burnt_wet_kg > 0 and w.fuel_moisture_wb < 1
                   and ($3::text[] is null or h.site_code = any($3))"
            }
            Measure::FuelMoisture => {
                "select m.fuel as of, m.moisture_wb as value
                 from live_moisture_reading($1, $2) m
                 join live_household($1, $2) h on h.household_code = m.household_code
                 where $3::text[] is null or h.site_code = any($3)"
            }
        }
    }
}

/// The values of one group: fuel before or after, a feedstock, a fuel.
#[derive(Debug, Clone, PartialEq)]
pub struct Spread {
    pub of: String,
    pub count: u64,
    pub mean: f64,
    pub lower_quartile: f64,
    pub median: f64,
    pub upper_quartile: f64,
    /// How many lie in each class of the measure.
    pub classes: Vec<u64>,
}

/// The groups of a measure, as they stood at a position of the trail, sorted by name.
pub async fn spreads(
    connection: &mut PgConnection,
    programme_id: Uuid,
    position: u64,
    sites: Option<&[String]>,
    measure: Measure,
) -> Result<Vec<Spread>, StoreError> {
    let values = measure.values();
    let sql = format!(
        "with v as (select of, value::float8 as value from ({values}) as measured),
              classed as (select of, greatest(0, least(floor(value / $4), $5))::integer as class,
                                 count(*) as many from v group by 1, 2),
              summed as (select of, count(*) as count, avg(value) as mean,
                                percentile_cont(array[0.25, 0.5, 0.75])
                                    within group (order by value) as quartiles
                         from v group by of)
         select s.of, s.count, s.mean, s.quartiles,
                array_agg(c.class order by c.class) as classes,
                array_agg(c.many order by c.class) as many
         from summed s join classed c on c.of = s.of
         group by s.of, s.count, s.mean, s.quartiles order by s.of"
    );
    let rows = sqlx::query(AssertSqlSafe(sql))
        .bind(programme_id)
        .bind(signed(position))
        .bind(sites)
        .bind(measure.class_width())
        .bind((measure.classes() - 1) as f64)
        .fetch_all(connection)
        .await?;
    rows.iter()
        .map(|row| {
            let quartiles: Vec<f64> = row.try_get("quartiles")?;
            let places: Vec<i32> = row.try_get("classes")?;
            let many: Vec<i64> = row.try_get("many")?;
            let mut classes = vec![0; measure.classes()];
            for (place, many) in places.into_iter().zip(many) {
                let place = usize::try_from(place).unwrap_or_default();
                if let Some(class) = classes.get_mut(place) {
                    *class = unsigned(many, "count")?;
                }
            }
            let quartile = |place: usize| quartiles.get(place).copied().unwrap_or(f64::NAN);
            Ok(Spread {
                of: row.try_get("of")?,
                count: unsigned(row.try_get("count")?, "count")?,
                mean: row.try_get("mean")?,
                lower_quartile: quartile(0),
                median: quartile(1),
                upper_quartile: quartile(2),
                classes,
            })
        })
        .collect()
}
