//! What all pages share: the shell around them, and how a template becomes an answer.

use super::refusal::Refusal;
use super::{assets, words};
use crate::service::{Caller, Role};
use askama::Template;
use axum::extract::{FromRequestParts, Path, Query};
use axum::http::header;
use axum::http::request::Parts;
use axum::response::{Html, IntoResponse, Response};
use serde::de::DeserializeOwned;

/// The parts of the program that have a page, in the order of the navigation.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Section {
    Overview,
    Register,
    Rounds,
    Evidence,
    Factors,
    Statements,
    Findings,
    Trail,
    People,
    Denials,
}

const SECTIONS: [(Section, &str, &str); 10] = [
    (Section::Overview, "Overview", "/"),
    (Section::Register, "Register", "/register"),
    (Section::Rounds, "Rounds", "/rounds"),
    (Section::Evidence, "Evidence", "/batches"),
    (Section::Factors, "Factors", "/factors"),
    (Section::Statements, "Statements", "/statements"),
    (Section::Findings, "Findings", "/findings"),
    (Section::Trail, "Trail", "/trail"),
    (Section::People, "People", "/people"),
    (Section::Denials, "Denials", "/denials"),
];

/// Whether the section has a page for the caller, so that no tab leads to a refusal.
fn is_open(section: Section, caller: &Caller) -> bool {
    match section {
        // Until the first password is replaced there is one page only.
        _ if caller.first_password => false,
        Section::Overview
        | Section::Register
        | Section::Rounds
        | Section::Evidence
        | Section::Factors => true,
        Section::Statements | Section::Trail => caller.sites.is_none(),
        Section::People => caller.role == Role::Manager,
        Section::Findings | Section::Denials => {
            matches!(caller.role, Role::Manager | Role::Verifier)
        }
    }
}

/// One entry of the navigation.
pub(super) struct Tab {
    pub name: &'static str,
    pub href: &'static str,
    pub current: bool,
}

/// Whose programme is shown, and to whom.
pub(super) struct Reader {
    pub programme: String,
    pub who: String,
    pub tabs: Vec<Tab>,
}

/// The frame around a page; without a reader it has no navigation.
pub(super) struct Shell {
    pub title: String,
    pub reader: Option<Reader>,
    pub style: String,
    pub icon: String,
    pub version: &'static str,
}

impl Shell {
    /// For someone who is signed in.
    pub fn of(caller: &Caller, section: Section, title: impl Into<String>) -> Self {
        Shell::with(caller, Some(section), title)
    }

    /// A page outside the sections.
    pub fn beside(caller: &Caller, title: impl Into<String>) -> Self {
        Shell::with(caller, None, title)
    }

    fn with(caller: &Caller, section: Option<Section>, title: impl Into<String>) -> Self {
        let tabs = SECTIONS
            .into_iter()
            .filter(|(each, _, _)| is_open(*each, caller))
            .map(|(each, name, href)| Tab {
                name,
                href,
                current: Some(each) == section,
            });
        Shell {
            reader: Some(Reader {
                programme: caller.programme_name.clone(),
                who: format!("{}, {}", caller.label, words::role(caller.role)),
                tabs: tabs.collect(),
            }),
            ..Shell::bare(title)
        }
    }

    pub fn bare(title: impl Into<String>) -> Self {
        Shell {
            title: title.into(),
            reader: None,
            style: assets::style_path(),
            icon: assets::icon_path(),
            version: env!("CARGO_PKG_VERSION"),
        }
    }
}

/// Draws the page.
pub(super) fn draw(template: &impl Template) -> Result<Response, Refusal> {
    template
        .render()
        .map(|text| Html(text).into_response())
        .map_err(|error| Refusal::broken(&error))
}

/// Path parameters; one that cannot be read names nothing that exists.
pub(super) struct PathParts<T>(pub T);

impl<T: DeserializeOwned + Send, S: Send + Sync> FromRequestParts<S> for PathParts<T> {
    type Rejection = Refusal;

    async fn from_request_parts(parts: &mut Parts, state: &S) -> Result<Self, Refusal> {
        Path::from_request_parts(parts, state)
            .await
            .map(|Path(value)| PathParts(value))
            .map_err(|_| Refusal::not_found("There is nothing at this address."))
    }
}

/// Query parameters of the address.
pub(super) struct QueryParts<T>(pub T);

impl<T: DeserializeOwned, S: Send + Sync> FromRequestParts<S> for QueryParts<T> {
    type Rejection = Refusal;

    async fn from_request_parts(parts: &mut Parts, state: &S) -> Result<Self, Refusal> {
        Query::from_request_parts(parts, state)
            .await
            .map(|Query(value)| QueryParts(value))
            .map_err(|_| Refusal::unreadable("A part of this address after the ? cannot be read."))
    }
}

/// Bytes as a file to keep.
pub(super) fn download(media_type: &str, name: &str, bytes: Vec<u8>) -> Response {
    let headers = [
        (header::CONTENT_TYPE, media_type.to_owned()),
        (
            header::CONTENT_DISPOSITION,
            format!("attachment; filename=\"{name}\""),
        ),
    ];
    (headers, bytes).into_response()
}
