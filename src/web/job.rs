//! One job: how far it has come, and what it came to. Without a script the page shows itself
//! again while the job runs.

use super::page::{PathParts, Section, Shell, draw};
use super::refusal::Refusal;
use super::rows_table::kind_title;
use super::session::Visitor;
use super::upload::Choices;
use super::{links, words};
use crate::service::jobs::{JobState, JobView, Work};
use crate::service::{Once, Role, Service, ServiceError};
use askama::Template;
use axum::extract::State;
use axum::response::{IntoResponse, Redirect, Response};
use serde_json::Value;
use uuid::Uuid;

/// Faults of a file that the page shows; the API gives more.
const FAULTS_SHOWN: usize = 200;

#[derive(Template)]
#[template(path = "job.html")]
struct JobPage {
    shell: Shell,
    id: Uuid,
    name: String,
    sentence: String,
    ended: bool,
    may_cancel: bool,
    percent: u8,
    batch: Option<String>,
    /// The form again, with what was chosen, and whether it now keeps what was tried.
    again: Option<(String, &'static str)>,
    sheet: Option<String>,
    detail: Option<String>,
    marked: Option<String>,
    faults: Vec<FaultLine>,
    /// How many of the faults are shown.
    faults_shown: String,
    kind: String,
    round: String,
    bytes: String,
    read: String,
    checked: String,
    written: String,
    who: String,
}

/// One fault of a refused file.
struct FaultLine {
    line: String,
    column: String,
    detail: String,
}

impl FaultLine {
    fn new(fault: &Value) -> Self {
        let text = |name: &str| fault[name].as_str().unwrap_or_default().to_owned();
        FaultLine {
            line: fault["line"]
                .as_u64()
                .map_or_else(|| "file".into(), words::count),
            column: text("column"),
            detail: text("detail"),
        }
    }
}

/// A job in a list.
pub(super) struct JobLine {
    pub href: String,
    pub name: String,
    pub state: &'static str,
}

impl JobLine {
    pub fn new(job: &JobView) -> Self {
        JobLine {
            href: links::job(job.id),
            name: name(&job.work),
            state: state(job),
        }
    }
}

fn name(work: &Work) -> String {
    match work {
        Work::AcceptBatch {
            file_name,
            batch_kind,
            ..
        } => file_name.clone().unwrap_or_else(|| kind_title(batch_kind)),
    }
}

fn state(job: &JobView) -> &'static str {
    let Work::AcceptBatch { dry_run, .. } = job.work;
    match job.state {
        JobState::Succeeded if dry_run => "was tried and has no fault",
        JobState::Failed if dry_run => "was tried and has faults",
        JobState::Waiting => "waits",
        JobState::Running => "is read",
        JobState::Succeeded => "was accepted",
        JobState::Failed => "was refused",
        JobState::Cancelled => "was cancelled",
    }
}

fn sentence(job: &JobView) -> String {
    let Work::AcceptBatch { dry_run, .. } = job.work;
    let result = job.result.as_ref();
    let rows = result.and_then(|batch| batch["rows"].as_u64()).unwrap_or(0);
    let rows = words::count(rows);
    let repeated = result.is_some_and(|batch| batch["repeated"] == true);
    let told = match job.state {
        JobState::Waiting => "The file is here and waits for its turn.",
        JobState::Running if job.cancel_asked => "The file is read; it was asked to stop.",
        JobState::Running if dry_run => "The file is read and checked; nothing of it is kept.",
        JobState::Running => "The file is read, checked and written.",
        JobState::Succeeded if repeated => {
            return format!(
                "The very same file with its {rows} rows was accepted before; nothing was added."
            );
        }
        JobState::Succeeded if dry_run => {
            return format!(
                "The file has no fault: its {rows} rows would be accepted. Nothing of it was kept."
            );
        }
        JobState::Succeeded => {
            return format!("The file was accepted whole: {rows} rows were added.");
        }
        JobState::Failed if dry_run => {
            "The file has faults. It was tried, and nothing of it was kept."
        }
        JobState::Failed => "The file was refused and nothing of it was kept.",
        JobState::Cancelled => "It was cancelled and nothing of the file was kept.",
    };
    told.to_owned()
}

