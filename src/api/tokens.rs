//! Tokens of a programme, and the caller's own.

use super::Problem;
use super::extract::{Access, Json, Operator, PathParts, RepeatKey};
use crate::service::caller::Holder;
use crate::service::tokens::{NewToken, TokenRequest, TokenView};
use crate::service::{Once, Role, Service};
use axum::extract::State;
use axum::http::StatusCode;
use serde::Serialize;
use utoipa::ToSchema;
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;
use uuid::Uuid;

pub(super) fn root_routes() -> OpenApiRouter<Service> {
    OpenApiRouter::new().routes(routes!(revoke_operator_token))
}

pub(super) fn routes() -> OpenApiRouter<Service> {
    OpenApiRouter::new()
        .routes(routes!(list_tokens, issue_token))
        .routes(routes!(revoke_token))
        .routes(routes!(read_own_token))
        .routes(routes!(revoke_own_token))
}

/// List tokens with their last day of use, never their secrets. For managers.
#[utoipa::path(get, path = "/tokens", tag = "access", security(("token" = ["manager"])),
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
#[utoipa::path(post, path = "/tokens", tag = "access", security(("token" = ["manager"])),
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
    let token = service.issue_token(&caller, &body.value, &once).await?;
    Ok((StatusCode::CREATED, axum::Json(token)))
}

/// Revoke a token: the next request with it is refused. For managers.
#[utoipa::path(post, path = "/tokens/{token}/revoke", tag = "access",
    security(("token" = ["manager"])),
    params(("programme" = String, Path, description = "Programme code"),
           ("token" = Uuid, Path, description = "Id of the token"),
           ("Idempotency-Key" = Option<String>, Header, description = "Makes a repeat harmless")),
    responses(
    (status = 200, body = TokenView),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = Problem, content_type = "application/problem+json"),
    (status = 404, body = Problem, content_type = "application/problem+json")))]
async fn revoke_token(
    State(service): State<Service>,
    Access(caller): Access,
    PathParts(path): PathParts<(String, Uuid)>,
    RepeatKey(key): RepeatKey,
) -> Result<axum::Json<TokenView>, Problem> {
    let (_, token) = path;
    let once = Once::new(key, "revoke-token", token.as_bytes());
    Ok(axum::Json(
        service.revoke_token(&caller, token, &once).await?,
    ))
}

/// Who the caller is.
#[derive(Debug, Serialize, ToSchema)]
struct OwnToken {
    /// Id of the token.
    id: Uuid,
    role: Role,
    label: String,
    /// Sites that the caller is bound to; absent = every site.
    sites: Option<Vec<String>>,
    read_only: bool,
}

/// Read what the caller's own token allows.
#[utoipa::path(get, path = "/token", tag = "access", security(("token" = ["holder"])),
    params(("programme" = String, Path, description = "Programme code")), responses(
    (status = 200, body = OwnToken),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = Problem, content_type = "application/problem+json")))]
async fn read_own_token(Access(caller): Access) -> axum::Json<OwnToken> {
    let (Holder::Token(id) | Holder::Person(id)) = caller.holder;
    axum::Json(OwnToken {
        id,
        role: caller.role,
        label: caller.label,
        sites: caller.sites,
        read_only: caller.read_only,
    })
}

/// Revoke the caller's own token, e.g. where a device was lost. It cannot be undone.
#[utoipa::path(post, path = "/token/revoke", tag = "access", security(("token" = ["holder"])),
    params(("programme" = String, Path, description = "Programme code")), responses(
    (status = 200, body = TokenView),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = Problem, content_type = "application/problem+json")))]
async fn revoke_own_token(
    State(service): State<Service>,
    Access(caller): Access,
) -> Result<axum::Json<TokenView>, Problem> {
    Ok(axum::Json(service.revoke_own_token(&caller).await?))
}

/// Revoke the operator's token that the request comes with.
#[utoipa::path(post, path = "/api/v1/operator-token/revoke", tag = "access",
    security(("token" = ["operator"])), responses(
    (status = 204, description = "it is revoked"),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = Problem, content_type = "application/problem+json")))]
async fn revoke_operator_token(
    State(service): State<Service>,
    Operator(token): Operator,
) -> Result<StatusCode, Problem> {
    service.revoke_operator_token(&token).await?;
    Ok(StatusCode::NO_CONTENT)
}
