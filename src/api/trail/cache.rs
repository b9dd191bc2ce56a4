//! How long an answer of the trail may be kept. All of it stands behind a token, so only
//! the asker's own cache may keep it, and for that token alone.

use crate::trail::merkle::sha256;
use axum::body::Body;
use axum::http::{HeaderMap, HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Response};
use serde::Serialize;

/// What never changes: an entry, a proof at a stated size.
const FOR_EVER: &str = "private, max-age=31536000, immutable";
/// What moves on: asked again each time, and answered in short where it has not.
const ASK_AGAIN: &str = "private, no-cache";

/// Keeps an answer that will never be another.
pub(super) fn for_ever(answer: impl IntoResponse) -> Response {
    with_policy(answer.into_response(), FOR_EVER)
}

/// An answer that may be another next time, known by a digest of its bytes; only that is
/// told where the asker has the same.
pub(super) fn tagged(asked: &HeaderMap, media_type: &'static str, body: Vec<u8>) -> Response {
    let tag = format!("\"{}\"", &sha256(&body).to_string()[..32]);
    let same = asked
        .get_all(header::IF_NONE_MATCH)
        .iter()
        .filter_map(|value| value.to_str().ok())
        .flat_map(|value| value.split(','))
        .any(|known| known.trim().trim_start_matches("W/") == tag || known.trim() == "*");
    let mut answer = if same {
        StatusCode::NOT_MODIFIED.into_response()
    } else {
        ([(header::CONTENT_TYPE, media_type)], Body::from(body)).into_response()
    };
    if let Ok(tag) = HeaderValue::from_str(&tag) {
        answer.headers_mut().insert(header::ETAG, tag);
    }
    with_policy(answer, ASK_AGAIN)
}

/// The same for JSON.
pub(super) fn tagged_json<T: Serialize>(
    asked: &HeaderMap,
    value: &T,
) -> Result<Response, serde_json::Error> {
    Ok(tagged(
        asked,
        "application/json",
        serde_json::to_vec(value)?,
    ))
}

fn with_policy(mut answer: Response, policy: &'static str) -> Response {
    let headers = answer.headers_mut();
    headers.insert(header::CACHE_CONTROL, HeaderValue::from_static(policy));
    headers.append(header::VARY, HeaderValue::from_static("authorization"));
    answer
}
