//! What was denied to known callers, the latest first.

use super::page::{QueryParts, Section, Shell, draw};
use super::refusal::Refusal;
use super::session::Visitor;
use super::words;
use crate::service::Service;
use crate::service::denials::DenialView;
use askama::Template;
use axum::extract::State;
use axum::response::Response;
use serde::Deserialize;

const DENIALS_A_PAGE: u32 = 50;

#[derive(Template)]
#[template(path = "denials.html")]
struct DenialsPage {
    shell: Shell,
    denials: Vec<DenialLine>,
    older: Option<u64>,
    latest: bool,
}

struct DenialLine {
    at: String,
    who: String,
    what: String,
    status: u16,
    why: String,
    request_id: String,
}

#[derive(Deserialize)]
pub(super) struct DenialQuery {
    /// Shows the denials before this one.
    before: Option<u64>,
}

pub(super) async fn list(
    State(service): State<Service>,
    Visitor(caller): Visitor,
    QueryParts(query): QueryParts<DenialQuery>,
) -> Result<Response, Refusal> {
    let page = service
        .denials(&caller, query.before, DENIALS_A_PAGE)
        .await?;
    draw(&DenialsPage {
        shell: Shell::of(&caller, Section::Denials, "Denials"),
        denials: page.items.into_iter().map(line).collect(),
        older: page.next,
        latest: query.before.is_none(),
    })
}

fn line(view: DenialView) -> DenialLine {
    DenialLine {
        at: words::instant(view.at),
        who: view.who,
        what: format!("{} {}", view.method, view.path),
        status: view.status,
        why: view.why,
        request_id: view.request_id,
    }
}
