//! Uploads that survive breaks: the tus protocol 1.0.0 with creation, expiration, termination
//! and checksum.
//!
//! The protocol is written out here and in `headers`, over `service::uploads`. The libraries
//! at hand (`tus-protocol`, `fileloft`) keep an upload behind storage, state and lock traits
//! that know its id alone: not the caller whose programme the row-level security asks for, not
//! the commit that makes an upload whole and begins its job, and not our problem documents. All
//! of it would have been ours to write behind them, and what is left is these few headers.

mod headers;

use super::Problem;
use super::extract::{PageAccess, PathParts, RepeatKey};
use crate::service::uploads::Part;
use crate::service::{Once, Service};
use axum::body::Body;
use axum::extract::State;
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::{IntoResponse, Response};
use headers::{RESUMABLE, Spoken, VERSION};
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;
use uuid::Uuid;

pub(super) fn routes() -> OpenApiRouter<Service> {
    OpenApiRouter::new()
        .routes(routes!(begin_upload, describe_uploads))
        .routes(routes!(read_upload, continue_upload, give_up_upload))
}

/// What of the protocol is spoken here.
#[utoipa::path(options, path = "/uploads", tag = "uploads",
    security(("token" = ["manager", "monitor", "verifier"])),
    params(("programme" = String, Path, description = "Programme code")), responses(
    (status = 204, description = "Tus-Version, Tus-Extension, Tus-Max-Size and Tus-Checksum-Algorithm"),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = Problem, content_type = "application/problem+json")))]
async fn describe_uploads(_caller: PageAccess, State(service): State<Service>) -> Response {
    let spoken = headers::spoken(service.upload_bytes_max());
    (StatusCode::NO_CONTENT, spoken).into_response()
}

/// Begin an upload that may arrive in parts. Its bytes follow by `PATCH` to the `Location`;
/// the last of them begins a job with the upload's id, which makes a batch of the file.
#[utoipa::path(post, path = "/uploads", tag = "uploads",
    security(("token" = ["manager", "monitor"])),
    params(("programme" = String, Path, description = "Programme code"),
           ("Tus-Resumable" = String, Header, description = "1.0.0"),
           ("Upload-Length" = u64, Header, description = "Bytes of the whole file"),
           ("Upload-Metadata" = String, Header,
            description = "`kind`, `round`, `file_name`, `mapping` and `dry_run` (`true` checks the file and keeps nothing of it), each followed by its value in base64"),
           ("Idempotency-Key" = Option<String>, Header, description = "Makes a repeat harmless")),
    responses(
    (status = 201, description = "Begun; `Location` and `Upload-Expires` say where and until when"),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = Problem, content_type = "application/problem+json"),
    (status = 409, body = Problem, content_type = "application/problem+json",
     description = "the programme's uploads would hold too much"),
    (status = 412, body = Problem, content_type = "application/problem+json"),
    (status = 413, body = Problem, content_type = "application/problem+json"),
    (status = 422, body = Problem, content_type = "application/problem+json")))]
async fn begin_upload(
    State(service): State<Service>,
    PageAccess(caller): PageAccess,
    _spoken: Spoken,
    RepeatKey(key): RepeatKey,
    headers: HeaderMap,
) -> Result<Response, Problem> {
    let new = headers::new_upload(&headers)?;
    let asked = format!("{new:?}");
    let once = Once::new(key, "begin-upload", asked.as_bytes());
    let view = service.begin_upload(&caller, &new, &once).await?;
    let code = &caller.programme_code;
    let location = format!("/api/v1/programmes/{code}/uploads/{}", view.id);
    let about = headers::about(&view, code);
    Ok((StatusCode::CREATED, about, [(header::LOCATION, location)]).into_response())
}

/// How many bytes of an upload are durably here: the place to go on from. Only whoever has
/// the role and the sites of its beginner sees it.
#[utoipa::path(head, path = "/uploads/{upload}", tag = "uploads",
    security(("token" = ["manager", "monitor"])),
    params(("programme" = String, Path, description = "Programme code"),
           ("upload" = Uuid, Path, description = "Upload id"),
           ("Tus-Resumable" = String, Header, description = "1.0.0")), responses(
    (status = 200, description = "Upload-Offset, Upload-Length and Upload-Expires; `Link` to the job once it is whole"),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = Problem, content_type = "application/problem+json"),
    (status = 404, body = Problem, content_type = "application/problem+json"),
    (status = 412, body = Problem, content_type = "application/problem+json")))]
