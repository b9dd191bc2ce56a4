//! Witnesses and their cosignatures on checkpoints.

use crate::api::Problem;
use crate::api::extract::{Access, Json, PathParts, QueryParts, RepeatKey};
use crate::api::register::page_limit;
use crate::service::Service;
use crate::service::trail::{CosignatureView, NewCosignature, NewWitness, WitnessView};
use axum::extract::State;
use axum::http::StatusCode;
use serde::Deserialize;
use utoipa::IntoParams;
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

pub(super) fn routes() -> OpenApiRouter<Service> {
    OpenApiRouter::new()
        .routes(routes!(list_witnesses, register_witness))
        .routes(routes!(list_cosignatures))
        .routes(routes!(cosign))
}

/// The witnesses of the trail.
#[utoipa::path(get, path = "/trail/witnesses", tag = "trail",
    security(("token" = ["manager", "monitor", "verifier"])),
    params(("programme" = String, Path, description = "Programme code")), responses(
    (status = 200, body = Vec<WitnessView>),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = Problem, content_type = "application/problem+json")))]
async fn list_witnesses(
    State(service): State<Service>,
    Access(caller): Access,
) -> Result<axum::Json<Vec<WitnessView>>, Problem> {
    Ok(axum::Json(service.witnesses(&caller).await?))
}

/// Register a witness's key, as an entry of the trail.
#[utoipa::path(post, path = "/trail/witnesses", tag = "trail",
    security(("token" = ["manager", "verifier"])),
    params(("programme" = String, Path, description = "Programme code"),
           ("Idempotency-Key" = Option<String>, Header, description = "Makes a repeat harmless")),
    request_body = NewWitness, responses(
    (status = 201, body = WitnessView),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = Problem, content_type = "application/problem+json"),
    (status = 409, body = Problem, content_type = "application/problem+json"),
    (status = 422, body = Problem, content_type = "application/problem+json")))]
async fn register_witness(
    State(service): State<Service>,
    Access(caller): Access,
    key: RepeatKey,
    body: Json<NewWitness>,
) -> Result<(StatusCode, axum::Json<WitnessView>), Problem> {
    let once = body.once(key, "register-witness");
    let witness = service.register_witness(&caller, &once, &body.value);
    Ok((StatusCode::CREATED, axum::Json(witness.await?)))
}

#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
struct CosignaturesQuery {
    /// Of the checkpoint over this many entries; default: of all.
    size: Option<u64>,
    /// Cosignatures wanted, 1 to 1,000; default 100.
    limit: Option<u32>,
}

/// Cosignatures, those on the largest checkpoint first.
#[utoipa::path(get, path = "/trail/cosignatures", tag = "trail",
    security(("token" = ["manager", "monitor", "verifier"])),
    params(("programme" = String, Path, description = "Programme code"), CosignaturesQuery),
    responses(
    (status = 200, body = Vec<CosignatureView>),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = Problem, content_type = "application/problem+json"),
    (status = 422, body = Problem, content_type = "application/problem+json")))]
async fn list_cosignatures(
    State(service): State<Service>,
    Access(caller): Access,
    QueryParts(query): QueryParts<CosignaturesQuery>,
) -> Result<axum::Json<Vec<CosignatureView>>, Problem> {
    let limit = page_limit(query.limit)?;
    Ok(axum::Json(
        service.cosignatures(&caller, query.size, limit).await?,
    ))
}

/// Hand in a witness's cosignature on a checkpoint (C2SP tlog-cosignature, Ed25519). For
/// verifiers.
#[utoipa::path(post, path = "/trail/checkpoints/{size}/cosignatures", tag = "trail",
    security(("token" = ["verifier"])),
    params(("programme" = String, Path, description = "Programme code"),
           ("size" = u64, Path, description = "Entries that the checkpoint is over"),
           ("Idempotency-Key" = Option<String>, Header, description = "Makes a repeat harmless")),
    request_body = NewCosignature, responses(
    (status = 201, body = CosignatureView),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = Problem, content_type = "application/problem+json"),
    (status = 404, body = Problem, content_type = "application/problem+json"),
    (status = 409, body = Problem, content_type = "application/problem+json"),
    (status = 422, body = Problem, content_type = "application/problem+json")))]
async fn cosign(
    State(service): State<Service>,
    Access(caller): Access,
    path: PathParts<(String, u64)>,
    key: RepeatKey,
    body: Json<NewCosignature>,
) -> Result<(StatusCode, axum::Json<CosignatureView>), Problem> {
    let PathParts((_, size)) = path;
    let once = body.once(key, &format!("cosign {size}"));
    let kept = service.cosign(&caller, &once, size, &body.value).await?;
    Ok((StatusCode::CREATED, axum::Json(kept)))
}
