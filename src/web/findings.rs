//! Findings: those that are not closed first, what they mean for each period, and the form
//! that raises one.

use super::page::{QueryParts, Section, Shell, draw};
use super::refusal::Refusal;
use super::session::Visitor;
use super::{links, words};
use crate::accounting::records::findings::{
    Attachment, FindingClass, FindingState, Subject, SubjectKind,
};
use crate::service::findings::{FindingFilter, FindingView, NewFinding, PeriodFindings};
use crate::service::overview::OpenFindings;
use crate::service::periods::PeriodView;
use crate::service::{Caller, Once, Service, ServiceError};
use askama::Template;
use axum::Form;
use axum::extract::State;
use axum::response::{IntoResponse, Redirect, Response};
use serde::Deserialize;

/// Findings that are not closed, shown at the most.
const OPEN_MAX: u32 = 1_000;

const CLOSED_A_PAGE: u32 = 50;

/// A finding in a list.
pub(super) struct FindingLine {
    pub href: String,
    pub id: String,
    pub class: String,
    pub subject: String,
    pub subject_href: Option<String>,
    pub state: &'static str,
    pub opened: String,
    pub text: String,
}

/// What the findings mean for a period.
pub(super) struct PeriodLine {
    pub code: String,
    pub closed: bool,
    pub raise: Option<String>,
    pub blocking: Vec<FindingLine>,
    pub to_check: Vec<FindingLine>,
}

/// What the overview says of findings.
pub(super) struct Glance {
    pub open: u64,
    pub periods: Vec<PeriodLine>,
}

#[derive(Template)]
#[template(path = "findings.html")]
struct FindingsPage {
    shell: Shell,
    open: Vec<FindingLine>,
    closed: Vec<FindingLine>,
    next: Option<u64>,
    periods: Vec<PeriodLine>,
}

#[derive(Template)]
#[template(path = "finding_new.html")]
struct NewPage {
    shell: Shell,
    fault: Option<String>,
    subject: String,
    subject_href: Option<String>,
    form: NewForm,
    classes: Vec<(&'static str, String)>,
    periods: Vec<String>,
}

#[derive(Deserialize)]
pub(super) struct ListQuery {
    /// Number after which the closed findings begin.
    closed_after: Option<u64>,
}

/// Fields of the form that raises a finding.
#[derive(Deserialize, Default)]
pub(super) struct NewForm {
    kind: String,
    key: String,
    #[serde(default)]
    class: String,
    #[serde(default)]
    period: String,
    #[serde(default)]
    requirement: String,
    #[serde(default)]
    text: String,
    #[serde(flatten)]
    file: FileFields,
}

/// A file, as it is named in a form.
#[derive(Deserialize, Default)]
pub(super) struct FileFields {
    #[serde(default)]
    sha256: String,
    #[serde(default)]
    file_name: String,
    #[serde(default)]
    media_type: String,
    #[serde(default)]
    size_bytes: String,
}

impl FileFields {
    /// The named file; none where all fields are empty.
    pub fn attachments(&self) -> Result<Vec<Attachment>, ServiceError> {
        let fields = [&self.sha256, &self.file_name, &self.size_bytes];
        if fields.iter().all(|field| field.trim().is_empty()) {
            return Ok(Vec::new());
        }
        let size = self.size_bytes.trim();
        let size_bytes = size.parse().map_err(|_| {
            ServiceError::Invalid(vec![crate::service::FieldProblem {
                field: "size_bytes".into(),
                detail: "give the size as a whole number of bytes".into(),
            }])
        })?;
        Ok(vec![Attachment {
            sha256: self.sha256.trim().to_owned(),
            file_name: self.file_name.trim().to_owned(),
            media_type: match self.media_type.trim() {
                "" => "application/octet-stream".to_owned(),
                media_type => media_type.to_owned(),
            },
            size_bytes,
        }])
    }
}

pub(super) fn class(class: FindingClass) -> String {
    words::capital(&words::spaced(class.code()))
}

pub(super) fn state(state: FindingState) -> &'static str {
    match state {
        FindingState::Open => "open: waits for the programme",
        FindingState::Answered => "answered: waits for the verifier",
        FindingState::Closed => "closed",
    }
}

/// A subject in words, and its page where it has one.
pub(super) fn subject(subject: &Subject) -> (String, Option<String>) {
    let key = subject.key.as_str();
    let (first, second) = key.rsplit_once('/').unwrap_or((key, ""));
    let (id, part) = key.split_once('/').unwrap_or((key, ""));
    let id = id.parse().ok();
    let short = words::short_hash(key);
    match subject.kind {
        SubjectKind::Period => (format!("Period {key}"), Some("/statements".to_owned())),
        SubjectKind::Statement => (format!("Statement {short}…"), id.map(links::statement)),
        SubjectKind::Figure => (
            format!("Figure {} of statement {short}…", words::label(part)),
            id.map(links::statement),
        ),
        SubjectKind::Node => (
            format!("Trace node {part} of statement {short}…"),
            id.map(|id| links::node(id, part)),
        ),
        SubjectKind::Row => (
            format!("Row {second} of batch {short}…"),
            id.zip(second.parse().ok())
                .map(|(batch, line)| links::row(batch, line)),
        ),
        SubjectKind::Batch => (format!("Batch {short}…"), id.map(links::batch)),
        SubjectKind::Factor => (
            format!("Factor {key}"),
            key.parse().ok().map(|id| links::factor(&id)),
        ),
        SubjectKind::Methodology => (format!("Methodology {key}"), None),
        SubjectKind::Household => (format!("Household {key}"), Some(links::found(key))),
        SubjectKind::Deployment => (
            format!("Stove {first}, installed {second}"),
            Some(links::found(first)),
        ),
        SubjectKind::Round => (format!("Round {key}"), Some("/#rounds".to_owned())),
    }
}