async fn read_upload(
    State(service): State<Service>,
    PageAccess(caller): PageAccess,
    _spoken: Spoken,
    path: PathParts<(String, Uuid)>,
) -> Result<Response, Problem> {
    let PathParts((_, upload)) = path;
    let view = service.upload(&caller, upload).await?;
    let about = headers::about(&view, &caller.programme_code);
    let fresh = [(header::CACHE_CONTROL, "no-store")];
    Ok((about, [headers::length(&view)], fresh).into_response())
}

/// Send the next part of an upload, from its offset on. What arrived before a break is kept,
/// but for a part with a checksum, which is kept whole or not at all.
#[utoipa::path(patch, path = "/uploads/{upload}", tag = "uploads",
    security(("token" = ["manager", "monitor"])),
    params(("programme" = String, Path, description = "Programme code"),
           ("upload" = Uuid, Path, description = "Upload id"),
           ("Tus-Resumable" = String, Header, description = "1.0.0"),
           ("Upload-Offset" = u64, Header, description = "Where the part begins"),
           ("Upload-Checksum" = Option<String>, Header,
            description = "`sha1` or `sha256`, a blank, and the digest of the part in base64")),
    request_body(content = String, content_type = "application/offset+octet-stream",
                 description = "The part's bytes"),
    responses(
    (status = 204, description = "Durably here; `Upload-Offset` says how far, `Link` names the job once it is whole"),
    (status = 400, body = Problem, content_type = "application/problem+json"),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = Problem, content_type = "application/problem+json"),
    (status = 404, body = Problem, content_type = "application/problem+json"),
    (status = 409, body = Problem, content_type = "application/problem+json",
     description = "the part does not begin at the offset"),
    (status = 412, body = Problem, content_type = "application/problem+json"),
    (status = 413, body = Problem, content_type = "application/problem+json"),
    (status = 415, body = Problem, content_type = "application/problem+json"),
    (status = 422, body = Problem, content_type = "application/problem+json"),
    (status = 460, body = Problem, content_type = "application/problem+json",
     description = "the part does not come to its checksum")))]
async fn continue_upload(
    State(service): State<Service>,
    PageAccess(caller): PageAccess,
    _spoken: Spoken,
    path: PathParts<(String, Uuid)>,
    headers: HeaderMap,
    body: Body,
) -> Result<Response, Problem> {
    let PathParts((_, upload)) = path;
    let length = headers.get(header::CONTENT_LENGTH);
    let part = Part {
        offset: headers::offset(&headers)?,
        bytes: length.and_then(|value| value.to_str().ok()?.parse().ok()),
        checksum: headers::checksum(&headers)?,
    };
    let view = service
        .append_upload(&caller, upload, part, body.into_data_stream())
        .await
        .map_err(headers::refusal)?;
    let about = headers::about(&view, &caller.programme_code);
    Ok((StatusCode::NO_CONTENT, about).into_response())
}

/// Give an upload up.
#[utoipa::path(delete, path = "/uploads/{upload}", tag = "uploads",
    security(("token" = ["manager", "monitor"])),
    params(("programme" = String, Path, description = "Programme code"),
           ("upload" = Uuid, Path, description = "Upload id"),
           ("Tus-Resumable" = String, Header, description = "1.0.0")), responses(
    (status = 204, description = "Gone"),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = Problem, content_type = "application/problem+json"),
    (status = 404, body = Problem, content_type = "application/problem+json"),
    (status = 409, body = Problem, content_type = "application/problem+json",
     description = "it is whole: cancel its job instead"),
    (status = 412, body = Problem, content_type = "application/problem+json")))]
async fn give_up_upload(
    State(service): State<Service>,
    PageAccess(caller): PageAccess,
    _spoken: Spoken,
    path: PathParts<(String, Uuid)>,
) -> Result<Response, Problem> {
    let PathParts((_, upload)) = path;
    service.give_up_upload(&caller, upload).await?;
    Ok((StatusCode::NO_CONTENT, [(RESUMABLE, VERSION)]).into_response())
}
