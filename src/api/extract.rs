//! What handlers take from a request: the caller, a JSON body, the repeat key.

use super::{Problem, roles};
use crate::service::browser;
use crate::service::denials::{Known, Witness};
use crate::service::{Caller, Once, Service, ServiceError};
use crate::trail::canonical::parse_strict;
use axum::body::Bytes;
use axum::extract::{FromRequest, FromRequestParts, MatchedPath, RawPathParams, Request};
use axum::http::request::Parts;
use axum::http::{HeaderMap, StatusCode, header};
use serde::de::DeserializeOwned;

/// The bearer of the token, in the programme that the path names.
pub(super) struct Access(pub Caller);

pub(super) fn bearer_token(headers: &HeaderMap) -> Result<&str, ServiceError> {
    headers
        .get(header::AUTHORIZATION)
        .and_then(|value| value.to_str().ok())
        .and_then(|value| value.split_once(' '))
        .filter(|(scheme, _)| scheme.eq_ignore_ascii_case("bearer"))
        .map(|(_, token)| token.trim())
        .ok_or(ServiceError::Unauthenticated)
}

/// The same, or somebody whose browser shows a page of this server: for what its script
/// asks. The session counts only where no token is sent and no other site made the browser
/// ask; the cookie itself is `SameSite=Strict`.
pub(super) struct PageAccess(pub Caller);

impl FromRequestParts<Service> for PageAccess {
    type Rejection = Problem;

    async fn from_request_parts(parts: &mut Parts, service: &Service) -> Result<Self, Problem> {
        if parts.headers.contains_key(header::AUTHORIZATION) {
            let Access(caller) = Access::from_request_parts(parts, service).await?;
            return Ok(PageAccess(caller));
        }
        let caller = service
            .caller_by_session(own_session(&parts.headers).ok_or(ServiceError::Unauthenticated)?)
            .await?;
        if caller.first_password {
            let why = "replace the first password before anything else";
            return Err(ServiceError::Forbidden(why.into()).into());
        }
        admit(parts, service, caller).await.map(PageAccess)
    }
}

/// The session of a browser that no other site made ask.
fn own_session(headers: &HeaderMap) -> Option<&str> {
    let text = |name: &str| headers.get(name).map(|value| value.to_str().unwrap_or(""));
    if browser::is_foreign(text("sec-fetch-site"), text("origin"), text("host")) {
        return None;
    }
    let mut lines = headers.get_all(header::COOKIE).iter();
    lines.find_map(|line| browser::session_in(line.to_str().ok()?))
}

/// Whether the caller may use the operation of the programme that the path names.
async fn admit(parts: &mut Parts, service: &Service, caller: Caller) -> Result<Caller, Problem> {
    saw(parts, Known::caller(&caller));
    let named = programme_of(parts, service).await?;
    if named.as_deref() != Some(caller.programme_code.as_str()) {
        let why = "the token belongs to another programme";
        return Err(ServiceError::Forbidden(why.into()).into());
    }
    let path = parts.extensions.get::<MatchedPath>();
    let path = path.map(MatchedPath::as_str).unwrap_or_default();
    roles::permit(&caller, &parts.method, path)?;
    Ok(caller)
}

async fn programme_of(parts: &mut Parts, service: &Service) -> Result<Option<String>, Problem> {
    let params = RawPathParams::from_request_parts(parts, service)
        .await
        .map_err(|e| Problem::unreadable(e.to_string()))?;
    let mut named = params.iter().filter(|(name, _)| *name == "programme");
    Ok(named.next().map(|(_, code)| code.to_owned()))
}

impl FromRequestParts<Service> for Access {
    type Rejection = Problem;

    async fn from_request_parts(parts: &mut Parts, service: &Service) -> Result<Self, Problem> {
        let token = bearer_token(&parts.headers)?.to_owned();
        Ok(Access(Access::by_token(parts, service, &token).await?))
    }
}

impl Access {
    /// Who holds the token, where that is somebody who may ask this.
    pub(super) async fn by_token(
        parts: &mut Parts,
        service: &Service,
        token: &str,
    ) -> Result<Caller, Problem> {
        let caller = match service.caller_by_token(token).await {
            Err(ServiceError::Unauthenticated) => {
                let label = service.must_be_operator(token).await?;
                let named = programme_of(parts, service).await?;
                saw(parts, Known::operator(&label, named.as_deref()));
                let why = "an operator's token opens no programme";
                return Err(ServiceError::Forbidden(why.into()).into());
            }
            known => known?,
        };
        admit(parts, service, caller).await
    }
}

/// Tells whoever watches for denials who it is that asks.
fn saw(parts: &Parts, known: Known) {
    if let Some(witness) = parts.extensions.get::<Witness>() {
        witness.saw(known);
    }
}

