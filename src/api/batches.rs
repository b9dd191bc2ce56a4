//! Batches of rows from the field, and the templates that they are written in.

use super::Problem;
use super::extract::{Access, PathParts, QueryParts, RepeatKey};
use super::register::{AsOf, answer, page_limit};
use crate::intake::{BatchKind, Template, UnknownBatchKind};
use crate::service::batches::{BatchView, Upload};
use crate::service::evidence::RowView;
use crate::service::trail::RowProof;
use crate::service::upload::Spooled;
use crate::service::{Service, ServiceError};
use axum::body::Body;
use axum::extract::State;
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::{IntoResponse, Response};
use serde::Deserialize;
use utoipa::IntoParams;
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;
use uuid::Uuid;

pub(super) fn routes() -> OpenApiRouter<Service> {
    OpenApiRouter::new()
        .routes(routes!(list_templates))
        .routes(routes!(read_template))
        .routes(routes!(list_batches, upload_batch))
        .routes(routes!(read_batch))
        .routes(routes!(list_rows))
        .routes(routes!(prove_row))
}

fn known_kind(code: &str) -> Result<BatchKind, Problem> {
    code.parse().map_err(|_| {
        ServiceError::NotFound {
            what: "batch kind",
            name: code.into(),
        }
        .into()
    })
}

/// The columns of every kind of batch, with units, bounds and examples.
#[utoipa::path(get, path = "/templates", tag = "evidence",
    security(("token" = ["manager", "monitor", "verifier"])),
    params(("programme" = String, Path, description = "Programme code")), responses(
    (status = 200, body = Vec<Object>, description = "Templates"),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = Problem, content_type = "application/problem+json")))]
async fn list_templates(_caller: Access) -> axum::Json<Vec<&'static Template>> {
    axum::Json(BatchKind::ALL.iter().map(|kind| kind.template()).collect())
}

/// The template of a kind as a CSV file: its header and one invented row.
#[utoipa::path(get, path = "/templates/{kind}", tag = "evidence",
    security(("token" = ["manager", "monitor", "verifier"])),
    params(("programme" = String, Path, description = "Programme code"),
           ("kind" = String, Path, description = "Kind of batch")), responses(
    (status = 200, body = String, content_type = "text/csv"),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = Problem, content_type = "application/problem+json"),
    (status = 404, body = Problem, content_type = "application/problem+json")))]
async fn read_template(
    _caller: Access,
    path: PathParts<(String, String)>,
) -> Result<Response, Problem> {
    let PathParts((_, kind)) = path;
    let kind = known_kind(&kind)?;
    let headers = [
        (header::CONTENT_TYPE, "text/csv; charset=utf-8".to_owned()),
        (
            header::CONTENT_DISPOSITION,
            format!("attachment; filename=\"{}.csv\"", kind.file_stem()),
        ),
    ];
    Ok((headers, kind.template().example_csv()).into_response())
}

/// List batches in trail order.
#[utoipa::path(get, path = "/batches", tag = "evidence",
    security(("token" = ["manager", "monitor", "verifier"])),
    params(("programme" = String, Path, description = "Programme code"), AsOf), responses(
    (status = 200, body = Vec<BatchView>),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = Problem, content_type = "application/problem+json"),
    (status = 422, body = Problem, content_type = "application/problem+json")))]
async fn list_batches(
    State(service): State<Service>,
    Access(caller): Access,
    QueryParts(query): QueryParts<AsOf>,
) -> Result<axum::Json<Vec<BatchView>>, Problem> {
    Ok(axum::Json(service.batches(&caller, query.as_of).await?))
}

#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
struct UploadQuery {
    /// Kind of batch, see `/templates`.
    kind: String,
    /// Round that the rows belong to; none for the register.
    round: Option<String>,
    /// What the file is called in the field.
    file_name: Option<String>,
}

/// Upload a CSV file of one kind. It is accepted whole or refused whole; a file
/// that was accepted before changes nothing. For managers and monitors.
#[utoipa::path(post, path = "/batches", tag = "evidence",
    security(("token" = ["manager", "monitor"])),
    params(("programme" = String, Path, description = "Programme code"),
           UploadQuery,
           ("Idempotency-Key" = Option<String>, Header, description = "Makes a repeat harmless")),
    request_body(content = String, content_type = "text/csv", description = "The file's bytes"),
    responses(
    (status = 201, body = BatchView),
    (status = 200, body = BatchView, description = "accepted before"),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = Problem, content_type = "application/problem+json"),
    (status = 404, body = Problem, content_type = "application/problem+json"),
    (status = 409, body = Problem, content_type = "application/problem+json"),
    (status = 413, body = Problem, content_type = "application/problem+json"),
    (status = 415, body = Problem, content_type = "application/problem+json"),
    (status = 422, body = Problem, content_type = "application/problem+json",
     description = "with every wrong row named")))]
