//! The register: sites, stove models, households, deployments.

use super::Problem;
use super::extract::{Access, Json, PathParts, QueryParts, RepeatKey};
use crate::intake::BatchKind;
use crate::service::Service;
use crate::service::batches::BatchView;
use crate::service::evidence::{Page, RowView, StoveHistory};
use crate::service::register::{Site, StoveModel};
use axum::extract::State;
use axum::http::StatusCode;
use serde::Deserialize;
use serde_json::{Map, Value};
use utoipa::IntoParams;
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

pub(super) fn routes() -> OpenApiRouter<Service> {
    OpenApiRouter::new()
        .routes(routes!(list_sites, add_site))
        .routes(routes!(list_stove_models, add_stove_model))
        .routes(routes!(list_households, add_household))
        .routes(routes!(read_household))
        .routes(routes!(list_deployments, add_deployment))
        .routes(routes!(read_stove))
        .routes(routes!(add_deployment_end))
}

/// Rows a page may hold.
const PAGE_ROWS_MAX: u32 = 1_000;
const PAGE_ROWS: u32 = 100;

#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
pub(super) struct PageQuery {
    /// The `next` of an earlier page.
    after: Option<String>,
    /// Rows wanted, 1 to 1,000; default 100.
    limit: Option<u32>,
    /// Trail position to read at; default: now.
    as_of: Option<u64>,
}

impl PageQuery {
    fn limit(&self) -> Result<u32, Problem> {
        page_limit(self.limit)
    }
}

pub(super) fn page_limit(asked: Option<u32>) -> Result<u32, Problem> {
    match asked.unwrap_or(PAGE_ROWS) {
        limit @ 1..=PAGE_ROWS_MAX => Ok(limit),
        _ => Err(Problem::field(
            "limit",
            format!("must be from 1 to {PAGE_ROWS_MAX}"),
        )),
    }
}

#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
pub(super) struct AsOf {
    /// Trail position to read at; default: now.
    pub(super) as_of: Option<u64>,
}

/// List sites.
#[utoipa::path(get, path = "/sites", tag = "register",
    security(("token" = ["manager", "monitor", "verifier"])),
    params(("programme" = String, Path, description = "Programme code")), responses(
    (status = 200, body = Vec<Site>),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = Problem, content_type = "application/problem+json")))]
async fn list_sites(
    State(service): State<Service>,
    Access(caller): Access,
) -> Result<axum::Json<Vec<Site>>, Problem> {
    Ok(axum::Json(service.sites(&caller).await?))
}

/// Add a site. For managers.
#[utoipa::path(post, path = "/sites", tag = "register", security(("token" = ["manager"])),
    params(("programme" = String, Path, description = "Programme code"),
           ("Idempotency-Key" = Option<String>, Header, description = "Makes a repeat harmless")),
    request_body = Site, responses(
    (status = 201, body = Site),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = Problem, content_type = "application/problem+json"),
    (status = 409, body = Problem, content_type = "application/problem+json"),
    (status = 422, body = Problem, content_type = "application/problem+json")))]
async fn add_site(
    State(service): State<Service>,
    Access(caller): Access,
    key: RepeatKey,
    body: Json<Site>,
) -> Result<(StatusCode, axum::Json<Site>), Problem> {
    let once = body.once(key, "add-site");
    let site = service.add_site(&caller, &body.value, &once).await?;
    Ok((StatusCode::CREATED, axum::Json(site)))
}

/// List stove models.
#[utoipa::path(get, path = "/stove-models", tag = "register",
    security(("token" = ["manager", "monitor", "verifier"])),
    params(("programme" = String, Path, description = "Programme code")), responses(
    (status = 200, body = Vec<StoveModel>),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = Problem, content_type = "application/problem+json")))]
async fn list_stove_models(
    State(service): State<Service>,
    Access(caller): Access,
) -> Result<axum::Json<Vec<StoveModel>>, Problem> {
    Ok(axum::Json(service.stove_models(&caller).await?))
}

