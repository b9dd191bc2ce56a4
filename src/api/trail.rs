//! The trail: entries, signed head, proofs, and the export.

use super::Problem;
use super::extract::{Access, PathParts, QueryParts};
use super::register::page_limit;
use crate::service::Service;
use crate::service::export::Export;
use crate::service::trail::{ConsistencyProof, EntryView, InclusionProof};
use axum::body::Body;
use axum::extract::State;
use axum::http::header;
use axum::response::{IntoResponse, Response};
use serde::Deserialize;
use tokio_util::io::ReaderStream;
use utoipa::IntoParams;
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

pub(super) fn routes() -> OpenApiRouter<Service> {
    OpenApiRouter::new()
        .routes(routes!(list_entries))
        .routes(routes!(read_entry))
        .routes(routes!(read_checkpoint))
        .routes(routes!(prove_inclusion))
        .routes(routes!(prove_consistency))
        .routes(routes!(export))
}

#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
struct EntriesQuery {
    /// First sequence wanted; default 0.
    from: Option<u64>,
    /// Entries wanted, 1 to 1,000; default 100.
    limit: Option<u32>,
}

/// A range of entries, without their contents.
#[utoipa::path(get, path = "/trail/entries", tag = "trail",
    security(("token" = ["manager", "monitor-of-every-site", "verifier"])),
    params(("programme" = String, Path, description = "Programme code"), EntriesQuery),
    responses(
    (status = 200, body = Vec<EntryView>),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = Problem, content_type = "application/problem+json"),
    (status = 422, body = Problem, content_type = "application/problem+json")))]
async fn list_entries(
    State(service): State<Service>,
    Access(caller): Access,
    QueryParts(query): QueryParts<EntriesQuery>,
) -> Result<axum::Json<Vec<EntryView>>, Problem> {
    let limit = page_limit(query.limit)?;
    let entries = service
        .trail_entries(&caller, query.from.unwrap_or(0), limit, false)
        .await?;
    Ok(axum::Json(entries))
}

/// One entry with its content.
#[utoipa::path(get, path = "/trail/entries/{sequence}", tag = "trail",
    security(("token" = ["manager", "monitor-of-every-site", "verifier"])),
    params(("programme" = String, Path, description = "Programme code"),
           ("sequence" = u64, Path, description = "Sequence, from 0")), responses(
    (status = 200, body = EntryView),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = Problem, content_type = "application/problem+json"),
    (status = 404, body = Problem, content_type = "application/problem+json")))]
async fn read_entry(
    State(service): State<Service>,
    Access(caller): Access,
    path: PathParts<(String, u64)>,
) -> Result<axum::Json<EntryView>, Problem> {
    let PathParts((_, sequence)) = path;
    Ok(axum::Json(service.trail_entry(&caller, sequence).await?))
}

/// The signed head: a C2SP checkpoint over the whole trail. Keep it; it pins history.
#[utoipa::path(get, path = "/trail/checkpoint", tag = "trail",
    security(("token" = ["manager", "monitor", "verifier"])),
    params(("programme" = String, Path, description = "Programme code")), responses(
    (status = 200, body = String, content_type = "text/plain"),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = Problem, content_type = "application/problem+json")))]
async fn read_checkpoint(
    State(service): State<Service>,
    Access(caller): Access,
) -> Result<Response, Problem> {
    let note = service.checkpoint(&caller).await?;
    Ok(([(header::CONTENT_TYPE, "text/plain; charset=utf-8")], note).into_response())
}

#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
struct InclusionQuery {
    /// Sequence of the entry.
    index: u64,
    /// Tree size to prove against; default: the whole trail.
    size: Option<u64>,
}

/// Prove that an entry is in the trail (RFC 9162, section 2.1.3).
#[utoipa::path(get, path = "/trail/inclusion", tag = "trail",
    security(("token" = ["manager", "monitor", "verifier"])),
    params(("programme" = String, Path, description = "Programme code"), InclusionQuery),
    responses(
    (status = 200, body = InclusionProof),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = Problem, content_type = "application/problem+json"),
    (status = 404, body = Problem, content_type = "application/problem+json"),
    (status = 422, body = Problem, content_type = "application/problem+json")))]
async fn prove_inclusion(
    State(service): State<Service>,
    Access(caller): Access,
    QueryParts(query): QueryParts<InclusionQuery>,
) -> Result<axum::Json<InclusionProof>, Problem> {
    Ok(axum::Json(
        service.inclusion(&caller, query.index, query.size).await?,
    ))
}

#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
struct ConsistencyQuery {
    /// Size of the checkpoint that you kept.
    old_size: u64,
    /// Newer size; default: the whole trail.
    new_size: Option<u64>,
}

/// Prove that an earlier trail begins the present one (RFC 9162, section 2.1.4).
#[utoipa::path(get, path = "/trail/consistency", tag = "trail",
    security(("token" = ["manager", "monitor", "verifier"])),
    params(("programme" = String, Path, description = "Programme code"), ConsistencyQuery),
    responses(
    (status = 200, body = ConsistencyProof),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = Problem, content_type = "application/problem+json"),
    (status = 422, body = Problem, content_type = "application/problem+json")))]
async fn prove_consistency(
    State(service): State<Service>,
    Access(caller): Access,
    QueryParts(query): QueryParts<ConsistencyQuery>,
) -> Result<axum::Json<ConsistencyProof>, Problem> {
    Ok(axum::Json(
        service
            .consistency(&caller, query.old_size, query.new_size)
            .await?,
    ))
}

/// The export: a BagIt bag as .tar.gz, for `emberbook verify`.
#[utoipa::path(get, path = "/export", tag = "trail",
    security(("token" = ["manager", "monitor-of-every-site", "verifier"])),
    params(("programme" = String, Path, description = "Programme code")), responses(
    (status = 200, body = Vec<u8>, content_type = "application/gzip"),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = Problem, content_type = "application/problem+json")))]
async fn export(
    State(service): State<Service>,
    Access(caller): Access,
) -> Result<Response, Problem> {
    let export = service.export(&caller).await?;
    let headers = [
        (header::CONTENT_TYPE, Export::MEDIA_TYPE.to_owned()),
        (header::CONTENT_LENGTH, export.bytes.to_string()),
        (
            header::CONTENT_DISPOSITION,
            format!("attachment; filename=\"{}\"", export.file_name()),
        ),
    ];
    let file = tokio::fs::File::from_std(export.file);
    Ok((headers, Body::from_stream(ReaderStream::new(file))).into_response())
}
