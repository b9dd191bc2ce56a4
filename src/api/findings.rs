//! Findings: raised, answered, commented, closed and reopened, with what is attached.

use super::Problem;
use super::extract::{Access, Json, PathParts, QueryParts, RepeatKey};
use super::register::page_limit;
use crate::accounting::records::findings::{Act, FindingClass, FindingState, SubjectKind};
use crate::service::findings::{
    ATTACHMENT_BYTES_MAX, AttachmentFile, AttachmentView, FindingDialogue, FindingFilter,
    FindingPage, NewFinding, NewLine, PeriodFindings,
};
use crate::service::{Caller, Once, Service, ServiceError};
use crate::trail::merkle::sha256;
use axum::body::{Body, to_bytes};
use axum::extract::State;
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use serde::Deserialize;
use utoipa::IntoParams;
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

pub(super) fn routes() -> OpenApiRouter<Service> {
    OpenApiRouter::new()
        .routes(routes!(list_findings, open_finding))
        .routes(routes!(read_finding))
        .routes(routes!(answer_finding))
        .routes(routes!(comment_on_finding))
        .routes(routes!(close_finding))
        .routes(routes!(reopen_finding))
        .routes(routes!(read_attachment, keep_attachment))
        .routes(routes!(period_findings))
}

type Answer = Result<axum::Json<FindingDialogue>, Problem>;

#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
struct FindingQuery {
    /// How they stand: `open`, `answered` or `closed`; absent = any way.
    #[param(value_type = Option<FindingState>)]
    state: Option<FindingState>,
    #[param(value_type = Option<FindingClass>)]
    class: Option<FindingClass>,
    #[param(value_type = Option<SubjectKind>)]
    subject_kind: Option<SubjectKind>,
    /// Key of the subject, as it was answered when the finding was raised.
    subject_key: Option<String>,
    /// The `next` of an earlier page.
    after: Option<u64>,
    /// Findings wanted, 1 to 1,000; default 100.
    limit: Option<u32>,
}

/// List findings in the order of their numbers. For managers and verifiers.
#[utoipa::path(get, path = "/findings", tag = "findings",
    security(("token" = ["manager", "verifier"])),
    params(("programme" = String, Path, description = "Programme code"), FindingQuery), responses(
    (status = 200, body = FindingPage),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = Problem, content_type = "application/problem+json"),
    (status = 422, body = Problem, content_type = "application/problem+json")))]
async fn list_findings(
    State(service): State<Service>,
    Access(caller): Access,
    QueryParts(query): QueryParts<FindingQuery>,
) -> Result<axum::Json<FindingPage>, Problem> {
    let limit = page_limit(query.limit)?;
    let filter = FindingFilter {
        states: query.state.map(|state| vec![state]),
        class: query.class,
        subject_kind: query.subject_kind,
        subject_key: query.subject_key,
    };
    let page = service
        .findings(&caller, &filter, query.after, limit)
        .await?;
    Ok(axum::Json(page))
}

/// Raise a finding on a record, a figure or a period. For verifiers.
#[utoipa::path(post, path = "/findings", tag = "findings", security(("token" = ["verifier"])),
    params(("programme" = String, Path, description = "Programme code"),
           ("Idempotency-Key" = Option<String>, Header, description = "Makes a repeat harmless")),
    request_body = NewFinding, responses(
    (status = 201, body = FindingDialogue),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = Problem, content_type = "application/problem+json"),
    (status = 404, description = "the subject is not recorded", body = Problem,
     content_type = "application/problem+json"),
    (status = 409, body = Problem, content_type = "application/problem+json"),
    (status = 422, body = Problem, content_type = "application/problem+json")))]
async fn open_finding(
    State(service): State<Service>,
    Access(caller): Access,
    key: RepeatKey,
    body: Json<NewFinding>,
) -> Result<(StatusCode, axum::Json<FindingDialogue>), Problem> {
    let once = body.once(key, "open-finding");
    let finding = service.open_finding(&caller, &body.value, &once).await?;
    Ok((StatusCode::CREATED, axum::Json(finding)))
}

/// Read a finding with its dialogue. For managers and verifiers.
#[utoipa::path(get, path = "/findings/{finding}", tag = "findings",
    security(("token" = ["manager", "verifier"])),
    params(("programme" = String, Path, description = "Programme code"),
           ("finding" = String, Path, description = "Finding, e.g. F-001")), responses(
    (status = 200, body = FindingDialogue),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = Problem, content_type = "application/problem+json"),
    (status = 404, body = Problem, content_type = "application/problem+json")))]
