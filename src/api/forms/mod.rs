//! Phone forms by the OpenRosa protocol: the list, a form, and what comes back filled in.
//!
//! Any client of the openly published OpenRosa 1.0 standards (form list, form submission,
//! HTTP requests, authentication) can be pointed at `…/programmes/CODE/forms`. Such clients
//! speak HTTP Basic: the user name is anything, the password is the token. HTTP Digest is not
//! offered, because it needs the secret itself or a hash that is as good as it, and of a token
//! only a one-way hash is kept.

mod access;
mod answers;
mod multipart;

use super::Problem;
use super::extract::{PathParts, QueryParts, RepeatKey};
use crate::intake::xform::{SUBMISSION_BYTES_MAX, XForm, xml_text};
use crate::service::Service;
use access::FormAccess;
use answers::{FormRefusal, Taken, address, xml_answer};
use axum::extract::{DefaultBodyLimit, Request, State};
use axum::http::{HeaderMap, HeaderName, StatusCode, header};
use axum::response::{IntoResponse, Response};
use md5::{Digest, Md5};
use serde::Deserialize;
use std::fmt::Write;
use utoipa::IntoParams;
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

/// Bytes that a whole submission may have; told to the phone before it sends one. The XML
/// in it is bounded more closely.
const BODY_BYTES_MAX: usize = 2 * SUBMISSION_BYTES_MAX;

const VERSION: (HeaderName, &str) = (HeaderName::from_static("x-openrosa-version"), "1.0");
const ACCEPTED_LENGTH: HeaderName = HeaderName::from_static("x-openrosa-accept-content-length");

pub(super) fn routes() -> OpenApiRouter<Service> {
    OpenApiRouter::new()
        .routes(routes!(list_forms))
        .routes(routes!(read_form))
        .routes(routes!(announce_submission, submit_form))
        .layer(DefaultBodyLimit::max(BODY_BYTES_MAX))
}

#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
struct ListQuery {
    /// Lists this form alone.
    #[serde(rename = "formID")]
    #[param(rename = "formID")]
    form_id: Option<String>,
}

/// The OpenRosa form list: each kind of the register, and each round that has not ended.
#[utoipa::path(get, path = "/forms/formList", tag = "forms",
    security(("token" = ["manager", "monitor", "verifier"]), ("password" = [])),
    params(("programme" = String, Path, description = "Programme code"), ListQuery), responses(
    (status = 200, body = String, content_type = "text/xml"),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = String, content_type = "text/xml")))]
async fn list_forms(
    State(service): State<Service>,
    FormAccess(caller): FormAccess,
    QueryParts(query): QueryParts<ListQuery>,
    headers: HeaderMap,
) -> Result<Response, FormRefusal> {
    let forms = service.forms(&caller).await?;
    let mut text = String::from(
        "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n\
         <xforms xmlns=\"http://openrosa.org/xforms/xformsList\">\n",
    );
    for form in forms {
        let id = form.id.to_string();
        if query.form_id.as_ref().is_some_and(|asked| *asked != id) {
            continue;
        }
        let path = format!("/api/v1/programmes/{}/forms/{id}", caller.programme_code);
        write_listed(&form, &id, &address(&headers, &path), &mut text);
    }
    text.push_str("</xforms>\n");
    Ok(xml_answer(StatusCode::OK, text))
}

fn write_listed(form: &XForm, id: &str, address: &str, text: &mut String) {
    let hash = hex::encode(Md5::digest(form.xml.as_bytes()));
    // Writing to a text cannot fail.
    let _ = writeln!(
        text,
        "  <xform><formID>{}</formID><name>{}</name><version>{}</version><hash>md5:{hash}</hash>\
         <downloadUrl>{}</downloadUrl></xform>",
        xml_text(id),
        xml_text(&form.title),
        xml_text(&form.version),
        xml_text(address)
    );
}

