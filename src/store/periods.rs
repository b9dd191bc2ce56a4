//! Monitoring periods and their closing.

use super::{StoreError, signed, unsigned};
use crate::accounting::inputs::Period;
use sqlx::PgConnection;
use uuid::Uuid;

#[derive(Debug, Clone)]
pub struct PeriodRow {
    pub period: Period,
    pub sequence: u64,
    /// The trail entry that closed it.
    pub closed: Option<u64>,
}

pub async fn insert(
    connection: &mut PgConnection,
    programme_id: Uuid,
    period: &Period,
    sequence: u64,
) -> Result<(), StoreError> {
    sqlx::query!(
        "insert into monitoring_period (programme_id, period_code, starts_on, ends_on, sequence)
         values ($1, $2, $3, $4, $5)",
        programme_id,
        period.code,
        period.starts_on,
        period.ends_on,
        signed(sequence)
    )
    .execute(connection)
    .await?;
    Ok(())
}

pub async fn close(
    connection: &mut PgConnection,
    programme_id: Uuid,
    code: &str,
    sequence: u64,
) -> Result<(), StoreError> {
    sqlx::query!(
        "insert into period_close (programme_id, period_code, sequence) values ($1, $2, $3)",
        programme_id,
        code,
        signed(sequence)
    )
    .execute(connection)
    .await?;
    Ok(())
}

/// All periods, the earliest first.
pub async fn all(
    connection: &mut PgConnection,
    programme_id: Uuid,
) -> Result<Vec<PeriodRow>, StoreError> {
    let rows = sqlx::query!(
        r#"select p.period_code, p.starts_on, p.ends_on, p.sequence, c.sequence as "closed?"
           from monitoring_period p
           left join period_close c using (programme_id, period_code)
           where p.programme_id = $1
           order by p.starts_on"#,
        programme_id
    )
    .fetch_all(connection)
    .await?;
    rows.into_iter()
        .map(|row| {
            Ok(PeriodRow {
                period: Period {
                    code: row.period_code,
                    starts_on: row.starts_on,
                    ends_on: row.ends_on,
                },
                sequence: unsigned(row.sequence, "period")?,
                closed: row
                    .closed
                    .map(|closed| unsigned(closed, "period"))
                    .transpose()?,
            })
        })
        .collect()
}
