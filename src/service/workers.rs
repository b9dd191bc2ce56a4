//! Workers inside the service: each takes a job, keeps its lease while the work is done, and
//! ends it.
//!
//! A job runs once in effect. Two workers never take the same one; a worker that dies lets its
//! lease end, and the job is taken again; and the work itself is done under the job's own
//! idempotency key, so that a second run finds the answer of a first that had come through.

use super::access::known_role;
use super::batches::{OTHER_SITE, Taking, Upload};
use super::caller::Holder;
use super::denials::{Known, Refused};
use super::jobs::Work;
use super::progress::Progress;
use super::upload::Spooled;
use super::{Caller, Service, ServiceError, apart};
use crate::store;
use crate::store::jobs::{EndRow, ProgressRow, TakenRow};
use std::sync::Arc;
use std::time::Duration;
use tokio::task::JoinHandle;
use tokio_util::sync::CancellationToken;

/// How often a job is taken before it is given up: it may be what kills its workers.
const TAKINGS_MAX: i32 = 5;

/// How long an idle worker waits, where nothing on this server tells it of a job.
const IDLE: Duration = Duration::from_secs(2);

/// Between two clearings of expired uploads.
const CLEARING: Duration = Duration::from_secs(600);

/// Seconds after which a job is tried again where the database was away.
const OUTAGE_SECONDS: f64 = 5.0;

/// Makes a problem document of a refusal in a programme, as a request would be answered with.
pub type Describe = fn(ServiceError, &str) -> serde_json::Value;

#[derive(Debug, Clone, Copy)]
pub struct WorkerSettings {
    pub workers: usize,
    /// A job whose worker says nothing for so long is taken again.
    pub lease: Duration,
    pub describe: Describe,
}

/// Workers that run until they are stopped or dropped.
pub struct Workers {
    stop: CancellationToken,
    tasks: Vec<JoinHandle<()>>,
}

impl Workers {
    /// Lets go of the jobs under way, which others take again, and waits for the workers.
    pub async fn stop(mut self) {
        self.stop.cancel();
        for task in self.tasks.drain(..) {
            if let Err(error) = task.await {
                tracing::error!(%error, "a worker did not end well");
            }
        }
    }
}

impl Drop for Workers {
    fn drop(&mut self) {
        self.stop.cancel();
    }
}

impl Service {
    /// Starts the workers, and the clearing of expired uploads.
    pub fn start_workers(&self, settings: WorkerSettings) -> Workers {
        let stop = CancellationToken::new();
        let mut tasks: Vec<_> = (0..settings.workers)
            .map(|_| tokio::spawn(work(self.clone(), settings, stop.clone())))
            .collect();
        tasks.push(tokio::spawn(clear(self.clone(), stop.clone())));
        Workers { stop, tasks }
    }

    async fn do_work(
        &self,
        job: &TakenRow,
        progress: Arc<Progress>,
    ) -> Result<String, ServiceError> {
        let work = serde_json::from_str(&job.request)
            .map_err(|e| ServiceError::Internal(format!("request of job {}: {e}", job.job_id)))?;
        let caller = caller_of(job)?;
        match work {
            Work::AcceptBatch {
                batch_kind,
                round,
                file_name,
                bytes,
                dry_run,
                mapping,
            } => {
                let kind = batch_kind
                    .parse()
                    .map_err(|e| ServiceError::Internal(format!("kind of a batch: {e}")))?;
                let path = self.upload_path(job.job_id);
                let kept = move || Spooled::kept(&path, progress);
                let file = apart("reading an upload", kept).await??;
                if file.bytes != bytes {
                    return Err(ServiceError::Internal(format!(
                        "the upload of job {} has {} bytes instead of {bytes}",
                        job.job_id, file.bytes
                    )));
                }
                let upload = Upload {
                    kind,
                    round,
                    file_name,
                    file,
                };
                let key = format!("job {}", job.job_id);
                let taking = Taking {
                    dry_run,
                    marks_dry_run: true,
                    mapping,
                };
                let batch = self.take_file(&caller, upload, &taking, Some(key)).await?;
                serde_json::to_string(&batch)
                    .map_err(|e| ServiceError::Internal(format!("result of a job: {e}")))
            }
        }
    }

    /// A file with rows of sites that its sender is not bound to is a denial, in a job too.
    async fn note_foreign_rows(&self, job: &TakenRow, error: &ServiceError) {
        let ServiceError::RejectedFile(file) = error else {
            return;
        };
        let foreign = file
            .rejections
            .list
            .iter()
            .find(|row| row.code == OTHER_SITE);
        let (Some(row), Ok(caller)) = (foreign, caller_of(job)) else {
            return;
        };
        let refused = Refused {
            request_id: &job.job_id.to_string(),
            method: "JOB",
            path: &format!("/api/v1/programmes/{}/jobs", job.programme_code),
            status: 422,
            why: &format!(
                "line {} of the file: {}",
                row.line.unwrap_or_default(),
                row.detail
            ),
        };
        self.note_denial(Some(&Known::caller(&caller)), &refused)
            .await;
    }
}

/// The caller as whom the job was begun.
fn caller_of(job: &TakenRow) -> Result<Caller, ServiceError> {
    Ok(Caller {
        programme_id: job.programme_id,
        programme_code: job.programme_code.clone(),
        programme_name: job.programme_name.clone(),
        holder: match job.by.holder_kind.as_str() {
            "person" => Holder::Person(job.by.holder_id),
            _ => Holder::Token(job.by.holder_id),
        },
        role: known_role(&job.by.role)?,
        label: job.by.label.clone(),
        sites: job.by.sites.clone(),
        read_only: false,
        first_password: false,
    })
}

