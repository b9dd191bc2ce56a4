//! Where a phone's client finds the forms, and which there are.

use super::page::{Section, Shell, draw};
use super::refusal::Refusal;
use super::session::{Visitor, came_by_https};
use crate::service::Service;
use askama::Template;
use axum::extract::State;
use axum::http::{HeaderMap, header};
use axum::response::Response;

#[derive(Template)]
#[template(path = "forms.html")]
struct FormsPage {
    shell: Shell,
    address: String,
    forms: Vec<FormLine>,
}

struct FormLine {
    title: String,
    id: String,
    questions: usize,
}

pub(super) async fn list(
    State(service): State<Service>,
    Visitor(caller): Visitor,
    headers: HeaderMap,
) -> Result<Response, Refusal> {
    let forms = service.forms(&caller).await?;
    let host = headers
        .get(header::HOST)
        .and_then(|host| host.to_str().ok());
    let scheme = if came_by_https(&headers) {
        "https"
    } else {
        "http"
    };
    draw(&FormsPage {
        shell: Shell::of(&caller, Section::Evidence, "Phone forms"),
        address: format!(
            "{scheme}://{}/api/v1/programmes/{}/forms",
            host.unwrap_or("localhost"),
            caller.programme_code
        ),
        forms: forms
            .into_iter()
            .map(|form| FormLine {
                questions: form.id.kind.template().columns.len(),
                title: form.title,
                id: form.id.to_string(),
            })
            .collect(),
    })
}
