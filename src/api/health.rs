//! For load balancers: is the process alive, can it serve.

use super::Problem;
use crate::service::Service;
use axum::extract::State;
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

pub(super) fn routes() -> OpenApiRouter<Service> {
    OpenApiRouter::new()
        .routes(routes!(live))
        .routes(routes!(ready))
}

/// The process answers.
#[utoipa::path(get, path = "/health/live", tag = "health",
    responses((status = 200, description = "alive", body = String)))]
async fn live() -> &'static str {
    "alive"
}

/// The database answers too.
#[utoipa::path(get, path = "/health/ready", tag = "health", responses(
    (status = 200, description = "ready", body = String),
    (status = 503, description = "the database cannot be reached", body = Problem,
     content_type = "application/problem+json")))]
async fn ready(State(service): State<Service>) -> Result<&'static str, Problem> {
    service.ready().await?;
    Ok("ready")
}
