//! The templates that batches are written in, and a programme's own names for their columns.

use super::Problem;
use super::extract::{Access, Json, PathParts, QueryParts};
use crate::intake::{BatchKind, ColumnMapping, FileFormat, Template, workbook_template};
use crate::service::mappings::MappingView;
use crate::service::{Service, ServiceError};
use axum::extract::State;
use axum::http::{HeaderMap, header};
use axum::response::{IntoResponse, Response};
use serde::Deserialize;
use utoipa::IntoParams;
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

pub(super) fn routes() -> OpenApiRouter<Service> {
    OpenApiRouter::new()
        .routes(routes!(list_templates))
        .routes(routes!(read_template))
        .routes(routes!(list_mappings, save_mapping))
}

/// Bytes as a file to keep.
pub(super) fn download(media_type: String, file_name: &str, bytes: Vec<u8>) -> Response {
    let headers = [
        (header::CONTENT_TYPE, media_type),
        (
            header::CONTENT_DISPOSITION,
            format!("attachment; filename=\"{file_name}\""),
        ),
        (header::VARY, "accept".to_owned()),
    ];
    (headers, bytes).into_response()
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

/// The template of a kind as a file: its header and one invented row. A kind with `.xlsx` after
/// it, or `Accept` of that type, gives a workbook that checks its cells and explains its columns.
#[utoipa::path(get, path = "/templates/{kind}", tag = "evidence",
    security(("token" = ["manager", "monitor", "verifier"])),
    params(("programme" = String, Path, description = "Programme code"),
           ("kind" = String, Path, description = "Kind of batch, with `.csv` or `.xlsx` after it or without")),
    responses(
    (status = 200, description = "The template", content(
        (String = "text/csv"),
        (Vec<u8> = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"))),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = Problem, content_type = "application/problem+json"),
    (status = 404, body = Problem, content_type = "application/problem+json")))]
async fn read_template(
    _caller: Access,
    path: PathParts<(String, String)>,
    headers: HeaderMap,
) -> Result<Response, Problem> {
    let PathParts((_, named)) = path;
    let (kind, format) = match named.rsplit_once('.') {
        Some((kind, "csv")) => (kind, FileFormat::Csv),
        Some((kind, "xlsx")) => (kind, FileFormat::Workbook),
        _ => (named.as_str(), accepted(&headers)),
    };
    let kind = known_kind(kind)?;
    let bytes = match format {
        FileFormat::Csv => kind.template().example_csv().into_bytes(),
        FileFormat::Workbook => workbook_template(kind.template())
            .map_err(|e| ServiceError::Internal(format!("template of {kind}: {e}")))?,
    };
    let name = format!("{}.{}", kind.file_stem(), format.ending());
    Ok(download(format.media_type().to_owned(), &name, bytes))
}

/// A workbook where it is asked for by its type, else CSV.
pub(super) fn accepted(headers: &HeaderMap) -> FileFormat {
    let asked = headers
        .get_all(header::ACCEPT)
        .iter()
        .filter_map(|value| value.to_str().ok())
        .any(|value| value.contains(FileFormat::Workbook.media_type()));
    if asked {
        FileFormat::Workbook
    } else {
        FileFormat::Csv
    }
}

/// The programme's own column names for a kind of batch, as saved last.
#[utoipa::path(get, path = "/mappings/{kind}", tag = "evidence",
    security(("token" = ["manager", "monitor", "verifier"])),
    params(("programme" = String, Path, description = "Programme code"),
           ("kind" = String, Path, description = "Kind of batch")), responses(
    (status = 200, body = Vec<MappingView>),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = Problem, content_type = "application/problem+json"),
    (status = 404, body = Problem, content_type = "application/problem+json")))]
async fn list_mappings(
    State(service): State<Service>,
    Access(caller): Access,
    path: PathParts<(String, String)>,
) -> Result<axum::Json<Vec<MappingView>>, Problem> {
    let PathParts((_, kind)) = path;
    Ok(axum::Json(
        service.mappings(&caller, known_kind(&kind)?).await?,
    ))
}

#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
struct MappingQuery {
    /// Name of the mapping; absent = `default`.
    name: Option<String>,
}

/// Save the programme's own column names for a kind of batch, in place of those of the same
/// name: an object from each own name to the template's. For managers.
#[utoipa::path(put, path = "/mappings/{kind}", tag = "evidence",
    security(("token" = ["manager"])),
    params(("programme" = String, Path, description = "Programme code"),
           ("kind" = String, Path, description = "Kind of batch"), MappingQuery),
    request_body(content = std::collections::BTreeMap<String, String>), responses(
    (status = 200, body = MappingView),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = Problem, content_type = "application/problem+json"),
    (status = 404, body = Problem, content_type = "application/problem+json"),
    (status = 422, body = Problem, content_type = "application/problem+json")))]
async fn save_mapping(
    State(service): State<Service>,
    Access(caller): Access,
    path: PathParts<(String, String)>,
    QueryParts(query): QueryParts<MappingQuery>,
    body: Json<ColumnMapping>,
) -> Result<axum::Json<MappingView>, Problem> {
    let PathParts((_, kind)) = path;
    let kind = known_kind(&kind)?;
    let name = query.name.as_deref();
    Ok(axum::Json(
        service
            .save_mapping(&caller, kind, name, body.value)
            .await?,
    ))
}
