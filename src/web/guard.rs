//! What every answer carries, and the requests that are refused before any page sees them.

use super::refusal::Refusal;
use axum::extract::Request;
use axum::http::{HeaderMap, HeaderValue, Method, header};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};

/// No script at all; style, images and forms from this server alone; never in a frame.
const CONTENT_SECURITY_POLICY: HeaderValue = HeaderValue::from_static(
    "default-src 'none'; style-src 'self'; img-src 'self'; form-action 'self'; \
     base-uri 'none'; frame-ancestors 'none'",
);
const NO_STORE: HeaderValue = HeaderValue::from_static("no-store");

/// Refuses forms that other sites send, and sets the headers of a page.
pub(super) async fn guard(request: Request, next: Next) -> Response {
    let changes = !matches!(*request.method(), Method::GET | Method::HEAD);
    let mut response = if changes && is_foreign(request.headers()) {
        Refusal::forbidden("This form was sent from another site, so nothing was done.")
            .into_response()
    } else {
        next.run(request).await
    };
    let headers = response.headers_mut();
    headers.insert(header::CONTENT_SECURITY_POLICY, CONTENT_SECURITY_POLICY);
    headers.entry(header::CACHE_CONTROL).or_insert(NO_STORE);
    response
}

/// Whether a browser says that another site sent the request.
///
/// `Sec-Fetch-Site` is believed where it is given: a page cannot set it. Older browsers
/// send `Origin`, which must then name this host. A client that sends neither is no
/// browser, and carries no cookie that it was not given on purpose.
fn is_foreign(headers: &HeaderMap) -> bool {
    let text = |name: &str| headers.get(name).map(|value| value.to_str().unwrap_or(""));
    if let Some(site) = text("sec-fetch-site") {
        return !matches!(site, "same-origin" | "none");
    }
    match (text("origin"), text("host")) {
        (None, _) => false,
        (Some(origin), Some(host)) => origin
            .split_once("://")
            .is_none_or(|(_, named)| !named.eq_ignore_ascii_case(host)),
        (Some(_), None) => true,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn foreign(pairs: &[(&'static str, &'static str)]) -> bool {
        let headers = pairs
            .iter()
            .map(|(name, value)| (name.parse().unwrap(), HeaderValue::from_static(value)))
            .collect();
        is_foreign(&headers)
    }

    #[test]
    fn what_the_browser_says_of_the_site_decides() {
        assert!(foreign(&[("sec-fetch-site", "cross-site")]));
        assert!(foreign(&[("sec-fetch-site", "same-site")]));
        assert!(!foreign(&[("sec-fetch-site", "same-origin")]));
        assert!(!foreign(&[("sec-fetch-site", "none")]));
    }

    #[test]
    fn an_older_browser_is_judged_by_the_origin() {
        let host = ("host", "books.example:8080");
        assert!(!foreign(&[host, ("origin", "https://books.example:8080")]));
        assert!(foreign(&[host, ("origin", "https://other.example")]));
        assert!(foreign(&[host, ("origin", "null")]));
    }

    #[test]
    fn a_client_without_either_is_let_through() {
        assert!(!foreign(&[("host", "books.example")]));
    }
}
