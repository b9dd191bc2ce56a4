//! One finding: its dialogue, and the forms that go on with it.

use super::findings::{self, FileFields};
use super::page::{PathParts, Section, Shell, draw};
use super::refusal::Refusal;
use super::session::Visitor;
use super::{links, words};
use crate::accounting::records::findings::{Act, FindingState, SubjectKind};
use crate::service::findings::{AttachmentFile, FigureNow, FindingDialogue, LineView, NewLine};
use crate::service::{Caller, Once, Service};
use askama::Template;
use axum::Form;
use axum::extract::State;
use axum::http::header;
use axum::response::{IntoResponse, Redirect, Response};
use serde::Deserialize;

#[derive(Template)]
#[template(path = "finding.html")]
struct FindingPage {
    shell: Shell,
    fault: Option<String>,
    /// What was typed where it could not be taken.
    typed: String,
    id: String,
    class: String,
    subject: String,
    subject_href: Option<String>,
    state: &'static str,
    period: Option<String>,
    requirement: Option<String>,
    figure: Option<FigureView>,
    lines: Vec<DialogueLine>,
    acts: Vec<ActForm>,
}

struct FigureView {
    label: String,
    href: String,
    was: String,
    /// The latest statement, with the value there.
    now: Option<(String, String)>,
}

struct DialogueLine {
    act: String,
    who: String,
    when: String,
    text: String,
    sequence: u64,
    files: Vec<FileLine>,
}

struct FileLine {
    name: String,
    media_type: String,
    size: String,
    sha256: String,
    href: Option<String>,
}

/// What the reader may do now.
struct ActForm {
    action: String,
    name: &'static str,
    title: &'static str,
    label: &'static str,
    button: &'static str,
}

#[derive(Deserialize)]
pub(super) struct LineForm {
    text: String,
    #[serde(flatten)]
    file: FileFields,
}

/// Path word, title, label and button of what may be done.
const ACTS: [(Act, &str, &str, &str, &str); 4] = [
    (
        Act::Answered,
        "answer",
        "Answer",
        "What the programme answers",
        "Send the answer",
    ),
    (
        Act::Commented,
        "comment",
        "Comment",
        "Comment",
        "Add the comment",
    ),
    (
        Act::Closed,
        "close",
        "Close",
        "Resolution",
        "Close the finding",
    ),
    (
        Act::Reopened,
        "reopen",
        "Reopen",
        "Why it is opened again",
        "Reopen the finding",
    ),
];

pub(super) async fn show(
    State(service): State<Service>,
    Visitor(caller): Visitor,
    PathParts(id): PathParts<String>,
) -> Result<Response, Refusal> {
    page(&service, &caller, &id, String::new(), None).await
}

pub(super) async fn act(
    State(service): State<Service>,
    Visitor(caller): Visitor,
    PathParts((id, word)): PathParts<(String, String)>,
    Form(form): Form<LineForm>,
) -> Result<Response, Refusal> {
    let known = ACTS.iter().find(|(_, name, ..)| *name == word);
    let Some((act, ..)) = known else {
        return Err(Refusal::not_found("There is nothing at this address."));
    };
    let done = match form.file.attachments() {
        Ok(attachments) => {
            let new = NewLine {
                text: form.text.clone(),
                attachments,
            };
            let once = Once::unkeyed();
            service
                .act_on_finding(&caller, &id, *act, &new, &once)
                .await
        }
        Err(error) => Err(error),
    };
    match done {
        Ok(_) => Ok(Redirect::to(&links::finding(&id)).into_response()),
        Err(error) => {
            let (status, fault) = words::fault(error)?;
            let page = page(&service, &caller, &id, form.text, Some(fault)).await?;
            Ok((status, page).into_response())
        }
    }
}

pub(super) async fn attachment(
    State(service): State<Service>,
    Visitor(caller): Visitor,
    PathParts((id, hash)): PathParts<(String, String)>,
) -> Result<Response, Refusal> {
    let file = service.attachment(&caller, &id, &hash).await?;
    let headers = [
        (header::CONTENT_TYPE, AttachmentFile::MEDIA_TYPE.to_owned()),
        (header::CONTENT_DISPOSITION, file.disposition()),
    ];
    Ok((headers, file.bytes).into_response())
}

async fn page(
    service: &Service,
    caller: &Caller,
    id: &str,
    typed: String,
    fault: Option<String>,
) -> Result<Response, Refusal> {
    let FindingDialogue {
        finding,
        figure,
        dialogue,
    } = service.finding(caller, id).await?;
    let (subject, mut subject_href) = findings::subject(&finding.subject);
    if let (SubjectKind::Figure, Some(figure)) = (finding.subject.kind, &figure) {
        subject_href = Some(links::node(figure.statement, &figure.node));
    }
    draw(&FindingPage {
        shell: Shell::of(caller, Section::Findings, format!("Finding {}", finding.id)),
        fault,
        typed,
        class: findings::class(finding.class),
        subject,
        subject_href,
        state: findings::state(finding.state),
        period: finding.period,
        requirement: finding.requirement,
        figure: figure.map(figure_view),
        lines: dialogue
            .into_iter()
            .map(|line| dialogue_line(&finding.id, line))
            .collect(),
        acts: acts(caller, &finding.id, finding.state),
        id: finding.id,
    })
}

fn figure_view(figure: FigureNow) -> FigureView {
    let unit = words::unit(&figure.unit);
    let latest = figure.latest_statement.map(|statement| {
        let value = figure.latest_value.map_or_else(
            || "not stated any more".to_owned(),
            |value| format!("{value} {unit}"),
        );
        (links::statement(statement), value)
    });
    FigureView {
        label: words::capital(&words::label(&figure.label)),
        href: links::node(figure.statement, &figure.node),
        was: format!("{} {unit}", figure.value),
        now: latest,
    }
}

fn dialogue_line(id: &str, line: LineView) -> DialogueLine {
    let files = line.attachments.into_iter().map(|each| {
        let file = each.attachment;
        FileLine {
            href: each
                .kept
                .then(|| format!("{}/attachments/{}", links::finding(id), file.sha256)),
            name: file.file_name,
            media_type: file.media_type,
            size: words::count(file.size_bytes),
            sha256: file.sha256,
        }
    });
    DialogueLine {
        act: words::capital(line.act.code()),
        who: line.actor,
        when: words::instant(line.at),
        text: line.text,
        sequence: line.sequence,
        files: files.collect(),
    }
}

fn acts(caller: &Caller, id: &str, state: FindingState) -> Vec<ActForm> {
    let may = |act: &Act| {
        !caller.read_only && act.actors().contains(&caller.role.code()) && state.allows(*act)
    };
    ACTS.into_iter()
        .filter(|(act, ..)| may(act))
        .map(|(_, name, title, label, button)| ActForm {
            action: format!("{}/{name}", links::finding(id)),
            name,
            title,
            label,
            button,
        })
        .collect()
}
