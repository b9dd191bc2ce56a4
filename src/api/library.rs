//! Factors and methodologies.

use super::Problem;
use super::extract::{Access, Json, RepeatKey};
use crate::accounting::factor::Factor;
use crate::accounting::methodology::Methodology;
use crate::service::Service;
use crate::service::library::MethodologyCheck;
use axum::extract::State;
use axum::http::StatusCode;
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

pub(super) fn routes() -> OpenApiRouter<Service> {
    OpenApiRouter::new()
        .routes(routes!(list_factors, add_factor))
        .routes(routes!(list_methodologies, add_methodology))
        .routes(routes!(check_methodology))
}

/// List every version of every factor.
#[utoipa::path(get, path = "/factors", tag = "library",
    security(("token" = ["manager", "monitor", "verifier"])),
    params(("programme" = String, Path, description = "Programme code")), responses(
    (status = 200, body = Vec<Factor>),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = Problem, content_type = "application/problem+json")))]
async fn list_factors(
    State(service): State<Service>,
    Access(caller): Access,
) -> Result<axum::Json<Vec<Factor>>, Problem> {
    Ok(axum::Json(service.factors(&caller).await?))
}

/// Add a factor version; an existing one is never changed. For managers.
#[utoipa::path(post, path = "/factors", tag = "library", security(("token" = ["manager"])),
    params(("programme" = String, Path, description = "Programme code"),
           ("Idempotency-Key" = Option<String>, Header, description = "Makes a repeat harmless")),
    request_body = Factor, responses(
    (status = 201, body = Factor),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = Problem, content_type = "application/problem+json"),
    (status = 409, body = Problem, content_type = "application/problem+json"),
    (status = 422, body = Problem, content_type = "application/problem+json")))]
async fn add_factor(
    State(service): State<Service>,
    Access(caller): Access,
    key: RepeatKey,
    body: Json<Factor>,
) -> Result<(StatusCode, axum::Json<Factor>), Problem> {
    let once = body.once(key, "add-factor");
    let factor = service.add_factor(&caller, &body.value, &once).await?;
    Ok((StatusCode::CREATED, axum::Json(factor)))
}

/// List every version of every methodology.
#[utoipa::path(get, path = "/methodologies", tag = "library",
    security(("token" = ["manager", "monitor", "verifier"])),
    params(("programme" = String, Path, description = "Programme code")), responses(
    (status = 200, body = Vec<Methodology>),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = Problem, content_type = "application/problem+json")))]
async fn list_methodologies(
    State(service): State<Service>,
    Access(caller): Access,
) -> Result<axum::Json<Vec<Methodology>>, Problem> {
    Ok(axum::Json(service.methodologies(&caller).await?))
}

/// Add a methodology version. One that lacks or contradicts something is refused with every
/// shortcoming under `errors`. For managers.
#[utoipa::path(post, path = "/methodologies", tag = "library", security(("token" = ["manager"])),
    params(("programme" = String, Path, description = "Programme code"),
           ("Idempotency-Key" = Option<String>, Header, description = "Makes a repeat harmless")),
    request_body = Methodology, responses(
    (status = 201, body = Methodology),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = Problem, content_type = "application/problem+json"),
    (status = 409, body = Problem, content_type = "application/problem+json"),
    (status = 422, body = Problem, content_type = "application/problem+json")))]
async fn add_methodology(
    State(service): State<Service>,
    Access(caller): Access,
    key: RepeatKey,
    body: Json<Methodology>,
) -> Result<(StatusCode, axum::Json<Methodology>), Problem> {
    let once = body.once(key, "add-methodology");
    let methodology = service.add_methodology(&caller, &body.value, &once).await?;
    Ok((StatusCode::CREATED, axum::Json(methodology)))
}

/// Say what a methodology lacks or contradicts over the programme's factors. Nothing is written.
#[utoipa::path(post, path = "/methodologies/check", tag = "library", security(("token" = ["manager", "verifier"])),
    params(("programme" = String, Path, description = "Programme code")),
    request_body = Methodology, responses(
    (status = 200, body = MethodologyCheck),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = Problem, content_type = "application/problem+json"),
    (status = 422, body = Problem, content_type = "application/problem+json")))]
async fn check_methodology(
    State(service): State<Service>,
    Access(caller): Access,
    body: Json<Methodology>,
) -> Result<axum::Json<MethodologyCheck>, Problem> {
    let check = service.check_methodology(&caller, &body.value).await?;
    Ok(axum::Json(check))
}
