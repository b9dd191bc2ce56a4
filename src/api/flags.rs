//! Flags of the screens: listed, read with their rows, answered.

use super::Problem;
use super::extract::{Access, Json, PathParts, QueryParts, RepeatKey};
use super::register::page_limit;
use crate::service::Service;
use crate::service::evidence::Page;
use crate::service::flags::{FlagDetail, FlagView, NewFlagAnswer, Wanted};
use axum::extract::State;
use serde::Deserialize;
use utoipa::IntoParams;
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;
use uuid::Uuid;

pub(super) fn routes() -> OpenApiRouter<Service> {
    OpenApiRouter::new()
        .routes(routes!(list_flags))
        .routes(routes!(read_flag))
        .routes(routes!(answer_flag))
}

#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
struct FlagQuery {
    /// Flags of this round alone.
    round: Option<String>,
    /// Flags that were raised when this batch came.
    batch: Option<Uuid>,
    /// `true`: the open ones alone; `false`: the answered ones alone.
    open: Option<bool>,
    /// The `next` of an earlier page.
    after: Option<String>,
    /// Flags wanted, 1 to 1,000; default 100.
    limit: Option<u32>,
}

/// List what the screens raised, in the order in which it was raised. A flag says what a
/// person should look at; it changes nothing.
#[utoipa::path(get, path = "/flags", tag = "evidence",
    security(("token" = ["manager", "monitor-of-every-site", "verifier"])),
    params(("programme" = String, Path, description = "Programme code"), FlagQuery), responses(
    (status = 200, body = Page<FlagView>),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = Problem, content_type = "application/problem+json"),
    (status = 422, body = Problem, content_type = "application/problem+json")))]
async fn list_flags(
    State(service): State<Service>,
    Access(caller): Access,
    QueryParts(query): QueryParts<FlagQuery>,
) -> Result<axum::Json<Page<FlagView>>, Problem> {
    let limit = page_limit(query.limit)?;
    let wanted = Wanted {
        round: query.round,
        batch: query.batch,
        open: query.open,
    };
    let after = query.after.as_deref();
    Ok(axum::Json(
        service.flags(&caller, &wanted, after, limit).await?,
    ))
}

/// Read one flag with its rows and all that was said of it.
#[utoipa::path(get, path = "/flags/{flag}", tag = "evidence",
    security(("token" = ["manager", "monitor-of-every-site", "verifier"])),
    params(("programme" = String, Path, description = "Programme code"),
           ("flag" = Uuid, Path, description = "Flag id")), responses(
    (status = 200, body = FlagDetail),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = Problem, content_type = "application/problem+json"),
    (status = 404, body = Problem, content_type = "application/problem+json")))]
async fn read_flag(
    State(service): State<Service>,
    Access(caller): Access,
    PathParts(path): PathParts<(String, Uuid)>,
) -> Result<axum::Json<FlagDetail>, Problem> {
    let (_, flag) = path;
    Ok(axum::Json(service.flag(&caller, flag).await?))
}

/// Say what is to become of a flag's rows, and why. The answer is an entry of the trail; it
/// changes no row and no figure. A later answer takes the place of the earlier ones, which
/// stay. For managers.
#[utoipa::path(post, path = "/flags/{flag}/disposition", tag = "evidence",
    security(("token" = ["manager"])),
    params(("programme" = String, Path, description = "Programme code"),
           ("flag" = Uuid, Path, description = "Flag id"),
           ("Idempotency-Key" = Option<String>, Header, description = "Makes a repeat harmless")),
    request_body = NewFlagAnswer, responses(
    (status = 200, body = FlagView),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = Problem, content_type = "application/problem+json"),
    (status = 404, body = Problem, content_type = "application/problem+json"),
    (status = 409, body = Problem, content_type = "application/problem+json"),
    (status = 422, body = Problem, content_type = "application/problem+json")))]
async fn answer_flag(
    State(service): State<Service>,
    Access(caller): Access,
    PathParts(path): PathParts<(String, Uuid)>,
    key: RepeatKey,
    body: Json<NewFlagAnswer>,
) -> Result<axum::Json<FlagView>, Problem> {
    let (_, flag) = path;
    let once = body.once(key, &format!("answer-flag {flag}"));
    Ok(axum::Json(
        service
            .answer_flag(&caller, flag, &body.value, &once)
            .await?,
    ))
}
