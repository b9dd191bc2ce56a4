//! Monitoring periods: opened, then closed.

use super::findings::must_not_be_held_open;
use super::register::{check_code, check_days};
use super::{Caller, Once, Service, ServiceError};
use crate::accounting::inputs::Period;
use crate::accounting::records::{PeriodClosedRecord, kind};
use crate::store;
use crate::store::periods::PeriodRow;
use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use sqlx::PgConnection;
use utoipa::ToSchema;

#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewPeriod {
    pub code: String,
    pub starts_on: NaiveDate,
    /// The first day after the period.
    pub ends_on: NaiveDate,
}

#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct PeriodView {
    #[serde(flatten)]
    pub period: NewPeriod,
    /// Trail entry that closed it; evidence after it goes into a restatement.
    pub closed_by: Option<u64>,
}

impl Service {
    pub async fn open_period(
        &self,
        caller: &Caller,
        new: &NewPeriod,
        once: &Once,
    ) -> Result<PeriodView, ServiceError> {
        caller.must_manage()?;
        check_code("code", &new.code)?;
        check_days(new.starts_on, new.ends_on, "period")?;
        let record = Period {
            code: new.code.clone(),
            starts_on: new.starts_on,
            ends_on: new.ends_on,
        };
        self.write(caller, once, async |connection| {
            let sequence = self
                .log(
                    connection,
                    caller,
                    kind::PERIOD_OPENED,
                    &record.code,
                    &record,
                )
                .await?;
            store::periods::insert(connection, caller.programme_id, &record, sequence).await?;
            Ok(PeriodView {
                period: new.clone(),
                closed_by: None,
            })
        })
        .await
    }

    pub async fn close_period(
        &self,
        caller: &Caller,
        code: &str,
        once: &Once,
    ) -> Result<PeriodView, ServiceError> {
        caller.must_manage()?;
        self.write(caller, once, async |connection| {
            let row = period_by_code(connection, caller, code).await?;
            if row.closed.is_none() {
                must_not_be_held_open(connection, caller, code).await?;
            }
            let record = PeriodClosedRecord {
                code: code.to_owned(),
            };
            let sequence = self
                .log(connection, caller, kind::PERIOD_CLOSED, code, &record)
                .await?;
            store::periods::close(connection, caller.programme_id, code, sequence).await?;
            Ok(view(PeriodRow {
                closed: Some(sequence),
                ..row
            }))
        })
        .await
    }

    pub async fn periods(&self, caller: &Caller) -> Result<Vec<PeriodView>, ServiceError> {
        let mut connection = self.reading(caller).await?;
        let periods = store::periods::all(&mut connection, caller.programme_id).await?;
        Ok(periods.into_iter().map(view).collect())
    }
}

pub(super) async fn period_by_code(
    connection: &mut PgConnection,
    caller: &Caller,
    code: &str,
) -> Result<PeriodRow, ServiceError> {
    store::periods::all(connection, caller.programme_id)
        .await?
        .into_iter()
        .find(|row| row.period.code == code)
        .ok_or_else(|| ServiceError::not_found("monitoring period", code))
}

fn view(row: PeriodRow) -> PeriodView {
    PeriodView {
        period: NewPeriod {
            code: row.period.code,
            starts_on: row.period.starts_on,
            ends_on: row.period.ends_on,
        },
        closed_by: row.closed,
    }
}