async fn read_finding(
    State(service): State<Service>,
    Access(caller): Access,
    PathParts(path): PathParts<(String, String)>,
) -> Answer {
    let (_, id) = path;
    Ok(axum::Json(service.finding(&caller, &id).await?))
}

/// Answer a finding, on behalf of the programme. For managers.
#[utoipa::path(post, path = "/findings/{finding}/answer", tag = "findings",
    security(("token" = ["manager"])),
    params(("programme" = String, Path, description = "Programme code"),
           ("finding" = String, Path, description = "Finding, e.g. F-001"),
           ("Idempotency-Key" = Option<String>, Header, description = "Makes a repeat harmless")),
    request_body = NewLine, responses(
    (status = 200, body = FindingDialogue),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = Problem, content_type = "application/problem+json"),
    (status = 404, body = Problem, content_type = "application/problem+json"),
    (status = 409, description = "it is closed", body = Problem,
     content_type = "application/problem+json"),
    (status = 422, body = Problem, content_type = "application/problem+json")))]
async fn answer_finding(
    State(service): State<Service>,
    Access(caller): Access,
    PathParts(path): PathParts<(String, String)>,
    key: RepeatKey,
    body: Json<NewLine>,
) -> Answer {
    let act = (Act::Answered, "answer-finding");
    act_on(&service, &caller, act, path, body, key).await
}

/// Comment on a finding that is not closed. For managers and verifiers.
#[utoipa::path(post, path = "/findings/{finding}/comment", tag = "findings",
    security(("token" = ["manager", "verifier"])),
    params(("programme" = String, Path, description = "Programme code"),
           ("finding" = String, Path, description = "Finding, e.g. F-001"),
           ("Idempotency-Key" = Option<String>, Header, description = "Makes a repeat harmless")),
    request_body = NewLine, responses(
    (status = 200, body = FindingDialogue),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = Problem, content_type = "application/problem+json"),
    (status = 404, body = Problem, content_type = "application/problem+json"),
    (status = 409, description = "it is closed", body = Problem,
     content_type = "application/problem+json"),
    (status = 422, body = Problem, content_type = "application/problem+json")))]
async fn comment_on_finding(
    State(service): State<Service>,
    Access(caller): Access,
    PathParts(path): PathParts<(String, String)>,
    key: RepeatKey,
    body: Json<NewLine>,
) -> Answer {
    let act = (Act::Commented, "comment-on-finding");
    act_on(&service, &caller, act, path, body, key).await
}

/// Close a finding; the text is its resolution. For verifiers.
#[utoipa::path(post, path = "/findings/{finding}/close", tag = "findings",
    security(("token" = ["verifier"])),
    params(("programme" = String, Path, description = "Programme code"),
           ("finding" = String, Path, description = "Finding, e.g. F-001"),
           ("Idempotency-Key" = Option<String>, Header, description = "Makes a repeat harmless")),
    request_body = NewLine, responses(
    (status = 200, body = FindingDialogue),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = Problem, content_type = "application/problem+json"),
    (status = 404, body = Problem, content_type = "application/problem+json"),
    (status = 409, description = "it is closed already", body = Problem,
     content_type = "application/problem+json"),
    (status = 422, body = Problem, content_type = "application/problem+json")))]
async fn close_finding(
    State(service): State<Service>,
    Access(caller): Access,
    PathParts(path): PathParts<(String, String)>,
    key: RepeatKey,
    body: Json<NewLine>,
) -> Answer {
    let act = (Act::Closed, "close-finding");
    act_on(&service, &caller, act, path, body, key).await
}

/// Reopen a closed finding; the text is the reason. For verifiers.
#[utoipa::path(post, path = "/findings/{finding}/reopen", tag = "findings",
    security(("token" = ["verifier"])),
    params(("programme" = String, Path, description = "Programme code"),
           ("finding" = String, Path, description = "Finding, e.g. F-001"),
           ("Idempotency-Key" = Option<String>, Header, description = "Makes a repeat harmless")),
    request_body = NewLine, responses(
    (status = 200, body = FindingDialogue),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = Problem, content_type = "application/problem+json"),
    (status = 404, body = Problem, content_type = "application/problem+json"),
    (status = 409, description = "it is not closed", body = Problem,
     content_type = "application/problem+json"),
    (status = 422, body = Problem, content_type = "application/problem+json")))]
async fn reopen_finding(
    State(service): State<Service>,
    Access(caller): Access,
    PathParts(path): PathParts<(String, String)>,
    key: RepeatKey,
    body: Json<NewLine>,
) -> Answer {
    let act = (Act::Reopened, "reopen-finding");
    act_on(&service, &caller, act, path, body, key).await
}

