//! Findings and monitoring periods: which keep a period from being closed, and which are
//! to be looked at when a period is verified.

use super::subject::read_statement;
use super::{Caller, FindingView, Service, ServiceError, SubjectKind, must_read, view};
use crate::accounting::records::findings::{FindingClass, FindingState, finding_id};
use crate::accounting::statement::Statement;
use crate::accounting::trace::Source;
use crate::service::periods::period_by_code;
use crate::store;
use crate::store::findings::{FindingRow, Wanted};
use crate::store::periods::PeriodRow;
use serde::{Deserialize, Serialize};
use sqlx::PgConnection;
use utoipa::ToSchema;

/// What stands between a period and its closing, and what its verification is to look at.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct PeriodFindings {
    pub period: String,
    /// Corrective action requests that are not closed: the period cannot be closed before
    /// they are. Of a record, those that name the period, or that a statement of it reads.
    pub blocking: Vec<FindingView>,
    /// Forward action requests of earlier periods, or of none, that are not closed.
    pub to_check: Vec<FindingView>,
}

impl Service {
    /// The findings that matter for a period.
    pub async fn period_findings(
        &self,
        caller: &Caller,
        code: &str,
    ) -> Result<PeriodFindings, ServiceError> {
        must_read(caller)?;
        let mut connection = self.reading(caller).await?;
        let period = period_by_code(&mut connection, caller, code).await?;
        let blocking = blocking(&mut connection, caller, code).await?;
        let to_check = to_check(&mut connection, caller, &period).await?;
        Ok(PeriodFindings {
            period: code.to_owned(),
            blocking: blocking.into_iter().map(view).collect(),
            to_check: to_check.into_iter().map(view).collect(),
        })
    }
}

/// Refuses to close a period over an open corrective action request.
pub(in crate::service) async fn must_not_be_held_open(
    connection: &mut PgConnection,
    caller: &Caller,
    code: &str,
) -> Result<(), ServiceError> {
    let blocking = blocking(connection, caller, code).await?;
    if blocking.is_empty() {
        return Ok(());
    }
    let named: Vec<String> = blocking
        .iter()
        .map(|row| {
            let subject = &row.subject;
            let id = finding_id(row.number);
            format!("{id} (on {} {})", subject.kind.code(), subject.key)
        })
        .collect();
    Err(ServiceError::conflict(
        "open_findings",
        format!(
            "period {code} cannot be closed while corrective action requests are open: {}",
            named.join(", ")
        ),
    ))
}

async fn unclosed(
    connection: &mut PgConnection,
    caller: &Caller,
    class: FindingClass,
) -> Result<Vec<FindingRow>, ServiceError> {
    let wanted = Wanted {
        class: Some(class),
        states: Some(vec![FindingState::Open, FindingState::Answered]),
        ..Wanted::default()
    };
    Ok(store::findings::list(connection, caller.programme_id, &wanted).await?)
}

async fn blocking(
    connection: &mut PgConnection,
    caller: &Caller,
    code: &str,
) -> Result<Vec<FindingRow>, ServiceError> {
    let class = FindingClass::CorrectiveActionRequest;
    let open = unclosed(connection, caller, class).await?;
    let (mut blocking, mut undecided): (Vec<_>, Vec<_>) = open
        .into_iter()
        .partition(|row| row.period.as_deref() == Some(code));
    undecided.retain(|row| row.statement_id.is_none());
    let statements = match undecided.is_empty() {
        true => Vec::new(),
        false => store::statements::all(connection, caller.programme_id).await?,
    };
    for row in statements.iter().filter(|row| row.period_code == code) {
        if undecided.is_empty() {
            break;
        }
        let statement = read_statement(connection, caller, row.statement_id).await?;
        let (read, unread): (Vec<_>, Vec<_>) = undecided
            .into_iter()
            .partition(|row| is_read_by(row, &statement));
        blocking.extend(read);
        undecided = unread;
    }
    blocking.sort_by_key(|row| row.number);
    Ok(blocking)
}

/// Whether a statement reads the record that a finding is raised on. Rows are told by the
/// batch that brought them.
fn is_read_by(row: &FindingRow, statement: &Statement) -> bool {
    let key = row.subject.key.as_str();
    match row.subject.kind {
        SubjectKind::Round => {
            let mut rounds = statement.evidence.iter().flat_map(|set| &set.rounds);
            rounds.any(|round| round == key)
        }
        SubjectKind::Factor => statement
            .trace
            .nodes
            .iter()
            .any(|node| matches!(&node.source, Source::Factor { id } if id.to_string() == key)),
        SubjectKind::Methodology => {
            let methodology = &statement.methodology;
            format!("{}@{}", methodology.code, methodology.version) == key
        }
        _ => {
            let mut batches = statement.evidence.iter().flat_map(|set| &set.batches);
            row.batch_id
                .is_some_and(|id| batches.any(|batch| batch.id == id))
        }
    }
}

/// Forward action requests wait for the period after their own.
async fn to_check(
    connection: &mut PgConnection,
    caller: &Caller,
    period: &PeriodRow,
) -> Result<Vec<FindingRow>, ServiceError> {
    let class = FindingClass::ForwardActionRequest;
    let mut open = unclosed(connection, caller, class).await?;
    let periods = store::periods::all(connection, caller.programme_id).await?;
    open.retain(|row| {
        let Some(own) = row.period.as_deref() else {
            return period.closed.is_none();
        };
        periods
            .iter()
            .any(|each| each.period.code == own && each.period.ends_on <= period.period.starts_on)
    });
    Ok(open)
}