fn line(view: FindingView) -> FindingLine {
    let (subject, subject_href) = subject(&view.subject);
    FindingLine {
        href: links::finding(&view.id),
        class: class(view.class),
        subject,
        subject_href,
        state: state(view.state),
        opened: view.opened_at.date_naive().to_string(),
        text: view.text,
        id: view.id,
    }
}

async fn period_lines(
    service: &Service,
    caller: &Caller,
    periods: &[PeriodView],
) -> Result<Vec<PeriodLine>, ServiceError> {
    let mut lines = Vec::new();
    for view in periods {
        let found = service.period_findings(caller, &view.period.code).await?;
        lines.push(period_line(caller, view.closed_by.is_some(), found));
    }
    Ok(lines)
}

fn period_line(caller: &Caller, closed: bool, found: PeriodFindings) -> PeriodLine {
    PeriodLine {
        closed,
        raise: links::raise(caller, SubjectKind::Period, &found.period),
        blocking: found.blocking.into_iter().map(line).collect(),
        to_check: found.to_check.into_iter().map(line).collect(),
        code: found.period,
    }
}

/// What the overview says of findings, and of the periods that are not closed.
pub(super) fn glance(caller: &Caller, found: OpenFindings) -> Glance {
    let periods = found.periods.into_iter();
    Glance {
        open: found.count,
        periods: periods
            .map(|found| period_line(caller, false, found))
            .collect(),
    }
}

pub(super) async fn list(
    State(service): State<Service>,
    Visitor(caller): Visitor,
    QueryParts(query): QueryParts<ListQuery>,
) -> Result<Response, Refusal> {
    let standing = |states: &[FindingState]| FindingFilter {
        states: Some(states.to_vec()),
        ..FindingFilter::default()
    };
    let unclosed = standing(&[FindingState::Open, FindingState::Answered]);
    let open = service.findings(&caller, &unclosed, None, OPEN_MAX).await?;
    let closed = standing(&[FindingState::Closed]);
    let closed = service
        .findings(&caller, &closed, query.closed_after, CLOSED_A_PAGE)
        .await?;
    let periods = service.periods(&caller).await?;
    draw(&FindingsPage {
        shell: Shell::of(&caller, Section::Findings, "Findings"),
        open: open.items.into_iter().map(line).collect(),
        closed: closed.items.into_iter().map(line).collect(),
        next: closed.next,
        periods: period_lines(&service, &caller, &periods).await?,
    })
}

fn subject_of(form: &NewForm) -> Result<Subject, Refusal> {
    let kind = SubjectKind::from_code(&form.kind);
    let kind =
        kind.ok_or_else(|| Refusal::not_found("A finding is not raised on such a thing."))?;
    Ok(Subject {
        kind,
        key: form.key.clone(),
    })
}

async fn new_page(
    service: &Service,
    caller: &Caller,
    form: NewForm,
    fault: Option<String>,
) -> Result<Response, Refusal> {
    if links::raise(caller, SubjectKind::Period, "").is_none() {
        return Err(Refusal::forbidden("Findings are raised by verifiers."));
    }
    let (subject, subject_href) = subject(&subject_of(&form)?);
    let periods = service.periods(caller).await?;
    draw(&NewPage {
        shell: Shell::of(caller, Section::Findings, "Raise a finding"),
        fault,
        subject,
        subject_href,
        form,
        classes: FindingClass::ALL
            .into_iter()
            .map(|each| (each.code(), class(each)))
            .collect(),
        periods: periods.into_iter().map(|view| view.period.code).collect(),
    })
}

pub(super) async fn form(
    State(service): State<Service>,
    Visitor(caller): Visitor,
    QueryParts(form): QueryParts<NewForm>,
) -> Result<Response, Refusal> {
    new_page(&service, &caller, form, None).await
}

pub(super) async fn open(
    State(service): State<Service>,
    Visitor(caller): Visitor,
    Form(form): Form<NewForm>,
) -> Result<Response, Refusal> {
    let subject = subject_of(&form)?;
    let class = FindingClass::from_code(&form.class);
    let class = class.ok_or_else(|| Refusal::not_found("There is no such class of findings."))?;
    let some = |text: &str| (!text.trim().is_empty()).then(|| text.trim().to_owned());
    let opened = match form.file.attachments() {
        Ok(attachments) => {
            let new = NewFinding {
                class,
                subject,
                period: some(&form.period),
                requirement: some(&form.requirement),
                text: form.text.clone(),
                attachments,
            };
            service.open_finding(&caller, &new, &Once::unkeyed()).await
        }
        Err(error) => Err(error),
    };
    match opened {
        Ok(opened) => Ok(Redirect::to(&links::finding(&opened.finding.id)).into_response()),
        Err(error) => {
            let (status, fault) = words::fault(error)?;
            let page = new_page(&service, &caller, form, Some(fault)).await?;
            Ok((status, page).into_response())
        }
    }
}
