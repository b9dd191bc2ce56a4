//! The trail: entries, signed head, proofs, and the export.

mod cache;
mod proofs;
mod witnesses;

use super::Problem;
use super::extract::{Access, PathParts, QueryParts};
use super::register::page_limit;
use crate::service::export::Export;
use crate::service::trail::{EntryView, LogKeyView};
use crate::service::{Service, ServiceError};
use axum::body::Body;
use axum::extract::State;
use axum::http::{HeaderMap, header};
use axum::response::{IntoResponse, Response};
use serde::Deserialize;
use tokio_util::io::ReaderStream;
use utoipa::IntoParams;
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

const PLAIN: &str = "text/plain; charset=utf-8";

pub(super) fn routes() -> OpenApiRouter<Service> {
    OpenApiRouter::new()
        .routes(routes!(list_entries))
        .routes(routes!(read_entry))
        .routes(routes!(read_checkpoint))
        .routes(routes!(read_checkpoint_of_size))
        .routes(routes!(list_log_keys))
        .routes(routes!(export))
        .merge(proofs::routes())
        .merge(witnesses::routes())
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
    headers: HeaderMap,
) -> Result<Response, Problem> {
    let limit = page_limit(query.limit)?;
    let entries = service
        .trail_entries(&caller, query.from.unwrap_or(0), limit, false)
        .await?;
    // A full page holds the same entries for ever; a shorter one grows.
    if entries.len() as u64 == u64::from(limit) {
        return Ok(cache::for_ever(axum::Json(entries)));
    }
    cache::tagged_json(&headers, &entries).map_err(|e| ServiceError::Internal(e.to_string()).into())
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
) -> Result<Response, Problem> {
    let PathParts((_, sequence)) = path;
    let entry = service.trail_entry(&caller, sequence).await?;
    Ok(cache::for_ever(axum::Json(entry)))
}

/// The signed head: a C2SP checkpoint over the whole trail, with the cosignatures on it.
/// Keep it; it pins history.
#[utoipa::path(get, path = "/trail/checkpoint", tag = "trail",
    security(("token" = ["manager", "monitor", "verifier"])),
    params(("programme" = String, Path, description = "Programme code")), responses(
    (status = 200, body = String, content_type = "text/plain"),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = Problem, content_type = "application/problem+json")))]
async fn read_checkpoint(
    State(service): State<Service>,
    Access(caller): Access,
    headers: HeaderMap,
) -> Result<Response, Problem> {
    let note = service.checkpoint(&caller, None).await?;
    Ok(cache::tagged(&headers, PLAIN, note.into_bytes()))
}

/// The signed head over the first entries, as many as the path says, with the cosignatures
/// on it.
#[utoipa::path(get, path = "/trail/checkpoints/{size}", tag = "trail",
    security(("token" = ["manager", "monitor", "verifier"])),
    params(("programme" = String, Path, description = "Programme code"),
           ("size" = u64, Path, description = "Entries that the checkpoint is over")), responses(
    (status = 200, body = String, content_type = "text/plain"),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = Problem, content_type = "application/problem+json"),
    (status = 404, body = Problem, content_type = "application/problem+json")))]
async fn read_checkpoint_of_size(
    State(service): State<Service>,
    Access(caller): Access,
    path: PathParts<(String, u64)>,
    headers: HeaderMap,
) -> Result<Response, Problem> {
    let PathParts((_, size)) = path;
    let note = service.checkpoint(&caller, Some(size)).await?;
    Ok(cache::tagged(&headers, PLAIN, note.into_bytes()))
}

/// The keys of the programme's log, the oldest first; the last is in force.
#[utoipa::path(get, path = "/trail/keys", tag = "trail",
    security(("token" = ["manager", "monitor", "verifier"])),
    params(("programme" = String, Path, description = "Programme code")), responses(
    (status = 200, body = Vec<LogKeyView>),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = Problem, content_type = "application/problem+json")))]
async fn list_log_keys(
    State(service): State<Service>,
    Access(caller): Access,
) -> Result<axum::Json<Vec<LogKeyView>>, Problem> {
    Ok(axum::Json(service.log_keys_of(&caller).await?))
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