/// Add a version of a stove model. For managers.
#[utoipa::path(post, path = "/stove-models", tag = "register", security(("token" = ["manager"])),
    params(("programme" = String, Path, description = "Programme code"),
           ("Idempotency-Key" = Option<String>, Header, description = "Makes a repeat harmless")),
    request_body = StoveModel, responses(
    (status = 201, body = StoveModel),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = Problem, content_type = "application/problem+json"),
    (status = 409, body = Problem, content_type = "application/problem+json"),
    (status = 422, body = Problem, content_type = "application/problem+json")))]
async fn add_stove_model(
    State(service): State<Service>,
    Access(caller): Access,
    key: RepeatKey,
    body: Json<StoveModel>,
) -> Result<(StatusCode, axum::Json<StoveModel>), Problem> {
    let once = body.once(key, "add-stove-model");
    let model = service.add_stove_model(&caller, &body.value, &once).await?;
    Ok((StatusCode::CREATED, axum::Json(model)))
}

/// A page of the household register.
#[utoipa::path(get, path = "/households", tag = "register",
    security(("token" = ["manager", "monitor", "verifier"])),
    params(("programme" = String, Path, description = "Programme code"), PageQuery), responses(
    (status = 200, body = Page<RowView>),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = Problem, content_type = "application/problem+json"),
    (status = 422, body = Problem, content_type = "application/problem+json")))]
async fn list_households(
    State(service): State<Service>,
    Access(caller): Access,
    QueryParts(query): QueryParts<PageQuery>,
) -> Result<axum::Json<Page<RowView>>, Problem> {
    list(&service, &caller, BatchKind::Households, &query).await
}

async fn list(
    service: &Service,
    caller: &crate::service::Caller,
    kind: BatchKind,
    query: &PageQuery,
) -> Result<axum::Json<Page<RowView>>, Problem> {
    let limit = query.limit()?;
    let page = service
        .rows_of_kind(caller, kind, query.as_of, query.after.as_deref(), limit)
        .await?;
    Ok(axum::Json(page))
}

/// Register one household: an object with the columns of the households template.
#[utoipa::path(post, path = "/households", tag = "register",
    security(("token" = ["manager", "monitor"])),
    params(("programme" = String, Path, description = "Programme code"),
           ("Idempotency-Key" = Option<String>, Header, description = "Makes a repeat harmless")),
    request_body = Object, responses(
    (status = 201, body = BatchView),
    (status = 200, body = BatchView, description = "accepted before"),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = Problem, content_type = "application/problem+json"),
    (status = 422, body = Problem, content_type = "application/problem+json")))]
async fn add_household(
    State(service): State<Service>,
    Access(caller): Access,
    RepeatKey(key): RepeatKey,
    body: Json<Map<String, Value>>,
) -> Result<(StatusCode, axum::Json<BatchView>), Problem> {
    let batch = service
        .accept_row(&caller, BatchKind::Households, &body.value, key)
        .await?;
    Ok(answer(batch))
}

/// Created, or found as it had been accepted before.
pub(super) fn answer(batch: BatchView) -> (StatusCode, axum::Json<BatchView>) {
    let status = if batch.repeated {
        StatusCode::OK
    } else {
        StatusCode::CREATED
    };
    (status, axum::Json(batch))
}

/// Read one household.
#[utoipa::path(get, path = "/households/{code}", tag = "register",
    security(("token" = ["manager", "monitor", "verifier"])),
    params(("programme" = String, Path, description = "Programme code"),
           ("code" = String, Path, description = "Household code"), AsOf), responses(
    (status = 200, body = RowView),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = Problem, content_type = "application/problem+json"),
    (status = 404, body = Problem, content_type = "application/problem+json"),
    (status = 422, body = Problem, content_type = "application/problem+json")))]
