//! Rounds of field work.

use super::Problem;
use super::extract::{Access, Json, RepeatKey};
use crate::service::Service;
use crate::service::rounds::{NewRound, RoundView};
use axum::extract::State;
use axum::http::StatusCode;
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

pub(super) fn routes() -> OpenApiRouter<Service> {
    OpenApiRouter::new().routes(routes!(list_rounds, open_round))
}

/// List rounds.
#[utoipa::path(get, path = "/rounds", tag = "evidence",
    security(("token" = ["manager", "monitor", "verifier"])),
    params(("programme" = String, Path, description = "Programme code")), responses(
    (status = 200, body = Vec<RoundView>),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = Problem, content_type = "application/problem+json")))]
async fn list_rounds(
    State(service): State<Service>,
    Access(caller): Access,
) -> Result<axum::Json<Vec<RoundView>>, Problem> {
    Ok(axum::Json(service.rounds(&caller).await?))
}

/// Open a round. For managers.
#[utoipa::path(post, path = "/rounds", tag = "evidence", security(("token" = ["manager"])),
    params(("programme" = String, Path, description = "Programme code"),
           ("Idempotency-Key" = Option<String>, Header, description = "Makes a repeat harmless")),
    request_body = NewRound, responses(
    (status = 201, body = RoundView),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = Problem, content_type = "application/problem+json"),
    (status = 409, body = Problem, content_type = "application/problem+json"),
    (status = 422, body = Problem, content_type = "application/problem+json")))]
async fn open_round(
    State(service): State<Service>,
    Access(caller): Access,
    key: RepeatKey,
    body: Json<NewRound>,
) -> Result<(StatusCode, axum::Json<RoundView>), Problem> {
    let once = body.once(key, "open-round");
    let round = service.open_round(&caller, &body.value, &once).await?;
    Ok((StatusCode::CREATED, axum::Json(round)))
}
