//! Rounds whose sample the program draws: plan, frame, seed, draw, list for the field, close.

use super::Problem;
use super::extract::{Access, Json, PathParts, QueryParts, RepeatKey};
use super::register::page_limit;
use super::templates::{accepted, download};
use crate::accounting::rounds::plan::Sizes;
use crate::accounting::rounds::records::{CloseRecord, FrameRecord, SeedRecord};
use crate::intake::FileFormat;
use crate::service::drawn_rounds::{PlanRequest, RoundDetail, SeedRequest, UnitsWanted};
use crate::service::{Caller, Once, Service};
use axum::extract::State;
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::{IntoResponse, Response};
use serde::Deserialize;
use utoipa::IntoParams;
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

pub(super) fn routes() -> OpenApiRouter<Service> {
    OpenApiRouter::new()
        .routes(routes!(work_out_plan))
        .routes(routes!(read_round))
        .routes(routes!(read_frame, take_frame))
        .routes(routes!(fix_seed))
        .routes(routes!(read_field_list))
        .routes(routes!(read_field_workbook))
        .routes(routes!(close_round))
}

/// Work out how many units a plan needs, step by step. Nothing is written. For managers.
#[utoipa::path(post, path = "/rounds/plan", tag = "evidence", security(("token" = ["manager"])),
    params(("programme" = String, Path, description = "Programme code")),
    request_body = PlanRequest, responses(
    (status = 200, body = Sizes),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = Problem, content_type = "application/problem+json"),
    (status = 422, body = Problem, content_type = "application/problem+json")))]
async fn work_out_plan(
    State(service): State<Service>,
    Access(caller): Access,
    body: Json<PlanRequest>,
) -> Result<axum::Json<Sizes>, Problem> {
    Ok(axum::Json(
        service.work_out_plan(&caller, &body.value).await?,
    ))
}

#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
struct UnitsQuery {
    /// The `next` of an earlier page of drawn units.
    after: Option<u64>,
    /// Drawn units wanted, 1 to 1,000; default 100.
    limit: Option<u32>,
}

/// Read a round: plan, frame, seed, draw, progress, close, and a page of its drawn units.
#[utoipa::path(get, path = "/rounds/{round}", tag = "evidence",
    security(("token" = ["manager", "monitor", "verifier"])),
    params(("programme" = String, Path, description = "Programme code"),
           ("round" = String, Path, description = "Round code"), UnitsQuery), responses(
    (status = 200, body = RoundDetail),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = Problem, content_type = "application/problem+json"),
    (status = 404, body = Problem, content_type = "application/problem+json"),
    (status = 422, body = Problem, content_type = "application/problem+json")))]
async fn read_round(
    State(service): State<Service>,
    Access(caller): Access,
    path: PathParts<(String, String)>,
    QueryParts(query): QueryParts<UnitsQuery>,
) -> Result<axum::Json<RoundDetail>, Problem> {
    let PathParts((_, round)) = path;
    let wanted = UnitsWanted {
        after: query.after.unwrap_or(0),
        limit: page_limit(query.limit)?,
    };
    Ok(axum::Json(service.round(&caller, &round, wanted).await?))
}

/// Read the ids of a frame, one a line in the order of their bytes: `sha256sum` of it is the
/// frame's hash.
#[utoipa::path(get, path = "/rounds/{round}/frame", tag = "evidence",
    security(("token" = ["manager", "monitor-of-every-site", "verifier"])),
    params(("programme" = String, Path, description = "Programme code"),
           ("round" = String, Path, description = "Round code")), responses(
    (status = 200, body = String, content_type = "text/plain"),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = Problem, content_type = "application/problem+json"),
    (status = 404, body = Problem, content_type = "application/problem+json")))]
async fn read_frame(
    State(service): State<Service>,
    Access(caller): Access,
    path: PathParts<(String, String)>,
) -> Result<Response, Problem> {
    let PathParts((_, round)) = path;
    let lines = service.frame_lines(&caller, &round).await?;
    Ok(([(header::CONTENT_TYPE, "text/plain; charset=utf-8")], lines).into_response())
}

/// Take the frame of a planned round from the register. Its hash and the numbers to draw go
/// into the trail. For managers.
#[utoipa::path(post, path = "/rounds/{round}/frame", tag = "evidence",
    security(("token" = ["manager"])),
    params(("programme" = String, Path, description = "Programme code"),
           ("round" = String, Path, description = "Round code"),
           ("Idempotency-Key" = Option<String>, Header, description = "Makes a repeat harmless")),
    responses(
    (status = 201, body = FrameRecord),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = Problem, content_type = "application/problem+json"),
    (status = 404, body = Problem, content_type = "application/problem+json"),
    (status = 409, body = Problem, content_type = "application/problem+json"),
    (status = 422, body = Problem, content_type = "application/problem+json")))]
