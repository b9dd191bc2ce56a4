//! Every statement of the trail, computed again from the tables by the way that made it: the
//! database adds up, the accounting computes.

use super::expected::Known;
use super::report::{AuditLevel, AuditReport};
use crate::accounting::inputs::StatementInputs;
use crate::accounting::statement::{Statement, compare, state};
use crate::service::caller::Holder;
use crate::service::statements::{methodology_at, statement_inputs};
use crate::service::{Caller, Role, ServiceError, apart};
use crate::store;
use crate::trail::canonical::canonical_of;
use sqlx::{Connection, PgConnection};
use uuid::Uuid;

const LEVEL: AuditLevel = AuditLevel::Figures;
const TABLE: &str = "statement";

pub(super) async fn check(
    connection: &mut PgConnection,
    programme: Uuid,
    known: &Known,
    report: &mut AuditReport,
) -> Result<(), ServiceError> {
    let Some(caller) = reader(known) else {
        return Ok(());
    };
    let mut figures = 0;
    for sequence in &known.statements {
        let bytes = store::audit::content(connection, programme, *sequence).await?;
        let Some((bytes, stated)) = bytes.and_then(|bytes| {
            let stated: Statement = serde_json::from_slice(&bytes).ok()?;
            Some((bytes, stated))
        }) else {
            continue;
        };
        let key = statement_id(programme, &bytes);
        match inputs_of(connection, &caller, &stated).await {
            Ok(inputs) => {
                figures += stated.figures.len() + stated.trace.nodes.len();
                match apart("statement", move || state(&inputs)).await? {
                    Ok(again) => tell_differences(report, &key, &bytes, &stated, &again),
                    Err(gaps) => {
                        let sentences: Vec<_> = gaps.into_iter().map(|gap| gap.sentence).collect();
                        let problem =
                            format!("it cannot be computed again: {}", sentences.join(" "));
                        report.fault(LEVEL, TABLE, key, problem);
                    }
                }
            }
            Err(problem) => {
                let problem = format!("it cannot be computed again: {problem}");
                report.fault(LEVEL, TABLE, key, problem);
            }
        }
    }
    report.done(
        LEVEL,
        format!(
            "{} statement(s) computed again from the tables: {figures} figures and trace nodes equal",
            known.statements.len()
        ),
    );
    Ok(())
}

/// Someone who may read everything of the programme, as the trail names it.
pub(super) fn reader(known: &Known) -> Option<Caller> {
    let programme = known.programme.as_ref()?;
    Some(Caller {
        programme_id: programme.id,
        programme_code: programme.code.clone(),
        programme_name: programme.name.clone(),
        holder: Holder::Token(Uuid::nil()),
        role: Role::Verifier,
        label: "audit".into(),
        sites: None,
        read_only: true,
        first_password: false,
    })
}

fn statement_id(programme: Uuid, bytes: &[u8]) -> String {
    let digest = crate::trail::merkle::sha256(bytes).to_string();
    crate::service::id_of(&["statement", &programme.to_string(), &digest]).to_string()
}

/// Gathers under a savepoint: what cannot be added up must not end the audit.
async fn inputs_of(
    connection: &mut PgConnection,
    caller: &Caller,
    stated: &Statement,
) -> Result<StatementInputs, String> {
    let mut inner = connection.begin().await.map_err(|e| e.to_string())?;
    let inputs = gather(&mut inner, caller, stated).await;
    inner.rollback().await.map_err(|e| e.to_string())?;
    inputs.map_err(|error| match error {
        ServiceError::Damaged(source) => source.to_string(),
        other => other.to_string(),
    })
}

async fn gather(
    connection: &mut PgConnection,
    caller: &Caller,
    stated: &Statement,
) -> Result<StatementInputs, ServiceError> {
    let code = &stated.period.code;
    let periods = store::periods::all(connection, caller.programme_id).await?;
    let period = periods
        .into_iter()
        .map(|row| row.period)
        .find(|period| period.code == *code)
        .ok_or_else(|| ServiceError::not_found("monitoring period", code))?;
    let position = stated.position;
    let name = format!("{}@{}", stated.methodology.code, stated.methodology.version);
    let methodology = methodology_at(connection, caller, &name, position).await?;
    statement_inputs(connection, caller, &period, methodology, position).await
}

fn tell_differences(
    report: &mut AuditReport,
    key: &str,
    bytes: &[u8],
    stated: &Statement,
    again: &Statement,
) {
    let differences = compare(stated, again);
    for difference in &differences {
        report.fault(LEVEL, TABLE, key, difference.to_string());
    }
    let own = env!("CARGO_PKG_VERSION");
    if differences.is_empty() && canonical_of(again).unwrap_or_default() != bytes {
        if stated.program_version == own {
            report.fault(LEVEL, TABLE, key, "computing it again gives other bytes");
        } else {
            report.remarks.push(format!(
                "statement {key} was made by version {} of the program; version {own} confirms its figures",
                stated.program_version
            ));
        }
    }
}
