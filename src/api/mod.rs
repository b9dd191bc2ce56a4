//! HTTP JSON under `/api/v1`: extract, authorise, call the service, shape.
//!
//! Each handler stands beside its OpenAPI description; the document at
//! `/api/v1/openapi.json` is generated from them.

mod batches;
mod comparison;
mod corrections;
mod drawn_rounds;
mod extract;
mod findings;
mod flags;
mod forms;
mod health;
mod jobs;
mod library;
mod people;
mod periods;
mod problem;
mod programmes;
mod register;
mod report;
mod roles;
mod rounds;
mod statements;
mod templates;
mod tests_of_stoves;
mod tokens;
mod trail;
mod uploads;

pub use problem::{Problem, describe};

use crate::service::{Service, ServiceError};
use axum::Router;
use axum::extract::DefaultBodyLimit;
use axum::http::{StatusCode, Uri};
use axum::response::{IntoResponse, Response};
use utoipa::OpenApi;
use utoipa::openapi::RefOr;
use utoipa::openapi::security::{HttpAuthScheme, HttpBuilder, SecurityScheme};
use utoipa_axum::router::OpenApiRouter;

#[derive(OpenApi)]
#[openapi(
    info(
        title = "Emberbook",
        description = "Emissions accounting for programmes that give households char-making \
            gasifier cookstoves. Quantities travel as decimal strings. Errors are \
            `application/problem+json` (RFC 9457); key on `type`, never on `detail`. Every POST \
            takes `Idempotency-Key`. Estimates for accounting, not a health assessment; issuance \
            and any public claim rest with an accredited validation and verification body.",
        license(name = "Apache-2.0", identifier = "Apache-2.0")
    ),
    modifiers(&Bearer),
    tags(
        (name = "programmes", description = "The unit of access and of the trail"),
        (name = "access", description = "People, tokens, and what was denied to them"),
        (name = "register", description = "Sites, stove models, households, deployments"),
        (name = "evidence", description = "Rounds and the batches uploaded into them"),
        (name = "uploads", description = "Files that arrive in parts and survive breaks, by the tus protocol 1.0.0 (tus.io)"),
        (name = "jobs", description = "Long work: queued, asked about, cancelled"),
        (name = "forms", description = "Phone forms by the OpenRosa protocol"),
        (name = "library", description = "Factors and methodologies, versioned, never edited"),
        (name = "statements", description = "Monitoring periods, statements and their traces"),
        (name = "findings", description = "A verifier's requests and the dialogue about each"),
        (name = "tests", description = "Tests worked out; nothing is written"),
        (name = "trail", description = "The append-only log, its proofs, and the export"),
        (name = "health", description = "For load balancers")
    )
)]
struct Document;

struct Bearer;

impl utoipa::Modify for Bearer {
    fn modify(&self, document: &mut utoipa::openapi::OpenApi) {
        let scheme = SecurityScheme::Http(
            HttpBuilder::new()
                .scheme(HttpAuthScheme::Bearer)
                .description(Some(roles::DESCRIPTION))
                .build(),
        );
        document
            .components
            .get_or_insert_default()
            .add_security_scheme("token", scheme);
        let password = SecurityScheme::Http(
            HttpBuilder::new()
                .scheme(HttpAuthScheme::Basic)
                .description(Some(
                    "For clients of phone forms: any user name, and the token as the password.",
                ))
                .build(),
        );
        document
            .components
            .get_or_insert_default()
            .add_security_scheme("password", password);
    }
}

fn described_routes() -> OpenApiRouter<Service> {
    let programme = OpenApiRouter::new()
        .merge(programmes::routes())
        .merge(people::routes())
        .merge(tokens::routes())
        .merge(register::routes())
        .merge(rounds::routes())
        .merge(templates::routes())
        .merge(drawn_rounds::routes())
        .merge(batches::routes())
        .merge(flags::routes())
        .merge(corrections::routes())
        .merge(uploads::routes())
        .merge(jobs::routes())
        .merge(forms::routes())
        .merge(library::routes())
        .merge(periods::routes())
        .merge(statements::routes())
        .merge(report::routes())
        .merge(comparison::routes())
        .merge(findings::routes())
        .merge(tests_of_stoves::routes())
        .merge(trail::routes());
    OpenApiRouter::with_openapi(Document::openapi())
        .nest("/api/v1/programmes/{programme}", programme)
        .merge(programmes::root_routes())
        .merge(tokens::root_routes())
        .merge(health::routes())
}

/// Routes and their description, every answer with a sentence.
fn routes_and_document() -> (Router<Service>, utoipa::openapi::OpenApi) {
    let (routes, mut document) = described_routes().split_for_parts();
    let operations = document.paths.paths.values_mut().flat_map(|path| {
        [
            &mut path.get,
            &mut path.post,
            &mut path.put,
            &mut path.head,
            &mut path.patch,
            &mut path.delete,
            &mut path.options,
        ]
        .into_iter()
        .filter_map(Option::as_mut)
    });
    for (status, response) in
        operations.flat_map(|operation| operation.responses.responses.iter_mut())
    {
        if let RefOr::T(response) = response
            && response.description.is_empty()
        {
            response.description = status
                .parse::<StatusCode>()
                .ok()
                .and_then(|status| status.canonical_reason())
                .unwrap_or("answer")
                .to_owned();
        }
    }
    (routes, document)
}

/// The API description, OpenAPI 3.1, as JSON text.
pub fn openapi_json() -> Result<String, serde_json::Error> {
    routes_and_document().1.to_pretty_json()
}

/// Every API route, and its description at `/api/v1/openapi.json`.
pub fn router(service: Service) -> Router {
    let (routes, document) = routes_and_document();
    let document = document
        .to_pretty_json()
        .unwrap_or_else(|e| format!("{{\"error\": \"{e}\"}}"));
    routes
        .route(
            "/api/v1/openapi.json",
            axum::routing::get(async move || -> Response {
                ([("content-type", "application/json")], document.clone()).into_response()
            }),
        )
        .route("/api/{*rest}", axum::routing::any(no_such_address))
        .layer(DefaultBodyLimit::max(extract::JSON_BYTES_MAX))
        .with_state(service)
}

async fn no_such_address(address: Uri) -> Problem {
    ServiceError::NotFound {
        what: "address",
        name: address.path().to_owned(),
    }
    .into()
}
