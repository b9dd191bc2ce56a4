//! The form on the page Evidence that sends a file. Without any script it is taken in one piece,
//! then the same upload and the same job as one that arrives in parts.

use super::form_field::text;
use super::refusal::Refusal;
use super::rows_table::kind_title;
use super::session::Visitor;
use super::{assets, batches, links, words};
use crate::accounting::records::RoundKind;
use crate::intake::BatchKind;
use crate::service::batches::Taking;
use crate::service::upload::Spooled;
use crate::service::uploads::NewUpload;
use crate::service::{Caller, Once, Role, Service, ServiceError};
use axum::extract::multipart::MultipartError;
use axum::extract::{DefaultBodyLimit, Multipart, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Redirect, Response};
use serde::Deserialize;
use std::time::Duration;

/// How long what is left of a form is let in after its file was refused: a browser shows the
/// answer only once it has sent everything.
const LEFT_OVER: Duration = Duration::from_secs(60);

/// What was chosen beside the file. It is handed on from page to page, so that it stays chosen.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
pub(super) struct Choices {
    pub kind: String,
    pub round: String,
    /// Saved column names to read the file by.
    pub mapping: String,
    /// `yes` checks the file and keeps nothing of it.
    pub tried: String,
}

impl Choices {
    /// The form with the same choices; `tried` says whether the file is only to be tried.
    pub fn address(&self, tried: bool) -> String {
        let mut address = format!("/batches?kind={}", links::encoded(&self.kind));
        for (name, value) in [("round", &self.round), ("mapping", &self.mapping)] {
            if !value.is_empty() {
                address.push_str(&format!("&{name}={}", links::encoded(value)));
            }
        }
        if tried {
            address.push_str("&tried=yes");
        }
        address + "#send"
    }

    fn taking(&self) -> Taking {
        let mapping = self.mapping.trim();
        Taking {
            dry_run: self.tried == "yes",
            marks_dry_run: true,
            mapping: (!mapping.is_empty()).then(|| mapping.to_owned()),
        }
    }
}

/// What the form offers, and what stands in it.
pub(super) struct UploadForm {
    pub address: String,
    pub script: String,
    pub bytes_max: u64,
    pub largest: String,
    pub kinds: Vec<KindChoice>,
    pub rounds: Vec<RoundChoice>,
    pub mapping: String,
    pub tried: bool,
    /// Why the last try was not taken.
    pub fault: Option<String>,
}

pub(super) struct KindChoice {
    pub code: &'static str,
    pub title: String,
    pub needs_round: bool,
    pub chosen: bool,
}

pub(super) struct RoundChoice {
    pub code: String,
    /// What its rows are.
    pub kind: String,
    pub chosen: bool,
}

impl UploadForm {
    /// None for whoever may not send files.
    pub async fn of(
        service: &Service,
        caller: &Caller,
        choices: &Choices,
        fault: Option<String>,
    ) -> Result<Option<Self>, ServiceError> {
        if caller.read_only || caller.role == Role::Verifier {
            return Ok(None);
        }
        let rounds = service.rounds(caller).await?;
        let kind_of = |kind: &str| match RoundKind::from_code(kind) {
            Some(kind) => kind_title(BatchKind::of_round(kind).code()),
            None => words::spaced(kind),
        };
        let bytes_max = service.upload_bytes_max();
        Ok(Some(UploadForm {
            address: format!("/api/v1/programmes/{}/uploads", caller.programme_code),
            script: assets::script_path(),
            bytes_max,
            largest: words::bytes(bytes_max),
            kinds: BatchKind::ALL
                .iter()
                .map(|kind| KindChoice {
                    code: kind.code(),
                    title: kind_title(kind.code()),
                    needs_round: kind.needs_round(),
                    chosen: kind.code() == choices.kind,
                })
                .collect(),
            rounds: rounds
                .into_iter()
                .map(|view| RoundChoice {
                    kind: kind_of(&view.round.kind),
                    chosen: view.round.code == choices.round,
                    code: view.round.code,
                })
                .collect(),
            mapping: choices.mapping.clone(),
            tried: choices.tried == "yes",
            fault,
        }))
    }
}

