//! The monitoring report of a statement, as PDF and as a workbook, and opinions on it.

use super::Problem;
use super::extract::{Access, Json, PathParts, QueryParts, RepeatKey};
use crate::service::opinions::{NewOpinion, OpinionView};
use crate::service::report::{NamedReport, ReportFormat, ReportRequest};
use crate::service::{Caller, Service, browser};
use axum::extract::State;
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::{IntoResponse, Response};
use serde::Deserialize;
use utoipa::IntoParams;
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;
use uuid::Uuid;

pub(super) fn routes() -> OpenApiRouter<Service> {
    OpenApiRouter::new()
        .routes(routes!(report_as_pdf))
        .routes(routes!(report_as_workbook))
        .routes(routes!(list_opinions, record_opinion))
}

#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
struct ReportQuery {
    /// Size of the trail to read the report at; default: the whole trail.
    position: Option<u64>,
}

/// The monitoring report of a statement as a tagged PDF. The same statement, position, program
/// and address of the service give the same bytes.
#[utoipa::path(get, path = "/statements/{statement}/report.pdf", tag = "statements",
    security(("token" = ["manager", "monitor-of-every-site", "verifier"])),
    params(("programme" = String, Path, description = "Programme code"),
           ("statement" = Uuid, Path, description = "Statement id"), ReportQuery), responses(
    (status = 200, body = Vec<u8>, content_type = "application/pdf"),
    (status = 304, description = "The bytes that `If-None-Match` names are still the same"),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = Problem, content_type = "application/problem+json"),
    (status = 404, body = Problem, content_type = "application/problem+json"),
    (status = 422, body = Problem, content_type = "application/problem+json")))]
async fn report_as_pdf(
    State(service): State<Service>,
    Access(caller): Access,
    path: PathParts<(String, Uuid)>,
    QueryParts(query): QueryParts<ReportQuery>,
    headers: HeaderMap,
) -> Result<Response, Problem> {
    let PathParts((_, statement)) = path;
    let wanted = (statement, query.position, ReportFormat::Pdf);
    report(&service, &caller, wanted, &headers).await
}

/// The monitoring report of a statement as a workbook (XLSX), with every node of its trace.
#[utoipa::path(get, path = "/statements/{statement}/report.xlsx", tag = "statements",
    security(("token" = ["manager", "monitor-of-every-site", "verifier"])),
    params(("programme" = String, Path, description = "Programme code"),
           ("statement" = Uuid, Path, description = "Statement id"), ReportQuery), responses(
    (status = 200, body = Vec<u8>,
     content_type = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"),
    (status = 304, description = "The bytes that `If-None-Match` names are still the same"),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = Problem, content_type = "application/problem+json"),
    (status = 404, body = Problem, content_type = "application/problem+json"),
    (status = 422, body = Problem, content_type = "application/problem+json")))]
async fn report_as_workbook(
    State(service): State<Service>,
    Access(caller): Access,
    path: PathParts<(String, Uuid)>,
    QueryParts(query): QueryParts<ReportQuery>,
    headers: HeaderMap,
) -> Result<Response, Problem> {
    let PathParts((_, statement)) = path;
    let wanted = (statement, query.position, ReportFormat::Workbook);
    report(&service, &caller, wanted, &headers).await
}

async fn report(
    service: &Service,
    caller: &Caller,
    (statement, position, format): (Uuid, Option<u64>, ReportFormat),
    headers: &HeaderMap,
) -> Result<Response, Problem> {
    let text = |name: &str| headers.get(name).and_then(|value| value.to_str().ok());
    let request = ReportRequest {
        statement,
        format,
        position,
        base: browser::address(text("host"), text("x-forwarded-proto")),
    };
    let named = service.name_report(caller, request).await?;
    let tag = named.entity_tag();
    if text("if-none-match").is_some_and(|known| names(known, &tag)) {
        return Ok((StatusCode::NOT_MODIFIED, [(header::ETAG, tag)]).into_response());
    }
    let bytes = service.write_report(caller, &named).await?;
    Ok((download_headers(&named, format, tag), bytes).into_response())
}

fn download_headers(
    named: &NamedReport,
    format: ReportFormat,
    tag: String,
) -> [(header::HeaderName, String); 5] {
    [
        (header::CONTENT_TYPE, format.media_type().to_owned()),
        (header::CONTENT_DISPOSITION, named.disposition()),
        (header::ETAG, tag),
        // Kept by whoever may read it, and asked for again before each use.
        (header::CACHE_CONTROL, "private, no-cache".to_owned()),
        (header::VARY, "authorization, host".to_owned()),
    ]
}

/// Whether a list of entity tags names this one (RFC 9110, section 13.1.2, by the weak comparison).
fn names(list: &str, tag: &str) -> bool {
    let plain = |tag: &str| tag.trim().trim_start_matches("W/").to_owned();
    list.split(',')
        .any(|one| one.trim() == "*" || plain(one) == plain(tag))
}

/// List the opinions of verification bodies that are recorded on a statement, the latest last.
#[utoipa::path(get, path = "/statements/{statement}/opinions", tag = "statements",
    security(("token" = ["manager", "monitor-of-every-site", "verifier"])),
    params(("programme" = String, Path, description = "Programme code"),
           ("statement" = Uuid, Path, description = "Statement id")), responses(
    (status = 200, body = Vec<OpinionView>),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = Problem, content_type = "application/problem+json"),
    (status = 404, body = Problem, content_type = "application/problem+json")))]
async fn list_opinions(
    State(service): State<Service>,
    Access(caller): Access,
    path: PathParts<(String, Uuid)>,
) -> Result<axum::Json<Vec<OpinionView>>, Problem> {
    let PathParts((_, statement)) = path;
    Ok(axum::Json(service.opinions(&caller, statement).await?))
}

/// Record a verification body's signed opinion on a statement. For verifiers. The program keeps
/// the record as an entry of the trail; it checks neither the document nor the accreditation.
#[utoipa::path(post, path = "/statements/{statement}/opinions", tag = "statements",
    security(("token" = ["verifier"])),
    params(("programme" = String, Path, description = "Programme code"),
           ("statement" = Uuid, Path, description = "Statement id"),
           ("Idempotency-Key" = Option<String>, Header, description = "Makes a repeat harmless")),
    request_body = NewOpinion, responses(
    (status = 201, body = OpinionView),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = Problem, content_type = "application/problem+json"),
    (status = 404, body = Problem, content_type = "application/problem+json"),
    (status = 409, body = Problem, content_type = "application/problem+json"),
    (status = 422, body = Problem, content_type = "application/problem+json")))]
async fn record_opinion(
    State(service): State<Service>,
    Access(caller): Access,
    path: PathParts<(String, Uuid)>,
    key: RepeatKey,
    body: Json<NewOpinion>,
) -> Result<(StatusCode, axum::Json<OpinionView>), Problem> {
    let PathParts((_, statement)) = path;
    let once = body.once(key, &format!("record-opinion {statement}"));
    let opinion = service
        .record_opinion(&caller, statement, &body.value, &once)
        .await?;
    Ok((StatusCode::CREATED, axum::Json(opinion)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_tag_is_found_in_a_list_by_the_weak_comparison() {
        assert!(names("W/\"a\", \"b\"", "W/\"b\""));
        assert!(names("*", "W/\"b\""));
        assert!(!names("W/\"a\"", "W/\"b\""));
    }
}
