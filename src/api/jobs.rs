//! Jobs: listed, asked about, followed as server-sent events, cancelled.

use super::Problem;
use super::extract::{PageAccess, PathParts, QueryParts, RepeatKey};
use super::register::page_limit;
use crate::service::jobs::{JobPage, JobView};
use crate::service::{Caller, Once, Service, ServiceError};
use axum::extract::State;
use axum::response::Sse;
use axum::response::sse::{Event, KeepAlive};
use futures_util::Stream;
use serde::Deserialize;
use std::convert::Infallible;
use std::time::Duration;
use utoipa::IntoParams;
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;
use uuid::Uuid;

/// How often a followed job is looked at.
const LOOK: Duration = Duration::from_millis(500);

/// How often a line that has nothing to say is kept alive.
const ALIVE: Duration = Duration::from_secs(15);

pub(super) fn routes() -> OpenApiRouter<Service> {
    OpenApiRouter::new()
        .routes(routes!(list_jobs))
        .routes(routes!(read_job))
        .routes(routes!(follow_job))
        .routes(routes!(cancel_job))
}

#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
struct JobsQuery {
    /// `next` of the earlier page.
    before: Option<u64>,
    /// Jobs wanted, 1 to 1,000; default 100.
    limit: Option<u32>,
}

/// A page of jobs, the latest first. A monitor sees those of monitors of the same sites.
#[utoipa::path(get, path = "/jobs", tag = "jobs",
    security(("token" = ["manager", "monitor", "verifier"])),
    params(("programme" = String, Path, description = "Programme code"), JobsQuery), responses(
    (status = 200, body = JobPage),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = Problem, content_type = "application/problem+json"),
    (status = 422, body = Problem, content_type = "application/problem+json")))]
async fn list_jobs(
    State(service): State<Service>,
    PageAccess(caller): PageAccess,
    QueryParts(query): QueryParts<JobsQuery>,
) -> Result<axum::Json<JobPage>, Problem> {
    let limit = page_limit(query.limit)?;
    Ok(axum::Json(
        service.jobs(&caller, query.before, limit).await?,
    ))
}

/// Read how a job stands, and what it came to.
#[utoipa::path(get, path = "/jobs/{job}", tag = "jobs",
    security(("token" = ["manager", "monitor", "verifier"])),
    params(("programme" = String, Path, description = "Programme code"),
           ("job" = Uuid, Path, description = "Job id")), responses(
    (status = 200, body = JobView),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = Problem, content_type = "application/problem+json"),
    (status = 404, body = Problem, content_type = "application/problem+json")))]
async fn read_job(
    State(service): State<Service>,
    PageAccess(caller): PageAccess,
    path: PathParts<(String, Uuid)>,
) -> Result<axum::Json<JobView>, Problem> {
    let PathParts((_, job)) = path;
    Ok(axum::Json(service.job(&caller, job).await?))
}

/// Follow a job: an event `job` with its view at first and whenever it changes, the last of
/// them once it has ended. A client that comes back is told how the job stands then, whatever
/// its `Last-Event-ID`.
#[utoipa::path(get, path = "/jobs/{job}/events", tag = "jobs",
    security(("token" = ["manager", "monitor", "verifier"])),
    params(("programme" = String, Path, description = "Programme code"),
           ("job" = Uuid, Path, description = "Job id"),
           ("Last-Event-ID" = Option<String>, Header, description = "Of the last event that was seen")),
    responses(
    (status = 200, body = String, content_type = "text/event-stream"),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = Problem, content_type = "application/problem+json"),
    (status = 404, body = Problem, content_type = "application/problem+json")))]
async fn follow_job(
    State(service): State<Service>,
    PageAccess(caller): PageAccess,
    path: PathParts<(String, Uuid)>,
) -> Result<Sse<impl Stream<Item = Result<Event, Infallible>>>, Problem> {
    let PathParts((_, id)) = path;
    let first = service.job(&caller, id).await?;
    let following = Following {
        service,
        caller,
        id,
        shown: None,
        next: Some(first),
        count: 0,
    };
    let events = futures_util::stream::unfold(following, Following::step);
    Ok(Sse::new(events).keep_alive(KeepAlive::new().interval(ALIVE)))
}

/// A job that somebody follows.
struct Following {
    service: Service,
    caller: Caller,
    id: Uuid,
    shown: Option<JobView>,
    /// What is to be shown at once.
    next: Option<JobView>,
    count: u64,
}

impl Following {
    /// The next event; none after the one that shows the end, where the job cannot be read, or
    /// where the server is about to stop.
    async fn step(mut self) -> Option<(Result<Event, Infallible>, Self)> {
        if self.shown.as_ref().is_some_and(|job| job.state.has_ended()) {
            return None;
        }
        let job = match self.next.take() {
            Some(job) => job,
            None => tokio::select! {
                changed = self.changed() => changed.ok()?,
                () = self.service.stop_announced() => return None,
            },
        };
        self.count += 1;
        let event = Event::default().event("job").id(self.count.to_string());
        let event = event.json_data(&job).ok()?;
        self.shown = Some(job);
        Some((Ok(event), self))
    }

    async fn changed(&self) -> Result<JobView, ServiceError> {
        loop {
            tokio::time::sleep(LOOK).await;
            let job = self.service.job(&self.caller, self.id).await?;
            if self.shown.as_ref() != Some(&job) {
                return Ok(job);
            }
        }
    }
}

/// Cancel a job. One that waits has ended with this; one that runs stops before it writes.
/// Where it is writing already it goes on to its end, so look at what it came to.
#[utoipa::path(post, path = "/jobs/{job}/cancel", tag = "jobs",
    security(("token" = ["manager", "monitor"])),
    params(("programme" = String, Path, description = "Programme code"),
           ("job" = Uuid, Path, description = "Job id"),
           ("Idempotency-Key" = Option<String>, Header, description = "Makes a repeat harmless")),
    responses(
    (status = 200, body = JobView),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = Problem, content_type = "application/problem+json"),
    (status = 404, body = Problem, content_type = "application/problem+json"),
    (status = 409, body = Problem, content_type = "application/problem+json",
     description = "it has ended"),
    (status = 422, body = Problem, content_type = "application/problem+json")))]
async fn cancel_job(
    State(service): State<Service>,
    PageAccess(caller): PageAccess,
    RepeatKey(key): RepeatKey,
    path: PathParts<(String, Uuid)>,
) -> Result<axum::Json<JobView>, Problem> {
    let PathParts((_, job)) = path;
    let once = Once::new(key, "cancel-job", job.as_bytes());
    Ok(axum::Json(service.cancel_job(&caller, job, &once).await?))
}
