//! What a phone is answered: OpenRosa's response XML, and the addresses in it.

use super::{VERSION, xml_text};
use crate::api::Problem;
use crate::service::ServiceError;
use crate::service::batches::BatchView;
use crate::service::denials::Denied;
use axum::http::{HeaderMap, HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Response};

/// Asks for the token as a password; nothing of the programme is told to a stranger.
const CHALLENGE: HeaderValue =
    HeaderValue::from_static("Basic realm=\"Emberbook phone forms\", charset=\"UTF-8\"");

pub(super) fn xml_answer(status: StatusCode, text: String) -> Response {
    let headers = [
        (VERSION.0, VERSION.1),
        (header::CONTENT_TYPE, "text/xml; charset=utf-8"),
    ];
    (status, headers, text).into_response()
}

fn message(status: StatusCode, nature: &str, sentence: &str) -> Response {
    let text = format!(
        "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n\
         <OpenRosaResponse xmlns=\"http://openrosa.org/http/response\">\
         <message nature=\"{nature}\">{}</message></OpenRosaResponse>\n",
        xml_text(sentence)
    );
    xml_answer(status, text)
}

/// A form that is a row now, or was one already.
pub(super) struct Taken {
    pub batch: BatchView,
    pub place: String,
}

impl IntoResponse for Taken {
    fn into_response(self) -> Response {
        let (status, sentence) = if self.batch.repeated {
            let sentence = "This form was taken before; nothing was added.".to_owned();
            (StatusCode::ACCEPTED, sentence)
        } else {
            let sentence = format!(
                "The form was taken: it is batch {}, entry {} of the trail.",
                self.batch.id, self.batch.sequence
            );
            (StatusCode::CREATED, sentence)
        };
        let mut response = message(status, "submit_success", &sentence);
        if let Ok(place) = HeaderValue::from_str(&self.place) {
            response.headers_mut().insert(header::LOCATION, place);
        }
        response
    }
}

/// A refusal in the form that phones show. Whoever is not known gets a problem document and
/// the challenge, like everywhere else.
pub(super) struct FormRefusal(Problem);

impl From<Problem> for FormRefusal {
    fn from(problem: Problem) -> Self {
        FormRefusal(problem)
    }
}

impl From<ServiceError> for FormRefusal {
    fn from(error: ServiceError) -> Self {
        FormRefusal(error.into())
    }
}

impl IntoResponse for FormRefusal {
    fn into_response(self) -> Response {
        let sentence = sentence(&self.0);
        let mut plain = self.0.into_response();
        if plain.status() == StatusCode::UNAUTHORIZED {
            let headers = plain.headers_mut();
            // The one that phones speak comes first.
            if let Some(others) = headers.insert(header::WWW_AUTHENTICATE, CHALLENGE) {
                headers.append(header::WWW_AUTHENTICATE, others);
            }
            headers.insert(VERSION.0, HeaderValue::from_static(VERSION.1));
            return plain;
        }
        let mut response = message(plain.status(), "submit_error", &sentence);
        if let Some(seconds) = plain.headers_mut().remove(header::RETRY_AFTER) {
            response.headers_mut().insert(header::RETRY_AFTER, seconds);
        }
        if let Some(denied) = plain.extensions().get::<Denied>() {
            response.extensions_mut().insert(denied.clone());
        }
        response
    }
}

/// Everything that is wrong, in one text for a small screen.
fn sentence(problem: &Problem) -> String {
    let mut parts: Vec<String> = problem
        .rejections
        .iter()
        .map(|each| match &each.column {
            Some(question) => format!("{question}: {}", each.detail),
            None => each.detail.clone(),
        })
        .collect();
    let fields = problem.errors.iter();
    parts.extend(fields.map(|each| format!("{}: {}", each.field, each.detail)));
    if parts.is_empty() {
        problem.detail.clone()
    } else {
        format!("{}. Nothing was kept.", parts.join(". "))
    }
}

/// The address of a path as the client reaches this server: what it named as the host, and
/// the scheme that a proxy in front says it used.
pub(super) fn address(headers: &HeaderMap, path: &str) -> String {
    let text = |name: &str| headers.get(name).and_then(|value| value.to_str().ok());
    let host = text("host").unwrap_or("localhost");
    let proto = text("x-forwarded-proto").and_then(|told| told.split(',').next());
    let by_https = proto.is_some_and(|first| first.trim().eq_ignore_ascii_case("https"));
    let scheme = if by_https { "https" } else { "http" };
    format!("{scheme}://{host}{path}")
}

#[cfg(test)]
mod tests {
    use super::*;
    use axum::http::HeaderName;

    #[test]
    fn an_address_is_the_one_by_which_the_client_came() {
        let host = (header::HOST, HeaderValue::from_static("books.example:8443"));
        let plain = HeaderMap::from_iter([host.clone()]);
        assert_eq!(address(&plain, "/x"), "http://books.example:8443/x");
        let proto = HeaderName::from_static("x-forwarded-proto");
        let proxied = (proto, HeaderValue::from_static("https, http"));
        let behind = HeaderMap::from_iter([host, proxied]);
        assert_eq!(address(&behind, "/x"), "https://books.example:8443/x");
    }
}
