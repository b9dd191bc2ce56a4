//! Statements, their figures and their traces.

use super::Problem;
use super::extract::{Access, Json, PathParts, QueryParts, RepeatKey};
use crate::accounting::trace::Node;
use crate::service::statements::{NewStatement, StatementView};
use crate::service::{Service, ServiceError};
use axum::extract::State;
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;
use uuid::Uuid;

pub(super) fn routes() -> OpenApiRouter<Service> {
    OpenApiRouter::new()
        .routes(routes!(list_statements, make_statement))
        .routes(routes!(read_statement))
        .routes(routes!(read_trace))
        .routes(routes!(read_provenance))
}

/// List statements, the latest first.
#[utoipa::path(get, path = "/statements", tag = "statements",
    security(("token" = ["manager", "monitor-of-every-site", "verifier"])),
    params(("programme" = String, Path, description = "Programme code")), responses(
    (status = 200, body = Vec<StatementView>),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = Problem, content_type = "application/problem+json")))]
async fn list_statements(
    State(service): State<Service>,
    Access(caller): Access,
) -> Result<axum::Json<Vec<StatementView>>, Problem> {
    Ok(axum::Json(service.statements(&caller).await?))
}

/// Make the statement of a period under a methodology. For managers.
#[utoipa::path(post, path = "/statements", tag = "statements", security(("token" = ["manager"])),
    params(("programme" = String, Path, description = "Programme code"),
           ("Idempotency-Key" = Option<String>, Header, description = "Makes a repeat harmless")),
    request_body = NewStatement, responses(
    (status = 201, body = StatementView),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = Problem, content_type = "application/problem+json"),
    (status = 404, body = Problem, content_type = "application/problem+json"),
    (status = 409, body = Problem, content_type = "application/problem+json",
     description = "with what is missing, in words"),
    (status = 422, body = Problem, content_type = "application/problem+json")))]
async fn make_statement(
    State(service): State<Service>,
    Access(caller): Access,
    key: RepeatKey,
    body: Json<NewStatement>,
) -> Result<(StatusCode, axum::Json<StatementView>), Problem> {
    let once = body.once(key, "make-statement");
    let statement = service.make_statement(&caller, &body.value, &once).await?;
    Ok((StatusCode::CREATED, axum::Json(statement)))
}

/// Read a statement: the exact bytes that the trail committed to.
#[utoipa::path(get, path = "/statements/{statement}", tag = "statements",
    security(("token" = ["manager", "monitor-of-every-site", "verifier"])),
    params(("programme" = String, Path, description = "Programme code"),
           ("statement" = Uuid, Path, description = "Statement id")), responses(
    (status = 200, body = Object, description = "The statement's canonical JSON"),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = Problem, content_type = "application/problem+json"),
    (status = 404, body = Problem, content_type = "application/problem+json")))]
async fn read_statement(
    State(service): State<Service>,
    Access(caller): Access,
    path: PathParts<(String, Uuid)>,
) -> Result<Response, Problem> {
    let PathParts((_, id)) = path;
    let bytes = service.statement_bytes(&caller, id).await?;
    Ok(([(header::CONTENT_TYPE, "application/json")], bytes).into_response())
}

#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
struct TraceQuery {
    /// Node to open; default: all nodes.
    node: Option<String>,
}

/// Nodes of a trace, in an order in which every node comes after what it stands on.
#[derive(Debug, Serialize, ToSchema)]
struct TraceView {
    #[schema(value_type = Vec<Object>)]
    nodes: Vec<Node>,
}

/// Read the trace of a statement: one node with what it stands on, or all nodes.
#[utoipa::path(get, path = "/statements/{statement}/trace", tag = "statements",
    security(("token" = ["manager", "monitor-of-every-site", "verifier"])),
    params(("programme" = String, Path, description = "Programme code"),
           ("statement" = Uuid, Path, description = "Statement id"), TraceQuery), responses(
    (status = 200, body = TraceView),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = Problem, content_type = "application/problem+json"),
    (status = 404, body = Problem, content_type = "application/problem+json"),
    (status = 422, body = Problem, content_type = "application/problem+json")))]
async fn read_trace(
    State(service): State<Service>,
    Access(caller): Access,
    path: PathParts<(String, Uuid)>,
    QueryParts(query): QueryParts<TraceQuery>,
) -> Result<axum::Json<TraceView>, Problem> {
    let PathParts((_, id)) = path;
    let (_, statement) = service.statement(&caller, id).await?;
    let nodes = statement.trace.nodes;
    let Some(wanted) = query.node else {
        return Ok(axum::Json(TraceView { nodes }));
    };
    let Some(node) = nodes.iter().find(|node| node.id == wanted) else {
        return Err(ServiceError::NotFound {
            what: "trace node",
            name: wanted,
        }
        .into());
    };
    let inputs = node.inputs.clone();
    let nodes = nodes
        .iter()
        .filter(|node| node.id == wanted || inputs.contains(&node.id))
        .cloned()
        .collect();
    Ok(axum::Json(TraceView { nodes }))
}

/// Read the trace of a statement as W3C PROV-JSON.
#[utoipa::path(get, path = "/statements/{statement}/trace.prov.json", tag = "statements",
    security(("token" = ["manager", "monitor-of-every-site", "verifier"])),
    params(("programme" = String, Path, description = "Programme code"),
           ("statement" = Uuid, Path, description = "Statement id")), responses(
    (status = 200, body = Object, description = "A PROV-JSON document, as a bag holds it"),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = Problem, content_type = "application/problem+json"),
    (status = 404, body = Problem, content_type = "application/problem+json")))]
async fn read_provenance(
    State(service): State<Service>,
    Access(caller): Access,
    path: PathParts<(String, Uuid)>,
) -> Result<Response, Problem> {
    let PathParts((_, id)) = path;
    let bytes = service.provenance_bytes(&caller, id).await?;
    Ok(([(header::CONTENT_TYPE, "application/json")], bytes).into_response())
}
