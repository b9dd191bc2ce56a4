//! Programmes and their tokens.

use super::Problem;
use super::extract::{Access, Json, Operator, RepeatKey};
use crate::service::access::{NewToken, TokenView};
use crate::service::programmes::{CreatedProgramme, NewProgramme, ProgrammeView};
use crate::service::{Role, Service};
use axum::extract::State;
use axum::http::StatusCode;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

pub(super) fn root_routes() -> OpenApiRouter<Service> {
    OpenApiRouter::new().routes(routes!(create_programme))
}

pub(super) fn routes() -> OpenApiRouter<Service> {
    OpenApiRouter::new()
        .routes(routes!(read_programme))
        .routes(routes!(list_tokens, issue_token))
}

/// Create a programme with an operator token. Its first manager token is shown here, once.
#[utoipa::path(post, path = "/api/v1/programmes", tag = "programmes", security(("token" = [])),
    request_body = NewProgramme, responses(
    (status = 201, body = CreatedProgramme),
    (status = 401, body = Problem, content_type = "application/problem+json"),
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
#[utoipa::path(get, path = "", tag = "programmes", security(("token" = [])),
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

#[derive(Debug, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct TokenRequest {
    role: Role,
    /// What the token is for; a device or a desk, not a person.
    label: String,
}

/// List tokens, never their secrets. For managers.
#[utoipa::path(get, path = "/tokens", tag = "programmes", security(("token" = [])),
    params(("programme" = String, Path, description = "Programme code")), responses(
    (status = 200, body = Vec<TokenView>),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = Problem, content_type = "application/problem+json")))]
async fn list_tokens(
    State(service): State<Service>,
    Access(caller): Access,
) -> Result<axum::Json<Vec<TokenView>>, Problem> {
    Ok(axum::Json(service.tokens(&caller).await?))
}

/// Issue a token. Its secret is in this answer and nowhere else. For managers.
#[utoipa::path(post, path = "/tokens", tag = "programmes", security(("token" = [])),
    params(("programme" = String, Path, description = "Programme code"),
           ("Idempotency-Key" = Option<String>, Header, description = "Makes a repeat harmless")),
    request_body = TokenRequest, responses(
    (status = 201, body = NewToken),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = Problem, content_type = "application/problem+json"),
    (status = 409, body = Problem, content_type = "application/problem+json"),
    (status = 422, body = Problem, content_type = "application/problem+json")))]
async fn issue_token(
    State(service): State<Service>,
    Access(caller): Access,
    key: RepeatKey,
    body: Json<TokenRequest>,
) -> Result<(StatusCode, axum::Json<NewToken>), Problem> {
    let once = body.once(key, "issue-token");
    let token = service
        .issue_token(&caller, body.value.role, &body.value.label, &once)
        .await?;
    Ok((StatusCode::CREATED, axum::Json(token)))
}
