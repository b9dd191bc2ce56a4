//! The batches of evidence and register that were accepted.

use super::corrections::{self, CorrectionLine};
use super::evidence::name;
use super::job::JobLine;
use super::page::{Section, Shell, draw};
use super::refusal::Refusal;
use super::rows_table::kind_title;
use super::session::Visitor;
use super::upload::UploadForm;
use super::{links, words};
use crate::service::Service;
use crate::service::batches::BatchView;
use crate::service::jobs::JobState;
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

#[derive(Template)]
#[template(path = "batches.html")]
struct BatchesPage {
    shell: Shell,
    form: Option<UploadForm>,
    /// The latest files, where their jobs have not made batches of them.
    jobs: Vec<JobLine>,
    batches: Vec<BatchRow>,
    corrections: Vec<CorrectionLine>,
}

pub(super) async fn list(
    State(service): State<Service>,
    Visitor(caller): Visitor,
) -> Result<Response, Refusal> {
    let batches = service.batches(&caller, None).await?;
    let jobs = service.jobs(&caller, None, JOBS_SHOWN).await?;
    draw(&BatchesPage {
        form: UploadForm::of(&service, &caller).await?,
        jobs: jobs
            .items
            .iter()
            .filter(|job| job.state != JobState::Succeeded)
            .map(JobLine::new)
            .collect(),
        shell: Shell::of(&caller, Section::Evidence, "Evidence"),
        batches: batches.iter().map(BatchRow::new).collect(),
        corrections: corrections::latest(&service, &caller).await?,
    })
}