async fn read_household(
    State(service): State<Service>,
    Access(caller): Access,
    path: PathParts<(String, String)>,
    QueryParts(query): QueryParts<AsOf>,
) -> Result<axum::Json<RowView>, Problem> {
    let PathParts((_, code)) = path;
    Ok(axum::Json(
        service.household(&caller, &code, query.as_of).await?,
    ))
}

/// A page of the deployments as they were recorded.
#[utoipa::path(get, path = "/deployments", tag = "register",
    security(("token" = ["manager", "monitor", "verifier"])),
    params(("programme" = String, Path, description = "Programme code"), PageQuery), responses(
    (status = 200, body = Page<RowView>),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = Problem, content_type = "application/problem+json"),
    (status = 422, body = Problem, content_type = "application/problem+json")))]
async fn list_deployments(
    State(service): State<Service>,
    Access(caller): Access,
    QueryParts(query): QueryParts<PageQuery>,
) -> Result<axum::Json<Page<RowView>>, Problem> {
    list(&service, &caller, BatchKind::Deployments, &query).await
}

/// Record one deployment: an object with the columns of the deployments template.
#[utoipa::path(post, path = "/deployments", tag = "register",
    security(("token" = ["manager", "monitor"])),
    params(("programme" = String, Path, description = "Programme code"),
           ("Idempotency-Key" = Option<String>, Header, description = "Makes a repeat harmless")),
    request_body = Object, responses(
    (status = 201, body = BatchView),
    (status = 200, body = BatchView, description = "accepted before"),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = Problem, content_type = "application/problem+json"),
    (status = 422, body = Problem, content_type = "application/problem+json")))]
async fn add_deployment(
    State(service): State<Service>,
    Access(caller): Access,
    RepeatKey(key): RepeatKey,
    body: Json<Map<String, Value>>,
) -> Result<(StatusCode, axum::Json<BatchView>), Problem> {
    let batch = service
        .accept_row(&caller, BatchKind::Deployments, &body.value, key)
        .await?;
    Ok(answer(batch))
}

/// Record the end of one deployment: an object with the columns of that template.
#[utoipa::path(post, path = "/deployment-ends", tag = "register",
    security(("token" = ["manager", "monitor"])),
    params(("programme" = String, Path, description = "Programme code"),
           ("Idempotency-Key" = Option<String>, Header, description = "Makes a repeat harmless")),
    request_body = Object, responses(
    (status = 201, body = BatchView),
    (status = 200, body = BatchView, description = "accepted before"),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = Problem, content_type = "application/problem+json"),
    (status = 422, body = Problem, content_type = "application/problem+json")))]
async fn add_deployment_end(
    State(service): State<Service>,
    Access(caller): Access,
    RepeatKey(key): RepeatKey,
    body: Json<Map<String, Value>>,
) -> Result<(StatusCode, axum::Json<BatchView>), Problem> {
    let batch = service
        .accept_row(&caller, BatchKind::DeploymentEnds, &body.value, key)
        .await?;
    Ok(answer(batch))
}

/// Where one stove unit has been.
#[utoipa::path(get, path = "/deployments/{serial}", tag = "register",
    security(("token" = ["manager", "monitor", "verifier"])),
    params(("programme" = String, Path, description = "Programme code"),
           ("serial" = String, Path, description = "Serial of the unit"), AsOf), responses(
    (status = 200, body = StoveHistory),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = Problem, content_type = "application/problem+json"),
    (status = 404, body = Problem, content_type = "application/problem+json"),
    (status = 422, body = Problem, content_type = "application/problem+json")))]
async fn read_stove(
    State(service): State<Service>,
    Access(caller): Access,
    path: PathParts<(String, String)>,
    QueryParts(query): QueryParts<AsOf>,
) -> Result<axum::Json<StoveHistory>, Problem> {
    let PathParts((_, serial)) = path;
    Ok(axum::Json(
        service.stove_history(&caller, &serial, query.as_of).await?,
    ))
}