async fn take_frame(
    State(service): State<Service>,
    Access(caller): Access,
    path: PathParts<(String, String)>,
    key: RepeatKey,
) -> Result<(StatusCode, axum::Json<FrameRecord>), Problem> {
    let PathParts((_, round)) = path;
    let once = Once::new(key.0, "take-frame", round.as_bytes());
    let frame = service.take_frame(&caller, &round, &once).await?;
    Ok((StatusCode::CREATED, axum::Json(frame)))
}

/// Fix the seed from the trail's root after the frame and a public value, and draw by it. For
/// managers.
#[utoipa::path(post, path = "/rounds/{round}/seed", tag = "evidence",
    security(("token" = ["manager"])),
    params(("programme" = String, Path, description = "Programme code"),
           ("round" = String, Path, description = "Round code"),
           ("Idempotency-Key" = Option<String>, Header, description = "Makes a repeat harmless")),
    request_body = SeedRequest, responses(
    (status = 201, body = SeedRecord),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = Problem, content_type = "application/problem+json"),
    (status = 404, body = Problem, content_type = "application/problem+json"),
    (status = 409, body = Problem, content_type = "application/problem+json"),
    (status = 422, body = Problem, content_type = "application/problem+json")))]
async fn fix_seed(
    State(service): State<Service>,
    Access(caller): Access,
    path: PathParts<(String, String)>,
    key: RepeatKey,
    body: Json<SeedRequest>,
) -> Result<(StatusCode, axum::Json<SeedRecord>), Problem> {
    let PathParts((_, round)) = path;
    let once = body.once(key, &format!("fix-seed {round}"));
    let seed = service
        .fix_seed(&caller, &round, &body.value, &once)
        .await?;
    Ok((StatusCode::CREATED, axum::Json(seed)))
}

/// Read the list for the field: the sample, then the reserve in its order. `Accept` of a
/// workbook's type gives a workbook instead of CSV.
#[utoipa::path(get, path = "/rounds/{round}/field-list", tag = "evidence",
    security(("token" = ["manager", "monitor", "verifier"])),
    params(("programme" = String, Path, description = "Programme code"),
           ("round" = String, Path, description = "Round code")), responses(
    (status = 200, description = "The list", content(
        (String = "text/csv"),
        (Vec<u8> = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"))),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = Problem, content_type = "application/problem+json"),
    (status = 404, body = Problem, content_type = "application/problem+json")))]
async fn read_field_list(
    State(service): State<Service>,
    Access(caller): Access,
    path: PathParts<(String, String)>,
    headers: HeaderMap,
) -> Result<Response, Problem> {
    let PathParts((_, round)) = path;
    field_list(&service, &caller, &round, accepted(&headers)).await
}

/// Read the list for the field as a workbook: codes as text, the header frozen.
#[utoipa::path(get, path = "/rounds/{round}/field-list.xlsx", tag = "evidence",
    security(("token" = ["manager", "monitor", "verifier"])),
    params(("programme" = String, Path, description = "Programme code"),
           ("round" = String, Path, description = "Round code")), responses(
    (status = 200, description = "The list", body = Vec<u8>,
     content_type = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = Problem, content_type = "application/problem+json"),
    (status = 404, body = Problem, content_type = "application/problem+json")))]
async fn read_field_workbook(
    State(service): State<Service>,
    Access(caller): Access,
    path: PathParts<(String, String)>,
) -> Result<Response, Problem> {
    let PathParts((_, round)) = path;
    field_list(&service, &caller, &round, FileFormat::Workbook).await
}

async fn field_list(
    service: &Service,
    caller: &Caller,
    round: &str,
    format: FileFormat,
) -> Result<Response, Problem> {
    let bytes = service.list_rows(caller, round).await?.file(format)?;
    let name = format!("{round}-field-list.{}", format.ending());
    Ok(download(format.media_type().to_owned(), &name, bytes))
}

/// Close a round: the precision that was achieved is recorded, and no further batch is taken
/// into it. For managers.
#[utoipa::path(post, path = "/rounds/{round}/close", tag = "evidence",
    security(("token" = ["manager"])),
    params(("programme" = String, Path, description = "Programme code"),
           ("round" = String, Path, description = "Round code"),
           ("Idempotency-Key" = Option<String>, Header, description = "Makes a repeat harmless")),
    responses(
    (status = 200, body = CloseRecord),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = Problem, content_type = "application/problem+json"),
    (status = 404, body = Problem, content_type = "application/problem+json"),
    (status = 409, body = Problem, content_type = "application/problem+json")))]
async fn close_round(
    State(service): State<Service>,
    Access(caller): Access,
    path: PathParts<(String, String)>,
    key: RepeatKey,
) -> Result<axum::Json<CloseRecord>, Problem> {
    let PathParts((_, round)) = path;
    let once = Once::new(key.0, "close-round", round.as_bytes());
    Ok(axum::Json(
        service.close_round(&caller, &round, &once).await?,
    ))
}
