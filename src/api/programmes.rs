//! Programmes: created by an operator, read by their own.

use super::Problem;
use super::extract::{Access, Json, Operator};
use crate::service::Service;
use crate::service::programmes::{CreatedProgramme, NewProgramme, ProgrammeView};
use axum::extract::State;
use axum::http::StatusCode;
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

pub(super) fn root_routes() -> OpenApiRouter<Service> {
    OpenApiRouter::new().routes(routes!(create_programme))
}

pub(super) fn routes() -> OpenApiRouter<Service> {
    OpenApiRouter::new().routes(routes!(read_programme))
}

/// Create a programme with an operator token. Its first manager token is shown here, once.
#[utoipa::path(post, path = "/api/v1/programmes", tag = "programmes",
    security(("token" = ["operator"])),
    request_body = NewProgramme, responses(
    (status = 201, body = CreatedProgramme),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = Problem, content_type = "application/problem+json"),
    (status = 409, description = "the code is taken", body = Problem,
     content_type = "application/problem+json"),
    (status = 422, body = Problem, content_type = "application/problem+json")))]
async fn create_programme(
    State(service): State<Service>,
    Operator(token): Operator,
    body: Json<NewProgramme>,
) -> Result<(StatusCode, axum::Json<CreatedProgramme>), Problem> {
    let created = service.create_programme(&token, &body.value).await?;
    Ok((StatusCode::CREATED, axum::Json(created)))
}

/// Read the programme.
#[utoipa::path(get, path = "", tag = "programmes",
    security(("token" = ["manager", "monitor", "verifier"])),
    params(("programme" = String, Path, description = "Programme code")), responses(
    (status = 200, body = ProgrammeView),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = Problem, content_type = "application/problem+json")))]
async fn read_programme(
    State(service): State<Service>,
    Access(caller): Access,
) -> Result<axum::Json<ProgrammeView>, Problem> {
    Ok(axum::Json(service.programme(&caller).await?))
}