/// One form as XForms, made from the template of its kind.
#[utoipa::path(get, path = "/forms/{form}", tag = "forms",
    security(("token" = ["manager", "monitor", "verifier"]), ("password" = [])),
    params(("programme" = String, Path, description = "Programme code"),
           ("form" = String, Path, description = "Form id: `kind--round`, or the kind alone \
            for the register")), responses(
    (status = 200, body = String, content_type = "text/xml"),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = String, content_type = "text/xml"),
    (status = 404, body = String, content_type = "text/xml")))]
async fn read_form(
    State(service): State<Service>,
    FormAccess(caller): FormAccess,
    path: PathParts<(String, String)>,
) -> Result<Response, FormRefusal> {
    let PathParts((_, name)) = path;
    let form = service.form(&caller, &name).await?;
    Ok(xml_answer(StatusCode::OK, form.xml))
}

/// Whether a filled-in form may be sent here, and how large it may be.
#[utoipa::path(head, path = "/forms/submission", tag = "forms",
    security(("token" = ["manager", "monitor"]), ("password" = [])),
    params(("programme" = String, Path, description = "Programme code")), responses(
    (status = 204, description = "with Location and X-OpenRosa-Accept-Content-Length"),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, description = "not for this caller")))]
async fn announce_submission(
    State(service): State<Service>,
    FormAccess(caller): FormAccess,
    headers: HeaderMap,
) -> Result<Response, FormRefusal> {
    service.may_submit(&caller)?;
    let place = submission_address(&headers, &caller.programme_code);
    let fields = [
        (VERSION.0, VERSION.1.to_owned()),
        (header::LOCATION, place),
        (ACCEPTED_LENGTH, BODY_BYTES_MAX.to_string()),
    ];
    Ok((StatusCode::NO_CONTENT, fields).into_response())
}

/// Take one filled-in form as one row. The same instance sent again changes nothing;
/// pictures, sound and other attachments are refused. With HTTP Basic the request must carry
/// `X-OpenRosa-Version`, which no page of another site can send along.
#[utoipa::path(post, path = "/forms/submission", tag = "forms",
    security(("token" = ["manager", "monitor"]), ("password" = [])),
    params(("programme" = String, Path, description = "Programme code"),
           ("Idempotency-Key" = Option<String>, Header, description = "Makes a repeat harmless")),
    request_body(content = String, content_type = "multipart/form-data",
                 description = "The XML as `xml_submission_file`, and nothing else"),
    responses(
    (status = 201, body = String, content_type = "text/xml"),
    (status = 202, body = String, content_type = "text/xml", description = "taken before"),
    (status = 400, body = String, content_type = "text/xml"),
    (status = 401, body = Problem, content_type = "application/problem+json"),
    (status = 403, body = String, content_type = "text/xml"),
    (status = 404, body = String, content_type = "text/xml"),
    (status = 409, body = String, content_type = "text/xml"),
    (status = 413, body = String, content_type = "text/xml"),
    (status = 415, body = String, content_type = "text/xml"),
    (status = 422, body = String, content_type = "text/xml",
     description = "with every wrong answer named")))]
async fn submit_form(
    State(service): State<Service>,
    FormAccess(caller): FormAccess,
    request: Request,
) -> Result<Response, FormRefusal> {
    service.may_submit(&caller)?;
    let (headers, key) = repeat_key(&request)?;
    let xml = multipart::filled_in_form(request).await?;
    let batch = service.accept_form(&caller, &xml, key).await?;
    Ok(Taken {
        batch,
        place: submission_address(&headers, &caller.programme_code),
    }
    .into_response())
}

fn repeat_key(request: &Request) -> Result<(HeaderMap, Option<String>), FormRefusal> {
    let headers = request.headers().clone();
    let RepeatKey(key) = RepeatKey::of(&headers)?;
    Ok((headers, key))
}

fn submission_address(headers: &HeaderMap, programme: &str) -> String {
    address(
        headers,
        &format!("/api/v1/programmes/{programme}/forms/submission"),
    )
}
