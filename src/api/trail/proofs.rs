//! Proofs: of an entry, of one trail by another, of a record, of a figure.

use super::cache;
use crate::api::Problem;
use crate::api::extract::{Access, PathParts, QueryParts};
use crate::service::Service;
use crate::service::trail::{ConsistencyProof, InclusionProof, ProofRequest, RecordKind};
use crate::verify::proof::Proof;
use axum::extract::State;
use axum::http::{HeaderMap, header};
use axum::response::{IntoResponse, Response};
use serde::Deserialize;
use utoipa::IntoParams;
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;
use uuid::Uuid;

pub(super) fn routes() -> OpenApiRouter<Service> {
    OpenApiRouter::new()
        .routes(routes!(prove_inclusion))
        .routes(routes!(prove_consistency))
        .routes(routes!(prove_record))
        .routes(routes!(proof_file))
        .routes(routes!(prove_figure))
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
    headers: HeaderMap,
) -> Result<Response, Problem> {
    let proof = service.inclusion(&caller, query.index, query.size).await?;
    match query.size {
        Some(_) => Ok(cache::for_ever(axum::Json(proof))),
        None => tagged(&headers, &proof),
    }
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
    headers: HeaderMap,
) -> Result<Response, Problem> {
    let proof = service
        .consistency(&caller, query.old_size, query.new_size)
        .await?;
    match query.new_size {
        Some(_) => Ok(cache::for_ever(axum::Json(proof))),
        None => tagged(&headers, &proof),
    }
}

#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
struct RecordQuery {
    /// What is to be proved.
    #[param(inline)]
    record: RecordKind,
    /// Which one: an id or a code; `CODE@VERSION` of a factor, methodology or stove model,
    /// `BATCH/LINE` of a row, the sequence of an entry or a correction.
    key: String,
    /// Tree size to prove against; default: the whole trail.
    size: Option<u64>,
}

impl RecordQuery {
    fn asked(self) -> ProofRequest {
        ProofRequest {
            record: self.record,
            key: self.key,
            size: self.size,
        }
    }
}

/// Prove a record: its entries, each with its path to a signed head. Check the answer with
/// `emberbook verify-proof`. Monitors may ask for the batches and rows that they see; whoever
/// is bound to sites is given hashes instead of entries.
#[utoipa::path(get, path = "/trail/proof", tag = "trail",
    security(("token" = ["manager", "monitor", "verifier"])),
    params(("programme" = String, Path, description = "Programme code"), RecordQuery),
    responses(
    (status = 200, body = Proof),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = Problem, content_type = "application/problem+json"),
    (status = 404, body = Problem, content_type = "application/problem+json"),
    (status = 422, body = Problem, content_type = "application/problem+json")))]
async fn prove_record(
    State(service): State<Service>,
    Access(caller): Access,
    QueryParts(query): QueryParts<RecordQuery>,
    headers: HeaderMap,
) -> Result<Response, Problem> {
    let proof = service.record_proof(&caller, &query.asked()).await?;
    tagged(&headers, &proof)
}

/// The entry that first tells of a record, as a `.tlog-proof` file (C2SP tlog-proof). Its
/// `extra` line is the entry itself.
#[utoipa::path(get, path = "/trail/proof-file", tag = "trail",
    security(("token" = ["manager", "monitor", "verifier"])),
    params(("programme" = String, Path, description = "Programme code"), RecordQuery),
    responses(
    (status = 200, body = String, content_type = "text/plain"),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = Problem, content_type = "application/problem+json"),
    (status = 404, body = Problem, content_type = "application/problem+json"),
    (status = 422, body = Problem, content_type = "application/problem+json")))]
async fn proof_file(
    State(service): State<Service>,
    Access(caller): Access,
    QueryParts(query): QueryParts<RecordQuery>,
    headers: HeaderMap,
) -> Result<Response, Problem> {
    let text = service.proof_file(&caller, &query.asked()).await?;
    let mut answer = cache::tagged(&headers, "text/plain; charset=utf-8", text.into_bytes());
    let name = "attachment; filename=\"record.tlog-proof\"";
    answer.headers_mut().insert(
        header::CONTENT_DISPOSITION,
        header::HeaderValue::from_static(name),
    );
    Ok(answer.into_response())
}

#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
struct FigureQuery {
    /// Id of the figure, as the statement names it.
    figure: String,
    /// Tree size to prove against; default: the whole trail.
    size: Option<u64>,
}

/// Prove a figure of a statement down to the hashes of the rows behind it, in one document
/// for `emberbook verify-proof`.
#[utoipa::path(get, path = "/statements/{statement}/proof", tag = "trail",
    security(("token" = ["manager", "monitor-of-every-site", "verifier"])),
    params(("programme" = String, Path, description = "Programme code"),
           ("statement" = Uuid, Path, description = "Statement id"), FigureQuery),
    responses(
    (status = 200, body = Proof),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = Problem, content_type = "application/problem+json"),
    (status = 404, body = Problem, content_type = "application/problem+json"),
    (status = 422, body = Problem, content_type = "application/problem+json")))]
async fn prove_figure(
    State(service): State<Service>,
    Access(caller): Access,
    path: PathParts<(String, Uuid)>,
    QueryParts(query): QueryParts<FigureQuery>,
    headers: HeaderMap,
) -> Result<Response, Problem> {
    let PathParts((_, statement)) = path;
    let proof = service
        .figure_proof(&caller, statement, &query.figure, query.size)
        .await?;
    tagged(&headers, &proof)
}

fn tagged<T: serde::Serialize>(headers: &HeaderMap, value: &T) -> Result<Response, Problem> {
    cache::tagged_json(headers, value)
        .map_err(|e| crate::service::ServiceError::Internal(e.to_string()).into())
}
