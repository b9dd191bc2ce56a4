//! Rounds of field work: opened before their rows arrive.

use super::register::{check_code, check_days, check_text};
use super::{Caller, Once, Service, ServiceError};
use crate::accounting::records::{RoundKind, RoundRecord, kind};
use crate::accounting::rounds::plan::RoundPlan;
use crate::store;
use crate::store::rounds::RoundRow;
use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use sqlx::PgConnection;
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
    /// Of a round whose sample the program is to draw.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub plan: Option<RoundPlan>,
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
        let round_kind = round_kind(&round.kind)?;
        if let Some(plan) = &round.plan {
            super::drawn_rounds::check_plan(plan, round_kind)?;
        }
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
            if let Some(plan) = &round.plan {
                self.record_plan(connection, caller, &record.code, plan)
                    .await?;
            }
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
        Ok(rounds.into_iter().map(view).collect())
    }
}

/// The kind of a round by its code.
pub(super) fn round_kind(code: &str) -> Result<RoundKind, ServiceError> {
    RoundKind::from_code(code).ok_or_else(|| {
        let known = RoundKind::ALL.map(RoundKind::code).join(", ");
        ServiceError::invalid("kind", format!("must be one of {known}"))
    })
}

pub(super) async fn round_by_code(
    connection: &mut PgConnection,
    caller: &Caller,
    code: &str,
) -> Result<RoundRow, ServiceError> {
    let position = store::trail::size(connection, caller.programme_id).await?;
    store::rounds::all(connection, caller.programme_id, position)
        .await?
        .into_iter()
        .find(|row| row.record.code == code)
        .ok_or_else(|| ServiceError::not_found("round", code))
}

/// A round as it is listed; its plan is a step of its own.
pub(super) fn view(row: RoundRow) -> RoundView {
    RoundView {
        round: NewRound {
            code: row.record.code,
            kind: row.record.kind.code().into(),
            starts_on: row.record.starts_on,
            ends_on: row.record.ends_on,
            design: row.record.design,
            plan: None,
        },
        rows: row.rows,
        sequence: row.sequence,
    }
}
