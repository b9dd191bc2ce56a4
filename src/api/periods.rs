//! Monitoring periods.

use super::Problem;
use super::extract::{Access, Json, PathParts, RepeatKey};
use crate::service::periods::{NewPeriod, PeriodView};
use crate::service::{Once, Service};
use axum::extract::State;
use axum::http::StatusCode;
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

pub(super) fn routes() -> OpenApiRouter<Service> {
    OpenApiRouter::new()
        .routes(routes!(list_periods, open_period))
        .routes(routes!(close_period))
}

/// List monitoring periods.
#[utoipa::path(get, path = "/periods", tag = "statements",
    security(("token" = ["manager", "monitor", "verifier"])),
    params(("programme" = String, Path, description = "Programme code")), responses(
    (status = 200, body = Vec<PeriodView>),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = Problem, content_type = "application/problem+json")))]
async fn list_periods(
    State(service): State<Service>,
    Access(caller): Access,
) -> Result<axum::Json<Vec<PeriodView>>, Problem> {
    Ok(axum::Json(service.periods(&caller).await?))
}

/// Open a monitoring period; it may share no day with another. For managers.
#[utoipa::path(post, path = "/periods", tag = "statements", security(("token" = ["manager"])),
    params(("programme" = String, Path, description = "Programme code"),
           ("Idempotency-Key" = Option<String>, Header, description = "Makes a repeat harmless")),
    request_body = NewPeriod, responses(
    (status = 201, body = PeriodView),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = Problem, content_type = "application/problem+json"),
    (status = 409, body = Problem, content_type = "application/problem+json"),
    (status = 422, body = Problem, content_type = "application/problem+json")))]
async fn open_period(
    State(service): State<Service>,
    Access(caller): Access,
    key: RepeatKey,
    body: Json<NewPeriod>,
) -> Result<(StatusCode, axum::Json<PeriodView>), Problem> {
    let once = body.once(key, "open-period");
    let period = service.open_period(&caller, &body.value, &once).await?;
    Ok((StatusCode::CREATED, axum::Json(period)))
}

/// Close a monitoring period: later evidence goes into a restatement. A period on which a
/// corrective action request is open cannot be closed. For managers.
#[utoipa::path(post, path = "/periods/{period}/close", tag = "statements",
    security(("token" = ["manager"])),
    params(("programme" = String, Path, description = "Programme code"),
           ("period" = String, Path, description = "Period code"),
           ("Idempotency-Key" = Option<String>, Header, description = "Makes a repeat harmless")),
    responses(
    (status = 200, body = PeriodView),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = Problem, content_type = "application/problem+json"),
    (status = 404, body = Problem, content_type = "application/problem+json"),
    (status = 409, body = Problem, content_type = "application/problem+json",
     description = "closed already, or held open by corrective action requests, which are named")))]
async fn close_period(
    State(service): State<Service>,
    Access(caller): Access,
    path: PathParts<(String, String)>,
    key: RepeatKey,
) -> Result<axum::Json<PeriodView>, Problem> {
    let PathParts((_, period)) = path;
    let once = Once::new(key.0, "close-period", period.as_bytes());
    Ok(axum::Json(
        service.close_period(&caller, &period, &once).await?,
    ))
}
