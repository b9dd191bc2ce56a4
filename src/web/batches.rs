//! The batches of evidence and register that were accepted.

use super::corrections::{self, CorrectionLine};
use super::evidence::name;
use super::job::JobLine;
use super::page::{QueryParts, Section, Shell, draw};
use super::refusal::Refusal;
use super::rows_table::kind_title;
use super::session::Visitor;
use super::upload::{Choices, UploadForm};
use super::{links, words};
use crate::intake::BatchKind;
use crate::service::batches::BatchView;
use crate::service::jobs::{JobState, JobView, Work};
use crate::service::{Caller, Service};
use askama::Template;
use axum::extract::State;
use axum::response::Response;

/// Jobs that are looked at for the list of files at work.
const JOBS_SHOWN: u32 = 10;

/// A batch in a list.
pub(super) struct BatchRow {
    pub href: String,
    pub name: String,
    pub kind: String,
    pub round: String,
    pub rows: String,
    pub accepted: String,
    pub root: String,
    pub short_root: String,
    pub withdrawn: bool,
}

impl BatchRow {
    pub fn new(batch: &BatchView) -> Self {
        BatchRow {
            href: links::batch(batch.id),
            name: name(batch),
            kind: kind_title(&batch.kind),
            round: batch.round.clone().unwrap_or_else(|| "register".into()),
            rows: words::count(batch.rows),
            accepted: batch
                .accepted_at
                .map(|at| at.format("%Y-%m-%d").to_string())
                .unwrap_or_default(),
            root: batch.root.clone(),
            short_root: words::short_hash(&batch.root),
            withdrawn: batch.withdrawn_by.is_some(),
        }
    }
}

/// A kind of batch with its templates.
struct TemplateLine {
    code: &'static str,
    title: String,
}

#[derive(Template)]
#[template(path = "batches.html")]
struct BatchesPage {
    shell: Shell,
    form: Option<UploadForm>,
    templates: Vec<TemplateLine>,
    /// The latest files, where their jobs have not made batches of them.
    jobs: Vec<JobLine>,
    batches: Vec<BatchRow>,
    /// Absent for who is bound to sites: flags are of rows of every site.
    open_flags: Option<String>,
    corrections: Vec<CorrectionLine>,
}

pub(super) async fn list(
    State(service): State<Service>,
    Visitor(caller): Visitor,
    QueryParts(choices): QueryParts<Choices>,
) -> Result<Response, Refusal> {
    page(&service, &caller, &choices, None).await
}

/// The page with these choices in its form; `fault` says why a file could not be taken.
pub(super) async fn page(
    service: &Service,
    caller: &Caller,
    choices: &Choices,
    fault: Option<String>,
) -> Result<Response, Refusal> {
    let batches = service.batches(caller, None).await?;
    let jobs = service.jobs(caller, None, JOBS_SHOWN).await?;
    let open_flags = match &caller.sites {
        None => Some(words::count(service.open_flags(caller).await?)),
        Some(_) => None,
    };
    draw(&BatchesPage {
        form: UploadForm::of(service, caller, choices, fault).await?,
        templates: BatchKind::ALL
            .iter()
            .map(|kind| TemplateLine {
                code: kind.code(),
                title: kind_title(kind.code()),
            })
            .collect(),
        jobs: jobs
            .items
            .iter()
            .filter(|job| !made_a_batch(job))
            .map(JobLine::new)
            .collect(),
        shell: Shell::of(caller, Section::Evidence, "Evidence"),
        batches: batches.iter().map(BatchRow::new).collect(),
        open_flags,
        corrections: corrections::latest(service, caller).await?,
    })
}

/// Whether the list of batches tells what became of the file.
fn made_a_batch(job: &JobView) -> bool {
    let Work::AcceptBatch { dry_run, .. } = job.work;
    job.state == JobState::Succeeded && !dry_run
}
