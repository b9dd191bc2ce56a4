//! Tests of stoves, worked out into factors that a manager may then add. Nothing is written.

use super::Problem;
use super::extract::{Access, Json, RepeatKey};
use crate::accounting::carbon_balance::{BalanceReport, PlumeTest, report};
use crate::accounting::evidence::StoveTest;
use crate::accounting::replicates::FactorNaming;
use crate::accounting::stove_test::{Conditions, Protocol, StoveTestSummary, summarise};
use crate::service::Service;
use rust_decimal::Decimal;
use serde::Deserialize;
use utoipa::ToSchema;
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

pub(super) fn routes() -> OpenApiRouter<Service> {
    OpenApiRouter::new()
        .routes(routes!(balance_carbon))
        .routes(routes!(summarise_stove_tests))
}

/// Replicates of one device and fuel.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct CarbonBalanceRequest {
    tests: Vec<PlumeTest>,
    /// Absent: no factors are made.
    #[serde(default)]
    factors: Option<FactorNaming>,
}

/// Tests of any devices, fuels and ages.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct StoveTestsRequest {
    #[serde(default)]
    protocol: Protocol,
    /// Of the laboratory; absent: nothing is stated that needs the local boiling point.
    #[serde(with = "rust_decimal::serde::str_option", default)]
    altitude_m: Option<Decimal>,
    tests: Vec<StoveTest>,
    /// Absent: no factors are made.
    #[serde(default)]
    factors: Option<FactorNaming>,
}

/// Work out emission factors from plume or hood tests by carbon balance. Nothing is written.
#[utoipa::path(post, path = "/carbon-balance", tag = "tests",
    security(("token" = ["manager", "monitor", "verifier"])),
    params(("programme" = String, Path, description = "Programme code"),
           ("Idempotency-Key" = Option<String>, Header,
            description = "Not needed: a repeat is harmless")),
    request_body = CarbonBalanceRequest, responses(
    (status = 200, body = BalanceReport,
     description = "Each factor is ready to be sent to /factors"),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = Problem, content_type = "application/problem+json"),
    (status = 422, body = Problem, content_type = "application/problem+json",
     description = "with the test that cannot be, and why")))]
async fn balance_carbon(
    _: Access,
    _: RepeatKey,
    body: Json<CarbonBalanceRequest>,
) -> Result<axum::Json<BalanceReport>, Problem> {
    let request = body.value;
    report(&request.tests, request.factors.as_ref())
        .map(axum::Json)
        .map_err(|refusal| Problem::field("tests", refusal.to_string()))
}

/// Work out stove tests and summarise their replicates. Nothing is written.
#[utoipa::path(post, path = "/stove-tests/summary", tag = "tests",
    security(("token" = ["manager", "monitor", "verifier"])),
    params(("programme" = String, Path, description = "Programme code"),
           ("Idempotency-Key" = Option<String>, Header,
            description = "Not needed: a repeat is harmless")),
    request_body = StoveTestsRequest, responses(
    (status = 200, body = StoveTestSummary,
     description = "Each factor is ready to be sent to /factors"),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = Problem, content_type = "application/problem+json"),
    (status = 422, body = Problem, content_type = "application/problem+json",
     description = "with the test that cannot be, and why")))]
async fn summarise_stove_tests(
    _: Access,
    _: RepeatKey,
    body: Json<StoveTestsRequest>,
) -> Result<axum::Json<StoveTestSummary>, Problem> {
    let request = body.value;
    let conditions = Conditions {
        protocol: request.protocol,
        altitude_m: request.altitude_m,
    };
    summarise(&request.tests, &conditions, request.factors.as_ref())
        .map(axum::Json)
        .map_err(|refusal| Problem::field("tests", refusal.to_string()))
}
