//! What every answer carries, and the requests that are refused before any page sees them.

use super::refusal::Refusal;
use crate::service::browser;
use axum::extract::Request;
use axum::http::{HeaderMap, HeaderValue, Method, header};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};

/// No script at all; style, images and forms from this server alone; never in a frame.
const CONTENT_SECURITY_POLICY: HeaderValue = HeaderValue::from_static(
    "default-src 'none'; style-src 'self'; img-src 'self'; form-action 'self'; \
     base-uri 'none'; frame-ancestors 'none'",
);
/// A page with a script of this server, which talks to this server.
const WITH_OWN_SCRIPT: HeaderValue = HeaderValue::from_static(
    "default-src 'none'; style-src 'self'; img-src 'self'; form-action 'self'; \
     base-uri 'none'; frame-ancestors 'none'; script-src 'self'; connect-src 'self'",
);
/// The pages of the forms that send files and plan rounds, and of a proof.
const SCRIPTED_PAGES: [&str; 4] = ["/batches", "/rounds", "/rounds/plan", "/proof"];
const NO_STORE: HeaderValue = HeaderValue::from_static("no-store");

/// Refuses forms that other sites send, and sets the headers of a page.
pub(super) async fn guard(request: Request, next: Next) -> Response {
    let changes = !matches!(*request.method(), Method::GET | Method::HEAD);
    let policy = if SCRIPTED_PAGES.contains(&request.uri().path()) {
        WITH_OWN_SCRIPT
    } else {
        CONTENT_SECURITY_POLICY
    };
    let mut response = if changes && is_foreign(request.headers()) {
        Refusal::forbidden("This form was sent from another site, so nothing was done.")
            .into_response()
    } else {
        next.run(request).await
    };
    let headers = response.headers_mut();
    headers.insert(header::CONTENT_SECURITY_POLICY, policy);
    headers.entry(header::CACHE_CONTROL).or_insert(NO_STORE);
    response
}

/// Whether a browser says that another site sent the request.
fn is_foreign(headers: &HeaderMap) -> bool {
    let text = |name: &str| headers.get(name).map(|value| value.to_str().unwrap_or(""));
    browser::is_foreign(text("sec-fetch-site"), text("origin"), text("host"))
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