/// The form with the choices of this job, for whoever may send a file again: a tried one that
/// is sound is now to be kept.
fn again(job: &JobView) -> Option<(String, &'static str)> {
    let Work::AcceptBatch {
        batch_kind,
        round,
        mapping,
        dry_run,
        ..
    } = &job.work;
    let choices = Choices {
        kind: batch_kind.clone(),
        round: round.clone().unwrap_or_default(),
        mapping: mapping.clone().unwrap_or_default(),
        tried: String::new(),
    };
    match job.state {
        JobState::Waiting | JobState::Running => None,
        JobState::Succeeded if *dry_run => {
            Some((choices.address(false), "Send the file to be kept"))
        }
        JobState::Succeeded => Some((choices.address(false), "Send another file like it")),
        JobState::Failed => Some((choices.address(*dry_run), "Send the mended file")),
        JobState::Cancelled => Some((choices.address(*dry_run), "Send it again")),
    }
}

pub(super) async fn show(
    State(service): State<Service>,
    Visitor(caller): Visitor,
    PathParts(id): PathParts<Uuid>,
) -> Result<Response, Refusal> {
    let job = service.job(&caller, id).await?;
    let Work::AcceptBatch {
        batch_kind,
        round,
        bytes,
        dry_run,
        ..
    } = &job.work;
    let may_send = !caller.read_only && caller.role != Role::Verifier;
    let result = job.result.as_ref();
    let is_there = result.is_some_and(|batch| !dry_run || batch["repeated"] == true);
    let batch = job.result.as_ref().and_then(|batch| batch["id"].as_str());
    let problem = job.problem.as_ref();
    let faults = problem.and_then(|problem| problem["rejections"].as_array());
    let name = name(&job.work);
    draw(&JobPage {
        shell: Shell::of(&caller, Section::Evidence, name.clone()),
        id,
        name,
        sentence: sentence(&job),
        ended: job.state.has_ended(),
        may_cancel: !job.state.has_ended() && !job.cancel_asked && may_send,
        again: again(&job).filter(|_| may_send),
        sheet: problem.and_then(|problem| problem["sheet"].as_str().map(str::to_owned)),
        percent: job.progress.percent,
        batch: batch
            .filter(|_| is_there)
            .and_then(|id| id.parse().ok())
            .map(links::batch),
        // Where the faults are shown, they say more than the sentence over them.
        detail: problem.filter(|_| faults.is_none()).map(told),
        marked: problem.and_then(marked).map(links::marked),
        faults: faults
            .into_iter()
            .flatten()
            .take(FAULTS_SHOWN)
            .map(FaultLine::new)
            .collect(),
        faults_shown: problem
            .and_then(|problem| problem["rejection_count"].as_u64())
            .map(faults_shown)
            .unwrap_or_default(),
        kind: kind_title(batch_kind),
        round: round.clone().unwrap_or_else(|| "register".into()),
        bytes: words::count(*bytes),
        read: words::count(job.progress.rows_read),
        checked: words::count(job.progress.rows_checked),
        written: words::count(job.progress.rows_written),
        who: job.who.clone(),
    })
}

fn faults_shown(count: u64) -> String {
    let shown = FAULTS_SHOWN as u64;
    match count > shown {
        true => format!(
            "the first {} of {}",
            words::count(shown),
            words::count(count)
        ),
        false => format!("all {}", words::count(count)),
    }
}

/// The detail of a problem document with the fields that it names.
fn told(problem: &Value) -> String {
    let text = |value: &Value| value.as_str().unwrap_or_default().to_owned();
    let fields = problem["errors"].as_array().into_iter().flatten();
    let fields = fields.map(|each| format!("{} {}", text(&each["field"]), text(&each["detail"])));
    std::iter::once(text(&problem["detail"]))
        .chain(fields)
        .collect::<Vec<_>>()
        .join("; ")
}

/// The id of the copy with its faults marked, which ends the address that the problem has of it.
fn marked(problem: &Value) -> Option<Uuid> {
    problem["marked_file"]
        .as_str()?
        .rsplit('/')
        .next()?
        .parse()
        .ok()
}

pub(super) async fn cancel(
    State(service): State<Service>,
    Visitor(caller): Visitor,
    PathParts(id): PathParts<Uuid>,
) -> Result<Response, Refusal> {
    match service.cancel_job(&caller, id, &Once::unkeyed()).await {
        // It ended before the button was pressed; the page says how.
        Ok(_) | Err(ServiceError::Conflict { .. }) => {}
        Err(other) => return Err(other.into()),
    }
    Ok(Redirect::to(&links::job(id)).into_response())
}
