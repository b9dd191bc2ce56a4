//! People who sign in with a password, and what was denied to whom.

use super::Problem;
use super::extract::{Access, Json, PathParts, QueryParts, RepeatKey};
use super::register::page_limit;
use crate::service::denials::DenialPage;
use crate::service::people::{NewPerson, PersonChange, PersonView, PersonWithPassword};
use crate::service::{Once, Service};
use axum::extract::State;
use axum::http::StatusCode;
use serde::Deserialize;
use utoipa::IntoParams;
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

pub(super) fn routes() -> OpenApiRouter<Service> {
    OpenApiRouter::new()
        .routes(routes!(list_people, add_person))
        .routes(routes!(change_person))
        .routes(routes!(renew_password))
        .routes(routes!(list_denials))
}

/// List the people who sign in with a password. For managers.
#[utoipa::path(get, path = "/people", tag = "access", security(("token" = ["manager"])),
    params(("programme" = String, Path, description = "Programme code")), responses(
    (status = 200, body = Vec<PersonView>),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = Problem, content_type = "application/problem+json")))]
async fn list_people(
    State(service): State<Service>,
    Access(caller): Access,
) -> Result<axum::Json<Vec<PersonView>>, Problem> {
    Ok(axum::Json(service.people(&caller).await?))
}

/// Add a person. The first password is in this answer and nowhere else. For managers.
#[utoipa::path(post, path = "/people", tag = "access", security(("token" = ["manager"])),
    params(("programme" = String, Path, description = "Programme code"),
           ("Idempotency-Key" = Option<String>, Header, description = "Makes a repeat harmless")),
    request_body = NewPerson, responses(
    (status = 201, body = PersonWithPassword),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = Problem, content_type = "application/problem+json"),
    (status = 409, description = "the name is taken", body = Problem,
     content_type = "application/problem+json"),
    (status = 422, body = Problem, content_type = "application/problem+json")))]
async fn add_person(
    State(service): State<Service>,
    Access(caller): Access,
    key: RepeatKey,
    body: Json<NewPerson>,
) -> Result<(StatusCode, axum::Json<PersonWithPassword>), Problem> {
    let once = body.once(key, "add-person");
    let person = service.add_person(&caller, &body.value, &once).await?;
    Ok((StatusCode::CREATED, axum::Json(person)))
}

/// Change a person's role and sites, or disable or enable them. For managers.
#[utoipa::path(post, path = "/people/{name}/change", tag = "access",
    security(("token" = ["manager"])),
    params(("programme" = String, Path, description = "Programme code"),
           ("name" = String, Path, description = "Name that the person signs in with"),
           ("Idempotency-Key" = Option<String>, Header, description = "Makes a repeat harmless")),
    request_body = PersonChange, responses(
    (status = 200, body = PersonView),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = Problem, content_type = "application/problem+json"),
    (status = 404, body = Problem, content_type = "application/problem+json"),
    (status = 422, body = Problem, content_type = "application/problem+json")))]
async fn change_person(
    State(service): State<Service>,
    Access(caller): Access,
    PathParts(path): PathParts<(String, String)>,
    key: RepeatKey,
    body: Json<PersonChange>,
) -> Result<axum::Json<PersonView>, Problem> {
    let (_, name) = path;
    let once = body.once(key, &format!("change-person {name}"));
    let person = service
        .change_person(&caller, &name, &body.value, &once)
        .await?;
    Ok(axum::Json(person))
}

/// Make a new first password for a person who has lost theirs. It is in this answer and
/// nowhere else. For managers.
#[utoipa::path(post, path = "/people/{name}/new-password", tag = "access",
    security(("token" = ["manager"])),
    params(("programme" = String, Path, description = "Programme code"),
           ("name" = String, Path, description = "Name that the person signs in with"),
           ("Idempotency-Key" = Option<String>, Header, description = "Makes a repeat harmless")),
    responses(
    (status = 200, body = PersonWithPassword),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = Problem, content_type = "application/problem+json"),
    (status = 404, body = Problem, content_type = "application/problem+json"),
    (status = 409, body = Problem, content_type = "application/problem+json")))]
async fn renew_password(
    State(service): State<Service>,
    Access(caller): Access,
    PathParts(path): PathParts<(String, String)>,
    RepeatKey(key): RepeatKey,
) -> Result<axum::Json<PersonWithPassword>, Problem> {
    let (_, name) = path;
    let once = Once::new(key, "renew-password", name.as_bytes());
    Ok(axum::Json(
        service.renew_password(&caller, &name, &once).await?,
    ))
}

#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
struct DenialQuery {
    /// The `next` of an earlier page.
    before: Option<u64>,
    /// Denials wanted, 1 to 1,000; default 100.
    limit: Option<u32>,
}

/// List what was denied to known callers, the latest first. For managers and verifiers.
#[utoipa::path(get, path = "/denials", tag = "access",
    security(("token" = ["manager", "verifier"])),
    params(("programme" = String, Path, description = "Programme code"), DenialQuery), responses(
    (status = 200, body = DenialPage),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = Problem, content_type = "application/problem+json"),
    (status = 422, body = Problem, content_type = "application/problem+json")))]
async fn list_denials(
    State(service): State<Service>,
    Access(caller): Access,
    QueryParts(query): QueryParts<DenialQuery>,
) -> Result<axum::Json<DenialPage>, Problem> {
    let limit = page_limit(query.limit)?;
    Ok(axum::Json(
        service.denials(&caller, query.before, limit).await?,
    ))
}
