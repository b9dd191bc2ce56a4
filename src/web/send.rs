//! Sending a file from the field: checked only, or accepted; a refused one is offered marked.

use super::form_field::text;
use super::page::{PathParts, Section, Shell, download, draw};
use super::refusal::Refusal;
use super::rows_table::kind_title;
use super::session::Visitor;
use super::{links, words};
use crate::intake::{BatchKind, FileFormat, workbook_template};
use crate::service::batches::{BatchView, KEPT_DAYS, Refused, Taking, Upload};
use crate::service::upload::Spooled;
use crate::service::{Caller, Role, Service, ServiceError};
use askama::Template;
use axum::extract::multipart::MultipartError;
use axum::extract::{Multipart, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use uuid::Uuid;

/// Faults shown on the page; the marked file has more.
const SHOWN: usize = 100;

/// A kind of batch with its templates.
struct KindRow {
    code: &'static str,
    title: String,
    chosen: bool,
}

/// What became of a file.
struct Outcome {
    title: String,
    sentence: String,
    href: Option<String>,
}

struct FaultRow {
    line: String,
    column: String,
    detail: String,
}

/// A refused file.
struct RefusedFile {
    title: String,
    faults: Vec<FaultRow>,
    marked: Option<String>,
    days: i64,
}

#[derive(Template)]
#[template(path = "send.html")]
struct SendPage {
    shell: Shell,
    may_send: bool,
    kinds: Vec<KindRow>,
    rounds: Vec<String>,
    fault: Option<String>,
    outcome: Option<Outcome>,
    refused: Option<RefusedFile>,
}

/// What the form holds.
#[derive(Default)]
struct Sent {
    kind: String,
    round: Option<String>,
    mapping: Option<String>,
    check_only: bool,
    file_name: Option<String>,
    file: Option<Spooled>,
}

async fn page(
    service: &Service,
    caller: &Caller,
    chosen: &str,
    outcome: Option<Outcome>,
    (fault, refused): (Option<String>, Option<RefusedFile>),
) -> Result<Response, Refusal> {
    let rounds = service.rounds(caller).await?;
    let may_send = matches!(caller.role, Role::Manager | Role::Monitor) && !caller.read_only;
    draw(&SendPage {
        shell: Shell::of(caller, Section::Evidence, "Check or send a file"),
        may_send,
        kinds: BatchKind::ALL
            .into_iter()
            .map(|kind| KindRow {
                code: kind.code(),
                title: kind_title(kind.code()),
                chosen: kind.code() == chosen,
            })
            .collect(),
        rounds: rounds.into_iter().map(|row| row.round.code).collect(),
        fault,
        outcome,
        refused,
    })
}

pub(super) async fn show(
    State(service): State<Service>,
    Visitor(caller): Visitor,
) -> Result<Response, Refusal> {
    page(&service, &caller, "", None, (None, None)).await
}

pub(super) async fn send(
    State(service): State<Service>,
    Visitor(caller): Visitor,
    form: Multipart,
) -> Result<Response, Refusal> {
    let sent = read_form(&service, form).await?;
    let chosen = sent.kind.clone();
    let error = match take(&service, &caller, sent).await {
        Ok(batch) => {
            let told = Some(outcome(&batch));
            return page(&service, &caller, &chosen, told, (None, None)).await;
        }
        Err(error) => error,
    };
    let (status, fault, refused) = match error {
        ServiceError::RejectedFile(refused) => {
            let told = told(*refused);
            (StatusCode::UNPROCESSABLE_ENTITY, None, Some(told))
        }
        ServiceError::TooLarge { .. } => (
            StatusCode::PAYLOAD_TOO_LARGE,
            Some("The file is too large.".to_owned()),
            None,
        ),
        other => {
            let (status, fault) = words::fault(other)?;
            (status, Some(fault), None)
        }
    };
    let page = page(&service, &caller, &chosen, None, (fault, refused)).await?;
    Ok((status, page).into_response())
}

async fn take(service: &Service, caller: &Caller, sent: Sent) -> Result<BatchView, ServiceError> {
    let missing = |field: &str, detail: &str| {
        ServiceError::Invalid(vec![crate::service::FieldProblem {
            field: field.into(),
            detail: detail.into(),
        }])
    };
    let kind: BatchKind = sent
        .kind
        .parse()
        .map_err(|_| missing("kind", "must be chosen"))?;
    let Some(file) = sent.file else {
        return Err(missing("file", "must be chosen"));
    };
    let upload = Upload {
        kind,
        // The form has one list of rounds for all kinds; the register belongs to none.
        round: sent.round.filter(|_| kind.needs_round()),
        file_name: sent.file_name,
        file,
    };
    let taking = Taking {
        dry_run: sent.check_only,
        mapping: sent.mapping,
    };
    service.take_file(caller, upload, &taking, None).await
}

async fn read_form(service: &Service, mut form: Multipart) -> Result<Sent, Refusal> {
    let mut sent = Sent::default();
    while let Some(field) = form.next_field().await.map_err(unreadable)? {
        let name = field.name().unwrap_or_default().to_owned();
        if name == "file" {
            sent.file_name = field
                .file_name()
                .map(str::to_owned)
                .filter(|n| !n.is_empty());
            let spooled = Spooled::receive(field, service.upload_bytes_max()).await;
            match spooled {
                Ok(file) if file.bytes == 0 && sent.file_name.is_none() => {}
                Ok(file) => sent.file = Some(file),
                Err(ServiceError::BrokenUpload(_)) => {
                    return Err(Refusal::unreadable("The file did not arrive whole."));
                }
                Err(other) => return Err(other.into()),
            }
            continue;
        }
        let text = text(field, unreadable).await?.trim().to_owned();
        match name.as_str() {
            "kind" => sent.kind = text,
            "round" => sent.round = Some(text).filter(|text| !text.is_empty()),
            "mapping" => sent.mapping = Some(text).filter(|text| !text.is_empty()),
            "do" => sent.check_only = text == "check",
            _ => {}
        }
    }
    Ok(sent)
}

fn unreadable(_: MultipartError) -> Refusal {
    Refusal::unreadable("The form did not arrive whole.")
}

fn outcome(batch: &BatchView) -> Outcome {
    let rows = words::count(batch.rows);
    let title = match (batch.repeated, batch.dry_run) {
        (true, _) => "Known already.",
        (false, true) => "Checked.",
        (false, false) => "Accepted.",
    };
    let sentence = match (batch.repeated, batch.dry_run) {
        (true, _) => format!(
            "The very same file with its {rows} rows was accepted before; nothing was added."
        ),
        (false, true) => format!(
            "The file has no fault: its {rows} rows would be accepted. Nothing was written."
        ),
        (false, false) => format!(
            "{rows} rows were added, as entry {} of the trail.",
            batch.sequence
        ),
    };
    let is_there = batch.repeated || !batch.dry_run;
    Outcome {
        title: title.into(),
        sentence,
        href: is_there.then(|| links::batch(batch.id)),
    }
}

fn told(refused: Refused) -> RefusedFile {
    let list = refused.rejections.list;
    let sheet = refused
        .sheet
        .map(|name| format!(", sheet {name}"))
        .unwrap_or_default();
    RefusedFile {
        title: format!(
            "Refused{sheet}: nothing of the file was kept. Faults: {}",
            words::count(refused.rejections.count)
        ),
        faults: list
            .into_iter()
            .take(SHOWN)
            .map(|fault| FaultRow {
                line: fault
                    .line
                    .map_or_else(|| "file".into(), |line| line.to_string()),
                column: fault.column.unwrap_or_default(),
                detail: fault.detail,
            })
            .collect(),
        marked: refused.marked.map(links::marked),
        days: KEPT_DAYS,
    }
}

/// A refused file with its faults marked.
pub(super) async fn marked(
    State(service): State<Service>,
    Visitor(caller): Visitor,
    PathParts(id): PathParts<Uuid>,
) -> Result<Response, Refusal> {
    let file = service.marked_file(&caller, id).await?;
    Ok(download(&file.media_type, &file.file_name, file.bytes))
}

/// The template of a kind, `KIND.csv` or `KIND.xlsx`.
pub(super) async fn template(
    _visitor: Visitor,
    PathParts(named): PathParts<String>,
) -> Result<Response, Refusal> {
    let unknown = || Refusal::not_found("There is no such template.");
    let (kind, ending) = named.rsplit_once('.').ok_or_else(unknown)?;
    let kind: BatchKind = kind.parse().map_err(|_| unknown())?;
    let (format, bytes) = match ending {
        "csv" => (FileFormat::Csv, kind.template().example_csv().into_bytes()),
        "xlsx" => {
            let bytes = workbook_template(kind.template()).map_err(|e| Refusal::broken(&e))?;
            (FileFormat::Workbook, bytes)
        }
        _ => return Err(unknown()),
    };
    let name = format!("{}.{ending}", kind.file_stem());
    Ok(download(format.media_type(), &name, bytes))
}
