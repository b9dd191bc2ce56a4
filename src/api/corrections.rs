//! Corrections of rows and batches: nothing is changed, each is an entry of the trail.

use super::Problem;
use super::extract::{Access, Json, PathParts, QueryParts, RepeatKey};
use super::register::page_limit;
use crate::service::Service;
use crate::service::corrections::{CorrectionView, NewCells, Reason};
use crate::service::evidence::Page;
use axum::extract::State;
use axum::http::StatusCode;
use serde::Deserialize;
use utoipa::IntoParams;
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;
use uuid::Uuid;

pub(super) fn routes() -> OpenApiRouter<Service> {
    OpenApiRouter::new()
        .routes(routes!(supersede_row))
        .routes(routes!(exclude_row))
        .routes(routes!(withdraw_batch))
        .routes(routes!(list_corrections))
}

type Corrected = Result<(StatusCode, axum::Json<CorrectionView>), Problem>;

/// Put a row with new cells in place of one: a batch of one row of the same kind and round.
/// The old row is kept and counts up to here. For managers.
#[utoipa::path(post, path = "/batches/{batch}/rows/{line}/supersede", tag = "evidence",
    security(("token" = ["manager"])),
    params(("programme" = String, Path, description = "Programme code"),
           ("batch" = Uuid, Path, description = "Batch id"),
           ("line" = u64, Path, description = "Line of the row in its batch"),
           ("Idempotency-Key" = Option<String>, Header, description = "Makes a repeat harmless")),
    request_body = NewCells, responses(
    (status = 201, body = CorrectionView),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = Problem, content_type = "application/problem+json"),
    (status = 404, body = Problem, content_type = "application/problem+json"),
    (status = 409, body = Problem, content_type = "application/problem+json",
     description = "superseded or withdrawn already, the same values, or other rows refer to what would be gone"),
    (status = 422, body = Problem, content_type = "application/problem+json")))]
async fn supersede_row(
    State(service): State<Service>,
    Access(caller): Access,
    path: PathParts<(String, Uuid, u64)>,
    key: RepeatKey,
    body: Json<NewCells>,
) -> Corrected {
    let PathParts((_, batch, line)) = path;
    let once = body.once(key, &format!("supersede-row {batch}/{line}"));
    let place = (batch, line);
    let done = service
        .supersede_row(&caller, place, &body.value, &once)
        .await?;
    Ok((StatusCode::CREATED, axum::Json(done)))
}

/// Leave a row of evidence (an outlier, a feast day, a drop-out) in the record and out of the
/// statements. For managers.
#[utoipa::path(post, path = "/batches/{batch}/rows/{line}/exclude", tag = "evidence",
    security(("token" = ["manager"])),
    params(("programme" = String, Path, description = "Programme code"),
           ("batch" = Uuid, Path, description = "Batch id"),
           ("line" = u64, Path, description = "Line of the row in its batch"),
           ("Idempotency-Key" = Option<String>, Header, description = "Makes a repeat harmless")),
    request_body = Reason, responses(
    (status = 201, body = CorrectionView),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = Problem, content_type = "application/problem+json"),
    (status = 404, body = Problem, content_type = "application/problem+json"),
    (status = 409, body = Problem, content_type = "application/problem+json",
     description = "excluded, superseded or withdrawn already, or a row of the register"),
    (status = 422, body = Problem, content_type = "application/problem+json")))]
async fn exclude_row(
    State(service): State<Service>,
    Access(caller): Access,
    path: PathParts<(String, Uuid, u64)>,
    key: RepeatKey,
    body: Json<Reason>,
) -> Corrected {
    let PathParts((_, batch, line)) = path;
    let once = body.once(key, &format!("exclude-row {batch}/{line}"));
    let place = (batch, line);
    let done = service
        .exclude_row(&caller, place, &body.value, &once)
        .await?;
    Ok((StatusCode::CREATED, axum::Json(done)))
}

/// Withdraw a batch with all its rows; they are kept, and others may come in their place. For
/// managers.
#[utoipa::path(post, path = "/batches/{batch}/withdraw", tag = "evidence",
    security(("token" = ["manager"])),
    params(("programme" = String, Path, description = "Programme code"),
           ("batch" = Uuid, Path, description = "Batch id"),
           ("Idempotency-Key" = Option<String>, Header, description = "Makes a repeat harmless")),
    request_body = Reason, responses(
    (status = 201, body = CorrectionView),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = Problem, content_type = "application/problem+json"),
    (status = 404, body = Problem, content_type = "application/problem+json"),
    (status = 409, body = Problem, content_type = "application/problem+json",
     description = "withdrawn already, or other rows refer to its rows or stand in their place"),
    (status = 422, body = Problem, content_type = "application/problem+json")))]
async fn withdraw_batch(
    State(service): State<Service>,
    Access(caller): Access,
    path: PathParts<(String, Uuid)>,
    key: RepeatKey,
    body: Json<Reason>,
) -> Corrected {
    let PathParts((_, batch)) = path;
    let once = body.once(key, &format!("withdraw-batch {batch}"));
    let done = service
        .withdraw_batch(&caller, batch, &body.value, &once)
        .await?;
    Ok((StatusCode::CREATED, axum::Json(done)))
}

#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
struct CorrectionsQuery {
    /// `next` of the earlier page.
    after: Option<u64>,
    /// Corrections wanted, 1 to 1,000; default 100.
    limit: Option<u32>,
    /// Trail position to read at; default: now.
    as_of: Option<u64>,
}

/// A page of corrections, the latest first.
#[utoipa::path(get, path = "/corrections", tag = "evidence",
    security(("token" = ["manager", "monitor-of-every-site", "verifier"])),
    params(("programme" = String, Path, description = "Programme code"), CorrectionsQuery),
    responses(
    (status = 200, body = Page<CorrectionView>),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = Problem, content_type = "application/problem+json"),
    (status = 422, body = Problem, content_type = "application/problem+json")))]
async fn list_corrections(
    State(service): State<Service>,
    Access(caller): Access,
    QueryParts(query): QueryParts<CorrectionsQuery>,
) -> Result<axum::Json<Page<CorrectionView>>, Problem> {
    let limit = page_limit(query.limit)?;
    let page = service
        .corrections(&caller, query.as_of, query.after, limit)
        .await?;
    Ok(axum::Json(page))
}