/// An operator's token. It is looked at before the body is: who may not ask is not told
/// what is wrong with a request.
pub(super) struct Operator(pub String);

impl FromRequestParts<Service> for Operator {
    type Rejection = Problem;

    async fn from_request_parts(parts: &mut Parts, service: &Service) -> Result<Self, Problem> {
        let token = bearer_token(&parts.headers)?;
        match service.must_be_operator(token).await {
            Ok(label) => saw(parts, Known::operator(&label, None)),
            Err(ServiceError::Unauthenticated) => {
                let caller = service.caller_by_token(token).await?;
                saw(parts, Known::caller(&caller));
                let why = "this needs an operator's token";
                return Err(ServiceError::Forbidden(why.into()).into());
            }
            Err(other) => return Err(other.into()),
        }
        Ok(Operator(token.to_owned()))
    }
}

/// The client's `Idempotency-Key`, quotes of its structured-field form taken off.
pub(super) struct RepeatKey(pub Option<String>);

impl<S: Send + Sync> FromRequestParts<S> for RepeatKey {
    type Rejection = Problem;

    async fn from_request_parts(parts: &mut Parts, _: &S) -> Result<Self, Problem> {
        RepeatKey::of(&parts.headers)
    }
}

impl RepeatKey {
    pub(super) fn of(headers: &HeaderMap) -> Result<Self, Problem> {
        let Some(value) = headers.get("idempotency-key") else {
            return Ok(RepeatKey(None));
        };
        let key = value.to_str().unwrap_or_default().trim().trim_matches('"');
        if key.is_empty() || key.len() > 200 || key.chars().any(char::is_control) {
            return Err(Problem::field(
                "Idempotency-Key",
                "give 1 to 200 printable characters",
            ));
        }
        Ok(RepeatKey(Some(key.to_owned())))
    }
}

/// Bytes that a JSON body may have.
pub(super) const JSON_BYTES_MAX: usize = 2 * 1024 * 1024;

/// A JSON body read strictly (no duplicate names), with the bytes it came in.
pub(super) struct Json<T> {
    pub value: T,
    pub bytes: Bytes,
}

impl<T> Json<T> {
    pub fn once(&self, key: RepeatKey, operation: &str) -> Once {
        Once::new(key.0, operation, &self.bytes)
    }
}

impl<T: DeserializeOwned, S: Send + Sync> FromRequest<S> for Json<T> {
    type Rejection = Problem;

    async fn from_request(request: Request, state: &S) -> Result<Self, Problem> {
        let is_json = request
            .headers()
            .get(header::CONTENT_TYPE)
            .and_then(|value| value.to_str().ok())
            .is_some_and(|value| {
                value
                    .trim()
                    .to_ascii_lowercase()
                    .starts_with("application/json")
            });
        if !is_json {
            return Err(Problem::unsupported(
                "send JSON with Content-Type: application/json",
            ));
        }
        let bytes = Bytes::from_request(request, state)
            .await
            .map_err(|e| match e.status() {
                StatusCode::PAYLOAD_TOO_LARGE => ServiceError::TooLarge {
                    limit_bytes: JSON_BYTES_MAX as u64,
                }
                .into(),
                _ => Problem::unreadable(e.to_string()),
            })?;
        let value = parse_strict(&bytes).map_err(|e| Problem::unreadable(e.to_string()))?;
        let value =
            serde_json::from_value(value).map_err(|e| Problem::field("body", e.to_string()))?;
        Ok(Json { value, bytes })
    }
}

/// Query parameters; a wrong one is a problem that names it.
pub(super) struct QueryParts<T>(pub T);

impl<T: DeserializeOwned, S: Send + Sync> FromRequestParts<S> for QueryParts<T> {
    type Rejection = Problem;

    async fn from_request_parts(parts: &mut Parts, state: &S) -> Result<Self, Problem> {
        axum::extract::Query::from_request_parts(parts, state)
            .await
            .map(|axum::extract::Query(value)| QueryParts(value))
            .map_err(|e| Problem::field("query", e.body_text()))
    }
}

/// Path parameters; one that cannot be read names nothing that exists.
pub(super) struct PathParts<T>(pub T);

impl<T: DeserializeOwned + Send, S: Send + Sync> FromRequestParts<S> for PathParts<T> {
    type Rejection = Problem;

    async fn from_request_parts(parts: &mut Parts, state: &S) -> Result<Self, Problem> {
        axum::extract::Path::from_request_parts(parts, state)
            .await
            .map(|axum::extract::Path(value)| PathParts(value))
            .map_err(|e| {
                let name = e.body_text();
                ServiceError::NotFound {
                    what: "resource:",
                    name,
                }
                .into()
            })
    }
}
