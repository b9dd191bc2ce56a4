//! A secret of the session in every form, so that no other site can send one in a visitor's name.
//!
//! It is put into forms here, on the way out, and asked for on the way in: no page can forget
//! it. A form of fields carries it as one more field, a form with a file in its address, so that
//! the file need not be read first. It is a hash of the session's secret, which it does not give
//! away, and ends with the session.

use super::refusal::Refusal;
use super::session::session_of;
use axum::body::{Body, Bytes, to_bytes};
use axum::extract::Request;
use axum::http::{HeaderMap, Method, header};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};
use sha2::{Digest, Sha256};

const FIELD: &str = "form_token";
const SIGN_IN: &str = "/sign-in";
/// Larger forms of fields are refused; files come as `multipart/form-data`.
const FORM_BYTES_MAX: usize = 2 << 20;

/// Refuses forms without the session's token, and puts it into the forms of the answer.
///
/// Without a session there is nothing that a form could be sent in the name of.
pub(super) async fn guard(request: Request, next: Next) -> Response {
    let Some(token) = session_of(request.headers()).map(token_of) else {
        return next.run(request).await;
    };
    // Whoever signs in may bring a session that has ended.
    let asks = matches!(*request.method(), Method::GET | Method::HEAD);
    let request = if !asks && request.uri().path() != SIGN_IN {
        match checked(request, &token).await {
            Ok(request) => request,
            Err(refusal) => return refusal.into_response(),
        }
    } else {
        request
    };
    with_token(next.run(request).await, &token).await
}

fn token_of(session: &str) -> String {
    hex::encode(Sha256::digest(format!("emberbook form\n{session}")))
}

fn refused() -> Refusal {
    Refusal::forbidden(
        "This form belongs to another session, or to none, so nothing was done. Go back, load the page again and send it from there.",
    )
}

/// The request as it came, where it carries the token.
async fn checked(request: Request, token: &str) -> Result<Request, Refusal> {
    let carried = |pairs: &[u8]| {
        let wanted = format!("{FIELD}={token}");
        pairs
            .split(|byte| *byte == b'&')
            .any(|pair| pair == wanted.as_bytes())
    };
    if carried(request.uri().query().unwrap_or_default().as_bytes()) {
        return Ok(request);
    }
    if !is(request.headers(), "application/x-www-form-urlencoded") {
        return Err(refused());
    }
    let (parts, body) = request.into_parts();
    let bytes = to_bytes(body, FORM_BYTES_MAX)
        .await
        .map_err(|_| Refusal::unreadable("The form broke off, or is too large."))?;
    if carried(&bytes) {
        Ok(Request::from_parts(parts, Body::from(bytes)))
    } else {
        Err(refused())
    }
}

fn is(headers: &HeaderMap, media_type: &str) -> bool {
    let given = headers.get(header::CONTENT_TYPE);
    given.is_some_and(|given| given.as_bytes().starts_with(media_type.as_bytes()))
}

/// The answer with the token in each form of a page; other answers pass untouched.
async fn with_token(response: Response, token: &str) -> Response {
    if !is(response.headers(), "text/html") {
        return response;
    }
    let (mut parts, body) = response.into_parts();
    // A page is drawn in memory as a whole, so there is nothing to bound here.
    let bytes = to_bytes(body, usize::MAX)
        .await
        .unwrap_or_else(|_| Bytes::new());
    let page = put_into(&String::from_utf8_lossy(&bytes), token);
    parts.headers.remove(header::CONTENT_LENGTH);
    Response::from_parts(parts, Body::from(page))
}

/// Puts the token into each form that posts. What users wrote is escaped on every page, so a
/// form's tag is always our own.
fn put_into(page: &str, token: &str) -> String {
    let mut told = String::with_capacity(page.len() + 256);
    let mut rest = page;
    while let Some(start) = rest.find("<form ") {
        let (before, from) = rest.split_at(start);
        let end = from.find('>').map_or(from.len(), |end| end + 1);
        let (tag, after) = from.split_at(end);
        told.push_str(before);
        if !tag.contains(r#"method="post""#) {
            told.push_str(tag);
        } else if tag.contains(r#"enctype="multipart/form-data""#) {
            told.push_str(&in_address(tag, token));
        } else {
            told.push_str(tag);
            told.push_str(&format!(
                r#"<input type="hidden" name="{FIELD}" value="{token}">"#
            ));
        }
        rest = after;
    }
    told.push_str(rest);
    told
}

/// The tag with the token in its address.
fn in_address(tag: &str, token: &str) -> String {
    let Some((before, from)) = tag.split_once(r#"action=""#) else {
        return tag.to_owned();
    };
    let (address, after) = from.split_once('"').unwrap_or((from, ""));
    let mark = if address.contains('?') { "&amp;" } else { "?" };
    format!(r#"{before}action="{address}{mark}{FIELD}={token}"{after}"#)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_form_that_posts_carries_the_token_and_one_that_asks_does_not() {
        let page = r#"<form class="a" method="post" action="/x"><b></b></form><form method="get" action="/y"></form>"#;
        assert_eq!(
            put_into(page, "t"),
            r#"<form class="a" method="post" action="/x"><input type="hidden" name="form_token" value="t"><b></b></form><form method="get" action="/y"></form>"#
        );
    }

    #[test]
    fn a_form_with_a_file_carries_it_in_its_address() {
        let form = |address: &str| {
            format!(r#"<form method="post" action="{address}" enctype="multipart/form-data">"#)
        };
        assert_eq!(put_into(&form("/u"), "t"), form("/u?form_token=t"));
        assert_eq!(
            put_into(&form("/u?a=b"), "t"),
            form("/u?a=b&amp;form_token=t")
        );
    }

    #[test]
    fn a_broken_tag_is_left_as_it_is() {
        assert_eq!(
            put_into("<form method=\"post\"", "t")
                .matches("<form")
                .count(),
            1
        );
        assert_eq!(put_into("no form", "t"), "no form");
    }
}
