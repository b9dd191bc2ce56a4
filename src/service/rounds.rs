//! Rounds of field work: opened before their rows arrive.

use super::register::{check_code, check_days, check_text};
use super::{Caller, Once, Service, ServiceError};
use crate::accounting::records::{RoundKind, RoundRecord, kind};
use crate::store;
use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewRound {
    pub code: String,
    /// `usage_survey`, `kitchen_baseline`, `kitchen_project`, `char_weighing`,
    /// `baseline_survey`, `cooking_test`, `stove_test`, `char_lab` or `moisture`.
    pub kind: String,
    pub starts_on: NaiveDate,
    /// The first day after the round.
    pub ends_on: NaiveDate,
    /// How the sample was drawn, in words.
    pub design: String,
}

#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct RoundView {
    #[serde(flatten)]
    pub round: NewRound,
    /// Rows accepted into it.
    pub rows: u64,
    /// Trail entry that opened it.
    pub sequence: u64,
}

impl Service {
    pub async fn open_round(
        &self,
        caller: &Caller,
        round: &NewRound,
        once: &Once,
    ) -> Result<RoundView, ServiceError> {
        caller.must_manage()?;
        check_code("code", &round.code)?;
        check_text("design", &round.design, 1_000)?;
        let round_kind = RoundKind::from_code(&round.kind).ok_or_else(|| {
            let known = RoundKind::ALL.map(RoundKind::code).join(", ");
            ServiceError::invalid("kind", format!("must be one of {known}"))
        })?;
        check_days(round.starts_on, round.ends_on, "round")?;
        let record = RoundRecord {
            code: round.code.clone(),
            kind: round_kind,
            starts_on: round.starts_on,
            ends_on: round.ends_on,
            design: round.design.trim().into(),
        };
        self.write(caller, once, async |connection| {
            let sequence = self
                .log(
                    connection,
                    caller,
                    kind::ROUND_OPENED,
                    &record.code,
                    &record,
                )
                .await?;
            store::rounds::insert(connection, caller.programme_id, &record, sequence).await?;
            Ok(RoundView {
                round: round.clone(),
                rows: 0,
                sequence,
            })
        })
        .await
    }

    pub async fn rounds(&self, caller: &Caller) -> Result<Vec<RoundView>, ServiceError> {
        let mut connection = self.reading(caller).await?;
        let position = store::trail::size(&mut connection, caller.programme_id).await?;
        let rounds = store::rounds::all(&mut connection, caller.programme_id, position).await?;
        Ok(rounds
            .into_iter()
            .map(|row| RoundView {
                round: NewRound {
                    code: row.record.code,
                    kind: row.record.kind.code().into(),
                    starts_on: row.record.starts_on,
                    ends_on: row.record.ends_on,
                    design: row.record.design,
                },
                rows: row.rows,
                sequence: row.sequence,
            })
            .collect())
    }
}