async fn work(service: Service, settings: WorkerSettings, stop: CancellationToken) {
    let lease = settings.lease.as_secs_f64();
    while !stop.is_cancelled() && !service.pool.is_closed() {
        match store::jobs::take(&service.pool, lease, service.now()).await {
            Ok(Some(job)) => run(&service, settings, &stop, job).await,
            Ok(None) => wait(&service, &stop).await,
            Err(error) => {
                if !service.pool.is_closed() {
                    tracing::warn!(%error, "the jobs cannot be read");
                }
                wait(&service, &stop).await;
            }
        }
    }
}

async fn wait(service: &Service, stop: &CancellationToken) {
    tokio::select! {
        () = stop.cancelled() => {}
        () = service.job_waits.notified() => {}
        () = tokio::time::sleep(IDLE) => {}
    }
}

async fn clear(service: Service, stop: CancellationToken) {
    while !stop.is_cancelled() && !service.pool.is_closed() {
        match service.clear_expired_uploads().await {
            Ok(0) => {}
            Ok(count) => tracing::info!(count, "expired uploads were cleared away"),
            Err(error) => tracing::warn!(%error, "expired uploads could not be cleared away"),
        }
        tokio::select! {
            () = stop.cancelled() => {}
            () = tokio::time::sleep(CLEARING) => {}
        }
    }
}

/// Does one job to its end, or lets go of it.
async fn run(service: &Service, settings: WorkerSettings, stop: &CancellationToken, job: TakenRow) {
    let progress = Arc::new(Progress::default());
    if job.cancel_asked {
        progress.stop();
    }
    let job = Arc::new(job);
    tracing::info!(job = %job.job_id, kind = job.kind, taking = job.takings, "a job begins");
    let mut doing = {
        let (service, job, progress) = (service.clone(), job.clone(), progress.clone());
        tokio::spawn(async move {
            if job.takings > TAKINGS_MAX {
                return Err(ServiceError::Internal(format!(
                    "job {} was given up after {TAKINGS_MAX} tries",
                    job.job_id
                )));
            }
            service.do_work(&job, progress).await
        })
    };
    let keeping = tokio::spawn(keep(
        service.clone(),
        settings.lease,
        job.clone(),
        progress.clone(),
    ));
    let outcome = tokio::select! {
        outcome = &mut doing => Some(outcome),
        () = stop.cancelled() => None,
    };
    keeping.abort();
    let Some(outcome) = outcome else {
        doing.abort();
        // What was written is rolled back, or found by the job's key.
        let _ = doing.await;
        put_back(service, &job, 0.0).await;
        return;
    };
    let outcome = outcome.unwrap_or_else(|error| {
        Err(ServiceError::Internal(format!(
            "job {} broke: {error}",
            job.job_id
        )))
    });
    if let Err(ServiceError::Outage(_)) = outcome {
        put_back(service, &job, OUTAGE_SECONDS).await;
        return;
    }
    end(service, settings, &job, &progress, outcome).await;
}

async fn end(
    service: &Service,
    settings: WorkerSettings,
    job: &TakenRow,
    progress: &Progress,
    outcome: Result<String, ServiceError>,
) {
    let at = progress.snapshot();
    let (state, result, problem) = match outcome {
        Ok(result) => ("succeeded", Some(result), None),
        Err(_) if progress.is_stopped() => ("cancelled", None, None),
        Err(error) => {
            service.note_foreign_rows(job, &error).await;
            let problem = (settings.describe)(error, &job.programme_code).to_string();
            ("failed", None, Some(problem))
        }
    };
    let percent = if result.is_some() { 100 } else { at.percent };
    let row = EndRow {
        state,
        result,
        problem,
        progress: ProgressRow { percent, ..at },
    };
    match store::jobs::end(&service.pool, job, &row, service.now()).await {
        Ok(true) => tracing::info!(job = %job.job_id, state, "a job has ended"),
        Ok(false) => {
            tracing::warn!(job = %job.job_id, "a job ended that another worker has taken");
            return;
        }
        Err(error) => {
            tracing::warn!(job = %job.job_id, %error, "the end of a job could not be noted");
            return;
        }
    }
    if let Err(error) = service.release_upload(job.programme_id, job.job_id).await {
        tracing::warn!(job = %job.job_id, %error, "the upload of a job could not be cleared away");
    }
}

async fn put_back(service: &Service, job: &TakenRow, seconds: f64) {
    if let Err(error) = store::jobs::put_back(&service.pool, job, seconds).await {
        tracing::warn!(job = %job.job_id, %error, "a job waits for its lease to end");
    }
}

/// Renews the lease and notes the progress, until it is aborted or the job is another's.
async fn keep(service: Service, lease: Duration, job: Arc<TakenRow>, progress: Arc<Progress>) {
    let mut beat = tokio::time::interval((lease / 4).min(Duration::from_secs(1)));
    beat.tick().await;
    loop {
        beat.tick().await;
        let seconds = lease.as_secs_f64();
        match store::jobs::keep(&service.pool, &job, seconds, progress.snapshot()).await {
            Ok(Some(true)) => progress.stop(),
            Ok(Some(false)) => {}
            Ok(None) => return,
            Err(error) => tracing::warn!(%error, "a job's lease could not be renewed"),
        }
    }
}
