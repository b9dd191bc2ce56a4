//! The body of a submission: one part with the XML, and no attachments.

use super::BODY_BYTES_MAX;
use super::answers::FormRefusal;
use crate::api::Problem;
use crate::service::ServiceError;
use axum::body::Bytes;
use axum::extract::multipart::{Multipart, MultipartError, MultipartRejection};
use axum::extract::{FromRequest, Request};
use axum::http::StatusCode;

const XML_PART: &str = "xml_submission_file";

/// Says that more parts follow in another request. None of these forms has any.
const MORE_TO_COME: &str = "*isIncomplete*";

/// The exact bytes of the filled-in form.
pub(super) async fn filled_in_form(request: Request) -> Result<Bytes, FormRefusal> {
    let mut parts =
        Multipart::from_request(request, &())
            .await
            .map_err(|error: MultipartRejection| {
                Problem::unsupported(format!(
                    "send the filled-in form as multipart/form-data: {}",
                    error.body_text()
                ))
            })?;
    let mut xml = None;
    while let Some(part) = parts.next_field().await.map_err(broken)? {
        let name = part.name().unwrap_or_default().to_owned();
        match name.as_str() {
            XML_PART if xml.is_none() => xml = Some(part.bytes().await.map_err(broken)?),
            XML_PART => return Err(one_form_alone().into()),
            MORE_TO_COME => {}
            _ => return Err(no_attachments().into()),
        }
    }
    xml.ok_or_else(|| {
        Problem::field(XML_PART, "the part with the filled-in form is missing").into()
    })
}

fn broken(error: MultipartError) -> FormRefusal {
    let problem: Problem = match error.status() {
        StatusCode::PAYLOAD_TOO_LARGE => ServiceError::TooLarge {
            limit_bytes: BODY_BYTES_MAX as u64,
        }
        .into(),
        _ => Problem::unreadable(error.body_text()),
    };
    problem.into()
}

fn one_form_alone() -> Problem {
    Problem::field(
        XML_PART,
        "is there twice; send one filled-in form at a time",
    )
}

fn no_attachments() -> Problem {
    Problem::field(
        "attachment",
        "pictures, sound and other files are not taken: they may show people and homes; \
         nothing of this form was kept, send it without them",
    )
}
