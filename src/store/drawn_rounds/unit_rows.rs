//! The rows of a round by the units that they name.

use crate::accounting::rounds::plan::SampleUnit;
use crate::intake::BatchKind;
use crate::store::rows::{self, StoredRow};
use crate::store::staging::table;
use crate::store::{StoreError, signed, unsigned};
use sqlx::{AssertSqlSafe, PgConnection};
use uuid::Uuid;

/// What a row of the kind calls the unit that was drawn.
fn unit_of_row(kind: BatchKind, unit: SampleUnit) -> &'static str {
    match kind {
        BatchKind::UsageSurvey if unit == SampleUnit::Stove => "serial",
        BatchKind::CookingTest => "cook_code",
        BatchKind::StoveTest => "regexp_replace(test_code, '/[0-9]+$', '')",
        BatchKind::CharLab => "sample_code",
        _ => "household_code",
    }
}

/// Rows of the round that count at `position` and are of a drawn unit.
pub async fn of_drawn(
    connection: &mut PgConnection,
    programme_id: Uuid,
    round: &str,
    kind: BatchKind,
    unit: SampleUnit,
    position: u64,
) -> Result<Vec<StoredRow>, StoreError> {
    let condition = format!(
        "where round_code = $3 and {} in (select unit_code from round_draw_unit
                                          where programme_id = $1 and round_code = $3)
         order by sequence, line",
        unit_of_row(kind, unit)
    );
    rows::matching(connection, programme_id, kind, position, &condition, round).await
}

/// How many units that were not drawn have rows in the round at `position`.
pub async fn outside(
    connection: &mut PgConnection,
    programme_id: Uuid,
    round: &str,
    kind: BatchKind,
    unit: SampleUnit,
    position: u64,
) -> Result<u64, StoreError> {
    let named = unit_of_row(kind, unit);
    let sql = format!(
        "select count(distinct {named}) from live_{}($1, $2)
         where round_code = $3
           and {named} not in (select unit_code from round_draw_unit
                               where programme_id = $1 and round_code = $3)",
        table(kind)
    );
    let count: i64 = sqlx::query_scalar(AssertSqlSafe(sql))
        .bind(programme_id)
        .bind(signed(position))
        .bind(round)
        .fetch_one(connection)
        .await?;
    unsigned(count, "count")
}
