//! What a finding is raised on: looked up when it is raised, and what it is now.

use super::{Caller, Service, ServiceError, Subject, SubjectKind};
use crate::accounting::statement::Statement;
use crate::store;
use crate::store::findings::FindingRow;
use serde::{Deserialize, Serialize};
use sqlx::PgConnection;
use utoipa::ToSchema;
use uuid::Uuid;

/// A subject that is recorded, with what it belongs to.
#[derive(Debug, Clone)]
pub(super) struct Found {
    /// With its key in the one form.
    pub subject: Subject,
    pub statement: Option<Uuid>,
    /// The batch that brought it.
    pub batch: Option<Uuid>,
    pub period: Option<String>,
}

/// A stated figure, or a node of a trace, then and now.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct FigureNow {
    pub statement: Uuid,
    /// Its node in the trace.
    pub node: String,
    pub label: String,
    pub unit: String,
    /// What it was when the finding was raised.
    pub value: String,
    /// A later statement of the same period and methodology, where there is one.
    pub latest_statement: Option<Uuid>,
    /// What it is there; absent too where that statement has no such figure.
    pub latest_value: Option<String>,
}

impl Service {
    /// Looks a subject up. What is recorded stays recorded, so this needs no lock.
    pub(super) async fn find_subject(
        &self,
        caller: &Caller,
        subject: &Subject,
        period: Option<&str>,
    ) -> Result<Found, ServiceError> {
        let mut found = match subject.kind {
            SubjectKind::Period
            | SubjectKind::Round
            | SubjectKind::Factor
            | SubjectKind::Methodology => self.find_named(caller, subject).await?,
            SubjectKind::Statement | SubjectKind::Figure | SubjectKind::Node => {
                self.find_stated(caller, subject).await?
            }
            SubjectKind::Batch
            | SubjectKind::Row
            | SubjectKind::Household
            | SubjectKind::Deployment => self.find_recorded(caller, subject).await?,
        };
        match (&found.period, period) {
            (Some(own), Some(named)) if own != named => {
                let detail = format!("the subject belongs to period {own}");
                return Err(ServiceError::invalid("period", detail));
            }
            (None, Some(named)) => {
                let periods = self.periods(caller).await?;
                if !periods.iter().any(|view| view.period.code == named) {
                    return Err(ServiceError::not_found("monitoring period", named));
                }
                found.period = Some(named.to_owned());
            }
            _ => {}
        }
        Ok(found)
    }

    /// Things that are known by a code.
    async fn find_named(&self, caller: &Caller, subject: &Subject) -> Result<Found, ServiceError> {
        let key = &subject.key;
        let is_known = match subject.kind {
            SubjectKind::Period => {
                let periods = self.periods(caller).await?;
                periods.iter().any(|view| view.period.code == *key)
            }
            SubjectKind::Round => {
                let rounds = self.rounds(caller).await?;
                rounds.iter().any(|view| view.round.code == *key)
            }
            SubjectKind::Factor => {
                let factors = self.factors(caller).await?;
                factors.iter().any(|factor| factor.id().to_string() == *key)
            }
            _ => {
                let methodologies = self.methodologies(caller).await?;
                methodologies
                    .iter()
                    .any(|methodology| methodology.id() == *key)
            }
        };
        if !is_known {
            return Err(ServiceError::not_found(subject.kind.code(), key));
        }
        let period = (subject.kind == SubjectKind::Period).then(|| key.clone());
        Ok(Found {
            subject: subject.clone(),
            statement: None,
            batch: None,
            period,
        })
    }

    /// A statement, or a figure or node of it.
    async fn find_stated(&self, caller: &Caller, subject: &Subject) -> Result<Found, ServiceError> {
        let unknown = || ServiceError::not_found(subject.kind.code(), &subject.key);
        let (id, part) = match subject.kind {
            SubjectKind::Statement => (subject.key.as_str(), ""),
            _ => subject.key.split_once('/').ok_or_else(unknown)?,
        };
        let id: Uuid = id.parse().map_err(|_| unknown())?;
        let (_, statement) = self.statement(caller, id).await?;
        let key = match subject.kind {
            SubjectKind::Statement => id.to_string(),
            _ => {
                part_of(&statement, subject.kind, part).ok_or_else(unknown)?;
                format!("{id}/{part}")
            }
        };
        Ok(Found {
            subject: Subject {
                kind: subject.kind,
                key,
            },
            statement: Some(id),
            batch: None,
            period: Some(statement.period.code),
        })
    }

