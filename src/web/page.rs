//! What all pages share: the shell around them, and how a template becomes an answer.

use super::refusal::Refusal;
use super::{assets, words};
use crate::service::Caller;
use askama::Template;
use axum::extract::{FromRequestParts, Path, Query};
use axum::http::request::Parts;
use axum::response::{Html, IntoResponse, Response};
use serde::de::DeserializeOwned;

/// The parts of the program that have a page, in the order of the navigation.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Section {
    Overview,
    Register,
    Evidence,
    Factors,
    Statements,
    Trail,
}

const SECTIONS: [(Section, &str, &str); 6] = [
    (Section::Overview, "Overview", "/"),
    (Section::Register, "Register", "/register"),
    (Section::Evidence, "Evidence", "/batches"),
    (Section::Factors, "Factors", "/factors"),
    (Section::Statements, "Statements", "/statements"),
    (Section::Trail, "Trail", "/trail"),
];

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
        let tabs = SECTIONS.map(|(each, name, href)| Tab {
            name,
            href,
            current: each == section,
        });
        Shell {
            reader: Some(Reader {
                programme: caller.programme_name.clone(),
                who: format!("{}, {}", caller.label, words::role(caller.role)),
                tabs: tabs.into(),
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
