//! Batches of rows from the field.

use super::Problem;
use super::extract::{Access, PathParts, QueryParts, RepeatKey};
use super::register::{AsOf, answer, page_limit};
use super::templates::download;
use crate::intake::{FileFormat, UnknownBatchKind};
use crate::service::Service;
use crate::service::batches::{BatchView, Taking, Upload};
use crate::service::evidence::RowView;
use crate::service::trail::RowProof;
use crate::service::upload::Spooled;
use axum::body::Body;
use axum::extract::State;
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::Response;
use serde::Deserialize;
use utoipa::IntoParams;
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;
use uuid::Uuid;

pub(super) fn routes() -> OpenApiRouter<Service> {
    OpenApiRouter::new()
        .routes(routes!(list_batches, upload_batch))
        .routes(routes!(read_marked_file))
        .routes(routes!(read_batch))
        .routes(routes!(list_rows))
        .routes(routes!(prove_row))
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
    /// True checks the file in full and writes nothing.
    #[serde(default)]
    dry_run: bool,
    /// Mapping of column names to read it by; absent = the one saved as `default`, where the
    /// header does not fit the template.
    mapping: Option<String>,
}

/// Upload a file of one kind, CSV or XLSX, told apart by its bytes. It is accepted whole or
/// refused whole; a file that was accepted before changes nothing. A refused file can be fetched
/// with its faults marked from `marked_file` of the answer. For managers and monitors.
#[utoipa::path(post, path = "/batches", tag = "evidence",
    security(("token" = ["manager", "monitor"])),
    params(("programme" = String, Path, description = "Programme code"),
           UploadQuery,
           ("Idempotency-Key" = Option<String>, Header, description = "Makes a repeat harmless")),
    request_body(description = "The file's bytes", content(
        (String = "text/csv"),
        (Vec<u8> = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"))),
    responses(
    (status = 201, body = BatchView),
    (status = 200, body = BatchView, description = "accepted before, or a dry run that found no fault"),
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
    check_type(&headers)?;
    let file = Spooled::receive(body.into_data_stream(), service.upload_bytes_max()).await?;
    let upload = Upload {
        kind,
        round: query.round,
        file_name: query.file_name,
        file,
    };
    let taking = Taking {
        dry_run: query.dry_run,
        marks_dry_run: false,
        mapping: query.mapping,
    };
    let batch = service
        .take_file(&caller, upload, &taking, key)
        .await
        .map_err(|error| Problem::from(error).in_programme(&caller.programme_code))?;
    Ok(if batch.dry_run {
        (StatusCode::OK, axum::Json(batch))
    } else {
        answer(batch)
    })
}

/// The type is that of a file; which of the two formats it is, its bytes say.
fn check_type(headers: &HeaderMap) -> Result<(), Problem> {
    let named = headers
        .get(header::CONTENT_TYPE)
        .and_then(|value| value.to_str().ok());
    match named.map(|named| named.trim().to_ascii_lowercase()) {
        Some(named) if named.starts_with("text/csv") => Ok(()),
        Some(named) if named == FileFormat::Workbook.media_type() => Ok(()),
        _ => Err(Problem::unsupported(format!(
            "send the file's bytes with Content-Type: text/csv or {}",
            FileFormat::Workbook.media_type()
        ))),
    }
}

/// Fetch a refused file with its faults marked, for seven days: beside each wrong row stands
/// what is wrong, and in a workbook the wrong cells are filled and have a note. For managers,
/// monitors of every site, and whoever sent it.
#[utoipa::path(get, path = "/batches/rejected/{file}", tag = "evidence",
    security(("token" = ["manager", "monitor"])),
    params(("programme" = String, Path, description = "Programme code"),
           ("file" = Uuid, Path, description = "Id from `marked_file` of the refusal")), responses(
    (status = 200, description = "The marked file, of the format that was sent", content(
        (String = "text/csv"),
        (Vec<u8> = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"))),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = Problem, content_type = "application/problem+json"),
    (status = 404, body = Problem, content_type = "application/problem+json")))]
async fn read_marked_file(
    State(service): State<Service>,
    Access(caller): Access,
    path: PathParts<(String, Uuid)>,
) -> Result<Response, Problem> {
    let PathParts((_, file)) = path;
    let file = service.marked_file(&caller, file).await?;
    Ok(download(file.media_type, &file.file_name, file.bytes))
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