/// The file's size is held by the service, piece by piece; the frame of the form is small.
pub(super) fn limit() -> DefaultBodyLimit {
    DefaultBodyLimit::disable()
}

/// The form as it arrives.
#[derive(Default)]
struct Sent {
    choices: Choices,
    file_name: Option<String>,
    file: Option<Spooled>,
}

pub(super) async fn send(
    State(service): State<Service>,
    Visitor(caller): Visitor,
    mut form: Multipart,
) -> Result<Response, Refusal> {
    let mut sent = Sent::default();
    let taken = match read_form(&service, &mut form, &mut sent).await? {
        Ok(()) => take(&service, &caller, &mut sent).await,
        Err(refused) => {
            let rest = async { while let Ok(Some(_)) = form.next_field().await {} };
            // Whether it comes to its end or not, the answer is the same.
            let _ = tokio::time::timeout(LEFT_OVER, rest).await;
            Err(refused)
        }
    };
    let error = match taken {
        Ok(job) => return Ok(Redirect::to(&job).into_response()),
        Err(error) => error,
    };
    let (status, fault): (StatusCode, String) = words::fault(error)?;
    let page = batches::page(&service, &caller, &sent.choices, Some(fault)).await?;
    Ok((status, page).into_response())
}

/// The whole file first, for an upload says at its beginning how long it is.
async fn take(service: &Service, caller: &Caller, sent: &mut Sent) -> Result<String, ServiceError> {
    let kind: BatchKind = sent
        .choices
        .kind
        .parse()
        .map_err(|_| missing("kind", "must be chosen"))?;
    let file = sent
        .file
        .take()
        .ok_or_else(|| missing("file", "must be chosen"))?;
    if file.bytes == 0 {
        return Err(missing("file", "is empty: it has not a single byte"));
    }
    let round = Some(sent.choices.round.clone()).filter(|round| !round.is_empty());
    let new = NewUpload {
        kind,
        // The form has one list of rounds for all kinds; the register belongs to none.
        round: round.filter(|_| kind.needs_round()),
        file_name: sent.file_name.take(),
        bytes: file.bytes,
        taking: sent.choices.taking(),
    };
    let upload = service.begin_upload(caller, &new, &Once::unkeyed()).await?;
    service.fill_upload(caller, upload.id, file).await?;
    Ok(links::job(upload.id))
}

fn missing(field: &str, detail: &str) -> ServiceError {
    ServiceError::Invalid(vec![crate::service::FieldProblem {
        field: field.into(),
        detail: detail.into(),
    }])
}

/// Reads the form to its end, or to the end of what is taken of its file.
async fn read_form(
    service: &Service,
    form: &mut Multipart,
    sent: &mut Sent,
) -> Result<Result<(), ServiceError>, Refusal> {
    while let Some(field) = form.next_field().await.map_err(broken)? {
        let name = field.name().unwrap_or_default().to_owned();
        if name == "file" {
            let named = field.file_name().filter(|name| !name.is_empty());
            sent.file_name = named.map(str::to_owned);
            match Spooled::receive(field, service.upload_bytes_max()).await {
                // A browser sends a nameless nothing where no file was chosen.
                Ok(file) if file.bytes == 0 && sent.file_name.is_none() => {}
                Ok(file) => sent.file = Some(file),
                Err(refused @ ServiceError::TooLarge { .. }) => return Ok(Err(refused)),
                Err(other) => return Err(other.into()),
            }
            continue;
        }
        let value = text(field, broken).await?.trim().to_owned();
        match name.as_str() {
            "kind" => sent.choices.kind = value,
            "round" => sent.choices.round = value,
            "mapping" => sent.choices.mapping = value,
            "tried" => sent.choices.tried = value,
            _ => {}
        }
    }
    Ok(Ok(()))
}

fn broken(error: MultipartError) -> Refusal {
    ServiceError::BrokenUpload(error.body_text()).into()
}
