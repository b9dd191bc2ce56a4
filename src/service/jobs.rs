//! Jobs: long work that is queued, done by workers of the service and asked about by its id.

use super::{Caller, Once, Role, Service, ServiceError};
use crate::service::write::Begun;
use crate::store;
use crate::store::jobs::{JobRow, Sight};
use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use uuid::Uuid;

/// What a job does. More kinds may come; a client passes over one that it does not know.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(tag = "kind", rename_all = "snake_case")]
#[non_exhaustive]
pub enum Work {
    /// Accepts the bytes of an upload as a batch. The job has the upload's id; its result is
    /// the batch.
    AcceptBatch {
        batch_kind: String,
        round: Option<String>,
        file_name: Option<String>,
        bytes: u64,
        /// Only checked, and nothing of it kept.
        #[serde(default)]
        dry_run: bool,
        /// Mapping of column names to read it by.
        #[serde(default)]
        mapping: Option<String>,
    },
}

impl Work {
    pub fn kind(&self) -> &'static str {
        match self {
            Work::AcceptBatch { .. } => "accept_batch",
        }
    }
}

/// Where a job stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum JobState {
    Waiting,
    Running,
    Succeeded,
    Failed,
    Cancelled,
}

impl JobState {
    pub fn has_ended(self) -> bool {
        !matches!(self, JobState::Waiting | JobState::Running)
    }
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct JobProgress {
    pub rows_read: u64,
    pub rows_checked: u64,
    pub rows_written: u64,
    /// Of the whole work, roughly; 100 once it has succeeded.
    pub percent: u8,
}

/// A job as it stands.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct JobView {
    pub id: Uuid,
    pub work: Work,
    pub state: JobState,
    /// Who began it.
    pub who: String,
    pub created_at: DateTime<Utc>,
    pub started_at: Option<DateTime<Utc>>,
    pub ended_at: Option<DateTime<Utc>>,
    pub cancel_asked: bool,
    pub progress: JobProgress,
    /// What it came to: of `accept_batch` the batch.
    #[schema(value_type = Option<Object>)]
    pub result: Option<serde_json::Value>,
    /// Why it failed: a problem document (RFC 9457), as a request would have been answered.
    #[schema(value_type = Option<Object>)]
    pub problem: Option<serde_json::Value>,
}

/// A page of jobs, the latest first.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct JobPage {
    pub items: Vec<JobView>,
    /// Give as `before` for the next page; absent = this was the last.
    pub next: Option<u64>,
}

impl Service {
    /// One job. A monitor sees those begun by monitors of the same sites.
    pub async fn job(&self, caller: &Caller, id: Uuid) -> Result<JobView, ServiceError> {
        let mut connection = self.reading(caller).await?;
        let rows = store::jobs::list(
            &mut connection,
            caller.programme_id,
            sight(caller),
            Some(id),
            None,
            1,
        )
        .await?;
        let row = rows.into_iter().next();
        view(row.ok_or_else(|| ServiceError::not_found("job", id))?)
    }

    /// A page of jobs before `before`, the latest first.
    pub async fn jobs(
        &self,
        caller: &Caller,
        before: Option<u64>,
        limit: u32,
    ) -> Result<JobPage, ServiceError> {
        let mut connection = self.reading(caller).await?;
        let rows = store::jobs::list(
            &mut connection,
            caller.programme_id,
            sight(caller),
            None,
            before,
            limit,
        )
        .await?;
        let full = rows.len() as u64 == u64::from(limit);
        Ok(JobPage {
            next: rows.last().filter(|_| full).map(|row| row.place),
            items: rows.into_iter().map(view).collect::<Result<_, _>>()?,
        })
    }

    /// Asks a job to stop. One that is writing already goes on to its end.
    ///
    /// # Errors
    /// `Conflict` with the code `job_ended`.
    pub async fn cancel_job(
        &self,
        caller: &Caller,
        id: Uuid,
        once: &Once,
    ) -> Result<JobView, ServiceError> {
        caller.must_be(&[Role::Manager, Role::Monitor])?;
        let seen = self.job(caller, id).await?;
        let mut writing = match self.begin(caller, once).await? {
            Begun::Answered(answer) => return Ok(answer),
            Begun::Go(writing) => writing,
        };
        let connection = &mut *writing.transaction;
        let now = self.now();
        let programme = caller.programme_id;
        if !store::jobs::ask_to_cancel(connection, programme, id, now).await? {
            return Err(ServiceError::conflict("job_ended", "the job has ended"));
        }
        let rows =
            store::jobs::list(connection, programme, sight(caller), Some(id), None, 1).await?;
        let view = rows.into_iter().next().map_or(Ok(seen), view)?;
        let view = writing.finish(caller, view).await?;
        if view.state == JobState::Cancelled {
            self.release_upload(programme, id).await?;
        }
        Ok(view)
    }
}

fn sight(caller: &Caller) -> Sight<'_> {
    match caller.role {
        Role::Manager | Role::Verifier => Sight {
            role: None,
            sites: None,
        },
        Role::Monitor => Sight {
            role: Some(caller.role.code()),
            sites: caller.sites.as_deref(),
        },
    }
}

fn view(row: JobRow) -> Result<JobView, ServiceError> {
    let unreadable = |e: serde_json::Error| {
        ServiceError::Internal(format!("job {} of kind {}: {e}", row.job_id, row.kind))
    };
    let json = |text: &Option<String>| -> Result<Option<serde_json::Value>, ServiceError> {
        let text = text.as_deref();
        text.map(serde_json::from_str)
            .transpose()
            .map_err(unreadable)
    };
    Ok(JobView {
        id: row.job_id,
        work: serde_json::from_str(&row.request).map_err(unreadable)?,
        state: serde_json::from_value(row.state.clone().into()).map_err(unreadable)?,
        result: json(&row.result)?,
        problem: json(&row.problem)?,
        who: row.who,
        created_at: row.created_at,
        started_at: row.started_at,
        ended_at: row.ended_at,
        cancel_asked: row.cancel_asked,
        progress: JobProgress {
            rows_read: row.progress.rows_read,
            rows_checked: row.progress.rows_checked,
            rows_written: row.progress.rows_written,
            percent: row.progress.percent,
        },
    })
}
