//! Statements held against each other, and one period by several methodologies.

use super::Problem;
use super::extract::{Access, PathParts, QueryParts};
use crate::accounting::statement::Explanation;
use crate::service::Service;
use crate::service::comparison::MethodView;
use axum::extract::State;
use serde::Deserialize;
use utoipa::IntoParams;
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;
use uuid::Uuid;

pub(super) fn routes() -> OpenApiRouter<Service> {
    OpenApiRouter::new()
        .routes(routes!(read_difference))
        .routes(routes!(read_methods))
}

#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
struct DifferenceQuery {
    /// The earlier statement, of the same period.
    from: Uuid,
}

/// What moved each figure since another statement of the same period: which rows, factors and
/// rules, in parts that add up exactly.
#[utoipa::path(get, path = "/statements/{statement}/difference", tag = "statements",
    security(("token" = ["manager", "monitor-of-every-site", "verifier"])),
    params(("programme" = String, Path, description = "Programme code"),
           ("statement" = Uuid, Path, description = "Statement id"), DifferenceQuery), responses(
    (status = 200, body = Explanation),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = Problem, content_type = "application/problem+json"),
    (status = 404, body = Problem, content_type = "application/problem+json"),
    (status = 409, body = Problem, content_type = "application/problem+json"),
    (status = 422, body = Problem, content_type = "application/problem+json")))]
async fn read_difference(
    State(service): State<Service>,
    Access(caller): Access,
    path: PathParts<(String, Uuid)>,
    QueryParts(query): QueryParts<DifferenceQuery>,
) -> Result<axum::Json<Explanation>, Problem> {
    let PathParts((_, to)) = path;
    Ok(axum::Json(service.explain(&caller, query.from, to).await?))
}

#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
struct MethodsQuery {
    /// `code@version` of each, parted by commas; left out: all of the programme's, 12 at most.
    methodologies: Option<String>,
}

/// One period by several methodologies side by side. Nothing is recorded.
#[utoipa::path(get, path = "/periods/{period}/methods", tag = "statements",
    security(("token" = ["manager", "monitor-of-every-site", "verifier"])),
    params(("programme" = String, Path, description = "Programme code"),
           ("period" = String, Path, description = "Period code"), MethodsQuery), responses(
    (status = 200, body = Vec<MethodView>),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = Problem, content_type = "application/problem+json"),
    (status = 404, body = Problem, content_type = "application/problem+json"),
    (status = 422, body = Problem, content_type = "application/problem+json")))]
async fn read_methods(
    State(service): State<Service>,
    Access(caller): Access,
    path: PathParts<(String, String)>,
    QueryParts(query): QueryParts<MethodsQuery>,
) -> Result<axum::Json<Vec<MethodView>>, Problem> {
    let PathParts((_, period)) = path;
    let named: Vec<String> = query
        .methodologies
        .iter()
        .flat_map(|list| list.split(','))
        .map(|name| name.trim().to_owned())
        .filter(|name| !name.is_empty())
        .collect();
    Ok(axum::Json(service.methods(&caller, &period, &named).await?))
}
