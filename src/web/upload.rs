//! The form that sends a file without any script: taken in one piece, then the same upload
//! and the same job as one that arrives in parts.

use super::form_field::text;
use super::refusal::Refusal;
use super::rows_table::kind_title;
use super::session::Visitor;
use super::{assets, links};
use crate::intake::BatchKind;
use crate::service::upload::Spooled;
use crate::service::uploads::NewUpload;
use crate::service::{Caller, Once, Role, Service, ServiceError};
use axum::extract::multipart::{Field, MultipartError};
use axum::extract::{DefaultBodyLimit, Multipart, State};
use axum::response::{IntoResponse, Redirect, Response};

/// What the form offers.
pub(super) struct UploadForm {
    pub address: String,
    pub script: String,
    pub kinds: Vec<KindChoice>,
    pub rounds: Vec<String>,
}

pub(super) struct KindChoice {
    pub code: &'static str,
    pub title: String,
}

impl UploadForm {
    /// None for whoever may not send files.
    pub async fn of(service: &Service, caller: &Caller) -> Result<Option<Self>, ServiceError> {
        if caller.read_only || caller.role == Role::Verifier {
            return Ok(None);
        }
        let rounds = service.rounds(caller).await?;
        Ok(Some(UploadForm {
            address: format!("/api/v1/programmes/{}/uploads", caller.programme_code),
            script: assets::script_path(),
            kinds: BatchKind::ALL
                .iter()
                .map(|kind| KindChoice {
                    code: kind.code(),
                    title: kind_title(kind.code()),
                })
                .collect(),
            rounds: rounds.into_iter().map(|view| view.round.code).collect(),
        }))
    }
}

/// The file's size is held by the service, piece by piece; the frame of the form is small.
pub(super) fn limit() -> DefaultBodyLimit {
    DefaultBodyLimit::disable()
}

pub(super) async fn send(
    State(service): State<Service>,
    Visitor(caller): Visitor,
    mut form: Multipart,
) -> Result<Response, Refusal> {
    let (mut kind, mut round) = (String::new(), String::new());
    while let Some(field) = form.next_field().await.map_err(broken)? {
        match field.name() {
            Some("kind") => kind = text(field, broken).await?,
            Some("round") => round = text(field, broken).await?,
            Some("file") => {
                let kind = kind
                    .parse::<BatchKind>()
                    .map_err(|_| Refusal::unreadable("The form names no kind of batch."))?;
                let file_name = field.file_name().map(str::to_owned);
                let round = (!round.is_empty()).then_some(round);
                return take(&service, &caller, (kind, round, file_name), field).await;
            }
            _ => {}
        }
    }
    Err(Refusal::unreadable("The form came without a file."))
}

/// The whole file first, for an upload says at its beginning how long it is.
async fn take(
    service: &Service,
    caller: &Caller,
    (kind, round, file_name): (BatchKind, Option<String>, Option<String>),
    field: Field<'_>,
) -> Result<Response, Refusal> {
    let file = Spooled::receive(field, service.upload_bytes_max()).await?;
    let new = NewUpload {
        kind,
        round,
        file_name,
        bytes: file.bytes,
    };
    let upload = service.begin_upload(caller, &new, &Once::unkeyed()).await?;
    service.fill_upload(caller, upload.id, file).await?;
    Ok(Redirect::to(&links::job(upload.id)).into_response())
}

fn broken(error: MultipartError) -> Refusal {
    ServiceError::BrokenUpload(error.body_text()).into()
}