/// One line of the dialogue; `word` is the act's in the key of a repeat.
async fn act_on(
    service: &Service,
    caller: &Caller,
    (act, word): (Act, &str),
    (_, id): (String, String),
    body: Json<NewLine>,
    key: RepeatKey,
) -> Answer {
    let once = body.once(key, &format!("{word} {id}"));
    let told = service.act_on_finding(caller, &id, act, &body.value, &once);
    Ok(axum::Json(told.await?))
}

/// Fetch the bytes of an attachment, as a download. For managers and verifiers.
#[utoipa::path(get, path = "/findings/{finding}/attachments/{sha256}", tag = "findings",
    security(("token" = ["manager", "verifier"])),
    params(("programme" = String, Path, description = "Programme code"),
           ("finding" = String, Path, description = "Finding, e.g. F-001"),
           ("sha256" = String, Path, description = "SHA-256 that the finding names")), responses(
    (status = 200, body = Vec<u8>, content_type = "application/octet-stream"),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = Problem, content_type = "application/problem+json"),
    (status = 404, description = "no such file is named, or nobody has sent its bytes",
     body = Problem, content_type = "application/problem+json")))]
async fn read_attachment(
    State(service): State<Service>,
    Access(caller): Access,
    PathParts(path): PathParts<(String, String, String)>,
) -> Result<Response, Problem> {
    let (_, id, hash) = path;
    let file = service.attachment(&caller, &id, &hash).await?;
    let headers = [
        (header::CONTENT_TYPE, AttachmentFile::MEDIA_TYPE.to_owned()),
        (header::CONTENT_DISPOSITION, file.disposition()),
        (
            header::CONTENT_SECURITY_POLICY,
            "default-src 'none'; sandbox".to_owned(),
        ),
        (header::CACHE_CONTROL, "no-store".to_owned()),
    ];
    Ok((headers, file.bytes).into_response())
}

/// Send the bytes of a file that the finding names: at most 8 MiB, refused where they do not
/// hash to the name. A larger file stays named by its hash alone. For managers and verifiers.
#[utoipa::path(post, path = "/findings/{finding}/attachments/{sha256}", tag = "findings",
    security(("token" = ["manager", "verifier"])),
    params(("programme" = String, Path, description = "Programme code"),
           ("finding" = String, Path, description = "Finding, e.g. F-001"),
           ("sha256" = String, Path, description = "SHA-256 that the finding names"),
           ("Idempotency-Key" = Option<String>, Header, description = "Makes a repeat harmless")),
    request_body(content = Vec<u8>, content_type = "application/octet-stream",
                 description = "The file's bytes"),
    responses(
    (status = 200, body = AttachmentView),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = Problem, content_type = "application/problem+json"),
    (status = 404, description = "the finding names no such file", body = Problem,
     content_type = "application/problem+json"),
    (status = 413, body = Problem, content_type = "application/problem+json"),
    (status = 422, description = "these are not the bytes that the hash and the size say",
     body = Problem, content_type = "application/problem+json")))]
async fn keep_attachment(
    State(service): State<Service>,
    Access(caller): Access,
    PathParts(path): PathParts<(String, String, String)>,
    RepeatKey(key): RepeatKey,
    body: Body,
) -> Result<axum::Json<AttachmentView>, Problem> {
    let (_, id, hash) = path;
    let limit = usize::try_from(ATTACHMENT_BYTES_MAX).unwrap_or(usize::MAX);
    let bytes = to_bytes(body, limit)
        .await
        .map_err(|_| ServiceError::TooLarge {
            limit_bytes: ATTACHMENT_BYTES_MAX,
        })?;
    let operation = format!("keep-attachment {id} {hash}");
    let once = Once::new(key, operation, &sha256(&bytes).0);
    let kept = service
        .keep_attachment(&caller, &id, &hash, &bytes, &once)
        .await?;
    Ok(axum::Json(kept))
}

/// The findings that matter for a period: those that keep it from being closed, and the
/// forward action requests that its verification is to look at. For managers and verifiers.
#[utoipa::path(get, path = "/periods/{period}/findings", tag = "findings",
    security(("token" = ["manager", "verifier"])),
    params(("programme" = String, Path, description = "Programme code"),
           ("period" = String, Path, description = "Period code")), responses(
    (status = 200, body = PeriodFindings),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = Problem, content_type = "application/problem+json"),
    (status = 404, body = Problem, content_type = "application/problem+json")))]
async fn period_findings(
    State(service): State<Service>,
    Access(caller): Access,
    PathParts(path): PathParts<(String, String)>,
) -> Result<axum::Json<PeriodFindings>, Problem> {
    let (_, period) = path;
    Ok(axum::Json(service.period_findings(&caller, &period).await?))
}
