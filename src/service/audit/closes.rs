//! What each close of a round says, worked out again from the tables.

use super::expected::Known;
use super::figures::reader;
use super::report::{AuditLevel, AuditReport};
use crate::accounting::rounds::closing::differences;
use crate::accounting::rounds::records::CloseRecord;
use crate::service::drawn_rounds::{close_record, steps_of};
use crate::service::{Caller, ServiceError};
use sqlx::{Connection, PgConnection};

const LEVEL: AuditLevel = AuditLevel::Draws;
const STEP: &str = "round_step";

/// Returns how many there were.
pub(super) async fn check(
    connection: &mut PgConnection,
    known: &Known,
    report: &mut AuditReport,
) -> Result<usize, ServiceError> {
    let Some(caller) = reader(known) else {
        return Ok(0);
    };
    for (sequence, stated) in &known.closes {
        let key = format!("{}/close", stated.round);
        if stated.position > *sequence {
            let problem = "it claims a position after its entry";
            report.fault(LEVEL, STEP, &key, problem);
            continue;
        }
        // Under a savepoint: what cannot be read must not end the audit.
        let mut inner = connection.begin().await?;
        let again = work_out(&mut inner, &caller, known, stated).await;
        inner.rollback().await?;
        let found = match again {
            Ok(again) => differences(stated, &again),
            Err(error) => vec![format!("it cannot be worked out again: {error}")],
        };
        for problem in found {
            report.fault(LEVEL, STEP, &key, problem);
        }
    }
    Ok(known.closes.len())
}

async fn work_out(
    connection: &mut PgConnection,
    caller: &Caller,
    known: &Known,
    stated: &CloseRecord,
) -> Result<CloseRecord, ServiceError> {
    let round = stated.round.as_str();
    let kind = known.rounds.get(round).copied();
    let kind = kind.ok_or_else(|| ServiceError::not_found("round", round))?;
    let steps = steps_of(connection, caller, round).await?;
    close_record(connection, caller, &steps, kind, round, stated.position).await
}