async fn upload_batch(
    State(service): State<Service>,
    Access(caller): Access,
    RepeatKey(key): RepeatKey,
    QueryParts(query): QueryParts<UploadQuery>,
    headers: HeaderMap,
    body: Body,
) -> Result<(StatusCode, axum::Json<BatchView>), Problem> {
    let kind = query
        .kind
        .parse()
        .map_err(|e: UnknownBatchKind| Problem::field("kind", e.to_string()))?;
    check_csv(&headers)?;
    let file = Spooled::receive(body.into_data_stream(), service.upload_bytes_max()).await?;
    let upload = Upload {
        kind,
        round: query.round,
        file_name: query.file_name,
        file,
    };
    let batch = service.accept_batch(&caller, upload, key).await?;
    Ok(answer(batch))
}

fn check_csv(headers: &HeaderMap) -> Result<(), Problem> {
    let named = headers
        .get(header::CONTENT_TYPE)
        .and_then(|value| value.to_str().ok());
    match named.map(|named| named.trim().to_ascii_lowercase()) {
        Some(named) if named.starts_with("text/csv") => Ok(()),
        _ => Err(Problem::unsupported(
            "send the file's bytes with Content-Type: text/csv",
        )),
    }
}

/// Read what is known of one batch.
#[utoipa::path(get, path = "/batches/{batch}", tag = "evidence",
    security(("token" = ["manager", "monitor", "verifier"])),
    params(("programme" = String, Path, description = "Programme code"),
           ("batch" = Uuid, Path, description = "Batch id")), responses(
    (status = 200, body = BatchView),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = Problem, content_type = "application/problem+json"),
    (status = 404, body = Problem, content_type = "application/problem+json")))]
async fn read_batch(
    State(service): State<Service>,
    Access(caller): Access,
    path: PathParts<(String, Uuid)>,
) -> Result<axum::Json<BatchView>, Problem> {
    let PathParts((_, batch)) = path;
    Ok(axum::Json(service.batch(&caller, batch).await?))
}

#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
struct RowsQuery {
    /// Line of the last row of the earlier page.
    after_line: Option<u64>,
    /// Rows wanted, 1 to 1,000; default 100.
    limit: Option<u32>,
    /// Trail position as of which the rows are corrected; default: now.
    as_of: Option<u64>,
}

/// A page of a batch's rows, in file order.
#[utoipa::path(get, path = "/batches/{batch}/rows", tag = "evidence",
    security(("token" = ["manager", "monitor", "verifier"])),
    params(("programme" = String, Path, description = "Programme code"),
           ("batch" = Uuid, Path, description = "Batch id"), RowsQuery), responses(
    (status = 200, body = Vec<RowView>),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = Problem, content_type = "application/problem+json"),
    (status = 404, body = Problem, content_type = "application/problem+json"),
    (status = 422, body = Problem, content_type = "application/problem+json")))]
async fn list_rows(
    State(service): State<Service>,
    Access(caller): Access,
    path: PathParts<(String, Uuid)>,
    QueryParts(query): QueryParts<RowsQuery>,
) -> Result<axum::Json<Vec<RowView>>, Problem> {
    let PathParts((_, batch)) = path;
    let limit = page_limit(query.limit)?;
    let rows = service
        .batch_rows(
            &caller,
            batch,
            query.as_of,
            query.after_line.unwrap_or(0),
            limit,
        )
        .await?;
    Ok(axum::Json(rows))
}

/// Prove one row up to the head of the trail.
#[utoipa::path(get, path = "/batches/{batch}/rows/{line}/proof", tag = "trail",
    security(("token" = ["manager", "monitor", "verifier"])),
    params(("programme" = String, Path, description = "Programme code"),
           ("batch" = Uuid, Path, description = "Batch id"),
           ("line" = u64, Path, description = "Line of the row in its file")), responses(
    (status = 200, body = RowProof),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = Problem, content_type = "application/problem+json"),
    (status = 404, body = Problem, content_type = "application/problem+json")))]
async fn prove_row(
    State(service): State<Service>,
    Access(caller): Access,
    path: PathParts<(String, Uuid, u64)>,
) -> Result<axum::Json<RowProof>, Problem> {
    let PathParts((_, batch, line)) = path;
    Ok(axum::Json(service.row_proof(&caller, batch, line).await?))
}
