//! What is said when a page cannot be shown, in plain words.

use super::page::Shell;
use crate::service::ServiceError;
use crate::service::denials::Denied;
use askama::Template;
use axum::http::{StatusCode, Uri, header};
use axum::response::{Html, IntoResponse, Redirect, Response};
use std::fmt::Display;

#[derive(Template)]
#[template(path = "refusal.html")]
struct RefusalPage<'a> {
    shell: Shell,
    title: &'static str,
    detail: &'a str,
    advice: &'static str,
}

/// Why a page is not shown.
#[derive(Debug)]
pub(super) enum Refusal {
    /// Nobody is signed in.
    SignIn,
    /// Signed in with a first password, which is to be replaced.
    ChoosePassword,
    Page {
        status: StatusCode,
        title: &'static str,
        detail: String,
        advice: &'static str,
    },
}

impl Refusal {
    fn page(status: StatusCode, title: &'static str, detail: &str, advice: &'static str) -> Self {
        Refusal::Page {
            status,
            title,
            detail: detail.to_owned(),
            advice,
        }
    }

    pub fn not_found(detail: &str) -> Self {
        let advice = "Check the address, or start from the overview.";
        Refusal::page(StatusCode::NOT_FOUND, "Not found", detail, advice)
    }

    pub fn forbidden(detail: &str) -> Self {
        let advice = "If you meant to do this, open the page here and send its form again.";
        Refusal::page(StatusCode::FORBIDDEN, "Not allowed", detail, advice)
    }

    pub fn unreadable(detail: &str) -> Self {
        let advice = "Follow a link from the overview instead.";
        Refusal::page(
            StatusCode::BAD_REQUEST,
            "This address cannot be read",
            detail,
            advice,
        )
    }

    /// Something of ours broke; the cause goes to the log alone.
    pub fn broken(cause: &dyn Display) -> Self {
        tracing::error!(%cause, "a page could not be shown");
        Refusal::page(
            StatusCode::INTERNAL_SERVER_ERROR,
            "Something went wrong on our side",
            "The page could not be made. Nothing of yours was changed or lost.",
            "Try again in a moment. If it stays, tell whoever runs this server; the cause is in its log.",
        )
    }
}

impl From<ServiceError> for Refusal {
    fn from(error: ServiceError) -> Self {
        match &error {
            ServiceError::Unauthenticated => Refusal::SignIn,
            ServiceError::NotFound { what, name } => {
                Refusal::not_found(&format!("There is no {what} {name}."))
            }
            ServiceError::Forbidden(detail) => Refusal::page(
                StatusCode::FORBIDDEN,
                "Not allowed",
                detail,
                "Sign in with a token that may do this.",
            ),
            ServiceError::Invalid(_) => Refusal::unreadable(&error.to_string()),
            ServiceError::Outage(cause) => {
                tracing::error!(error = %cause, "database cannot be reached");
                Refusal::page(
                    StatusCode::SERVICE_UNAVAILABLE,
                    "Try again in a moment",
                    "The database cannot be reached just now.",
                    "Nothing of yours was changed or lost.",
                )
            }
            _ => Refusal::broken(&error),
        }
    }
}

impl IntoResponse for Refusal {
    fn into_response(self) -> Response {
        let (status, title, detail, advice) = match self {
            Refusal::SignIn => {
                return denied(
                    Redirect::to("/sign-in").into_response(),
                    "nobody is signed in",
                );
            }
            Refusal::ChoosePassword => return Redirect::to("/account").into_response(),
            Refusal::Page {
                status,
                title,
                detail,
                advice,
            } => (status, title, detail, advice),
        };
        let page = RefusalPage {
            shell: Shell::bare(title),
            title,
            detail: &detail,
            advice,
        };
        let response = match page.render() {
            Ok(text) => (status, Html(text)).into_response(),
            Err(_) => (status, title).into_response(),
        };
        match status {
            StatusCode::FORBIDDEN => denied(response, &detail),
            _ => response,
        }
    }
}

/// Marks an answer as a denial, for whoever watches for them.
pub(super) fn denied(mut response: Response, why: &str) -> Response {
    response.extensions_mut().insert(Denied(why.to_owned()));
    response
}

/// Answers a path that nothing else answers: programs get problem details, people a page.
pub(super) async fn unknown_path(uri: Uri) -> Response {
    if uri.path() == "/api" || uri.path().starts_with("/api/") {
        let problem = concat!(
            r#"{"type":"/problems/not-found","title":"Not found","status":404,"#,
            r#""detail":"there is nothing at this path; see /api/v1/openapi.json"}"#
        );
        let kind = [(header::CONTENT_TYPE, "application/problem+json")];
        return (StatusCode::NOT_FOUND, kind, problem).into_response();
    }
    Refusal::not_found("There is nothing at this address.").into_response()
}
