//! Who sends or fetches a form: a token as the password of HTTP Basic, or as a bearer.

use super::VERSION;
use super::answers::FormRefusal;
use crate::api::Problem;
use crate::api::extract::{Access, bearer_token};
use crate::service::{Caller, Service, ServiceError};
use axum::extract::FromRequestParts;
use axum::http::request::Parts;
use axum::http::{HeaderMap, Method, header};
use base64::Engine;
use base64::engine::general_purpose::STANDARD;

/// The same as [`Access`], for clients that know nothing but HTTP Basic.
pub(super) struct FormAccess(pub Caller);

impl FromRequestParts<Service> for FormAccess {
    type Rejection = FormRefusal;

    async fn from_request_parts(parts: &mut Parts, service: &Service) -> Result<Self, FormRefusal> {
        let token = match basic_password(&parts.headers) {
            Some(password) => {
                let caller = Access::by_token(parts, service, &password).await?;
                refuse_a_page(parts)?;
                return Ok(FormAccess(caller));
            }
            None => bearer_token(&parts.headers)
                .map_err(Problem::from)?
                .to_owned(),
        };
        Ok(FormAccess(Access::by_token(parts, service, &token).await?))
    }
}

/// The password of HTTP Basic (RFC 7617); the user name is not looked at.
fn basic_password(headers: &HeaderMap) -> Option<String> {
    let value = headers.get(header::AUTHORIZATION)?.to_str().ok()?;
    let (scheme, encoded) = value.split_once(' ')?;
    if !scheme.eq_ignore_ascii_case("basic") {
        return None;
    }
    let text = String::from_utf8(STANDARD.decode(encoded.trim()).ok()?).ok()?;
    let (_, password) = text.split_once(':')?;
    Some(password.to_owned())
}

/// A browser that once was given the password sends it along with whatever a page of another
/// site makes it post. The protocol's own header, which no such page can set, tells apart.
fn refuse_a_page(parts: &Parts) -> Result<(), Problem> {
    if parts.method != Method::POST || parts.headers.contains_key(VERSION.0) {
        return Ok(());
    }
    Err(ServiceError::Forbidden(
        "with HTTP Basic, a submission must carry the header X-OpenRosa-Version".into(),
    )
    .into())
}

#[cfg(test)]
mod tests {
    use super::*;
    use axum::http::HeaderValue;

    fn password(value: &'static str) -> Option<String> {
        let value = HeaderValue::from_static(value);
        basic_password(&HeaderMap::from_iter([(header::AUTHORIZATION, value)]))
    }

    /// The worked example of RFC 7617, section 2 (MEMORY).
    #[test]
    fn the_password_of_the_published_example_is_found() {
        let found = password("Basic QWxhZGRpbjpvcGVuIHNlc2FtZQ==");
        assert_eq!(found.as_deref(), Some("open sesame"));
    }

    #[test]
    fn anything_else_is_no_password() {
        for value in ["Basic", "Basic ?", "Basic QWxhZGRpbg==", "Bearer QWxhOmI="] {
            assert_eq!(password(value), None, "{value}");
        }
    }
}