    /// A batch, or what a batch brought.
    async fn find_recorded(
        &self,
        caller: &Caller,
        subject: &Subject,
    ) -> Result<Found, ServiceError> {
        let unknown = || ServiceError::not_found(subject.kind.code(), &subject.key);
        let key = subject.key.as_str();
        let (batch, key) = match subject.kind {
            SubjectKind::Batch => {
                let id: Uuid = key.parse().map_err(|_| unknown())?;
                (self.batch(caller, id).await?.id, id.to_string())
            }
            SubjectKind::Row => {
                let (batch, line) = key.split_once('/').ok_or_else(unknown)?;
                let batch: Uuid = batch.parse().map_err(|_| unknown())?;
                let line: u64 = line.parse().map_err(|_| unknown())?;
                let row = self.row(caller, batch, line).await?;
                (row.batch, format!("{batch}/{line}"))
            }
            SubjectKind::Household => {
                let row = self.household(caller, key, None).await?;
                (row.batch, key.to_owned())
            }
            _ => {
                let (serial, day) = key.rsplit_once('/').ok_or_else(unknown)?;
                let history = self.stove_history(caller, serial, None).await?;
                let is_it = |cell: Option<&serde_json::Value>| {
                    cell.and_then(|cell| cell.as_str()) == Some(day)
                };
                let row = history
                    .deployments
                    .into_iter()
                    .find(|row| is_it(row.cells.get("installed_on")))
                    .ok_or_else(unknown)?;
                (row.batch, key.to_owned())
            }
        };
        Ok(Found {
            subject: Subject {
                kind: subject.kind,
                key,
            },
            statement: None,
            batch: Some(batch),
            period: None,
        })
    }
}

/// Node, label, unit and value of a figure or node of a statement.
fn part_of(statement: &Statement, kind: SubjectKind, part: &str) -> Option<[String; 4]> {
    match kind {
        SubjectKind::Figure => {
            let figure = statement.figure(part)?;
            let value = figure.value.normalize().to_string();
            let node = figure.node.clone();
            Some([node, figure.label.clone(), figure.unit.clone(), value])
        }
        SubjectKind::Node => {
            let node = statement.trace.node(part)?;
            let value = node.value.normalize().to_string();
            let id = node.id.clone();
            Some([id, node.label.clone(), node.unit.clone(), value])
        }
        _ => None,
    }
}

/// What the figure or node of a finding was, and is in the latest statement.
pub(super) async fn figure_now(
    connection: &mut PgConnection,
    caller: &Caller,
    row: &FindingRow,
) -> Result<Option<FigureNow>, ServiceError> {
    let kind = row.subject.kind;
    let part = row.subject.key.split_once('/').map(|(_, part)| part);
    let (Some(part), Some(id), SubjectKind::Figure | SubjectKind::Node) =
        (part, row.statement_id, kind)
    else {
        return Ok(None);
    };
    let then = read_statement(connection, caller, id).await?;
    let Some([node, label, unit, value]) = part_of(&then, kind, part) else {
        return Ok(None);
    };
    let latest = store::statements::all(connection, caller.programme_id)
        .await?
        .into_iter()
        .find(|row| {
            row.period_code == then.period.code
                && row.methodology_code == then.methodology.code
                && row.methodology_version == then.methodology.version
        })
        .map(|row| row.statement_id)
        .filter(|latest| *latest != id);
    let latest_value = match latest {
        Some(latest) => {
            let now = read_statement(connection, caller, latest).await?;
            part_of(&now, kind, part).map(|[_, _, _, value]| value)
        }
        None => None,
    };
    Ok(Some(FigureNow {
        statement: id,
        node,
        label,
        unit,
        value,
        latest_statement: latest,
        latest_value,
    }))
}

pub(super) async fn read_statement(
    connection: &mut PgConnection,
    caller: &Caller,
    id: Uuid,
) -> Result<Statement, ServiceError> {
    let bytes = store::statements::content(connection, caller.programme_id, id)
        .await?
        .ok_or_else(|| ServiceError::not_found("statement", id))?;
    serde_json::from_slice(&bytes)
        .map_err(|e| ServiceError::Internal(format!("statement {id}: {e}")))
}
