//! Signing in with an access token, and out again.

use super::page::{Shell, draw};
use super::refusal::Refusal;
use super::session;
use crate::service::{Service, ServiceError};
use askama::Template;
use axum::Form;
use axum::extract::State;
use axum::extract::rejection::FormRejection;
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::{IntoResponse, Redirect, Response};
use serde::Deserialize;

#[derive(Template)]
#[template(path = "sign_in.html")]
struct SignInPage {
    shell: Shell,
    /// Said beside the field.
    fault: Option<&'static str>,
}

#[derive(Deserialize)]
pub(super) struct SignInForm {
    token: String,
}

fn page(fault: Option<&'static str>) -> Result<Response, Refusal> {
    draw(&SignInPage {
        shell: Shell::bare("Sign in"),
        fault,
    })
}

pub(super) async fn form() -> Result<Response, Refusal> {
    page(None)
}

pub(super) async fn sign_in(
    State(service): State<Service>,
    headers: HeaderMap,
    form: Result<Form<SignInForm>, FormRejection>,
) -> Result<Response, Refusal> {
    let token = form.map(|Form(form)| form.token).unwrap_or_default();
    let fault = if token.trim().is_empty() {
        "Enter the access token that you were given."
    } else {
        match service.sign_in(&token).await {
            Ok((_, session)) => {
                let cookie = [(header::SET_COOKIE, session::cookie(&session, &headers))];
                return Ok((cookie, Redirect::to("/")).into_response());
            }
            Err(ServiceError::Unauthenticated) => {
                "This token is not known here. Check that it was copied whole."
            }
            Err(other) => return Err(other.into()),
        }
    };
    Ok((StatusCode::UNPROCESSABLE_ENTITY, page(Some(fault))?).into_response())
}

pub(super) async fn sign_out(
    State(service): State<Service>,
    headers: HeaderMap,
) -> Result<Response, Refusal> {
    if let Some(session) = session::session_of(&headers) {
        service.sign_out(session).await?;
    }
    let cookie = [(header::SET_COOKIE, session::forgotten(&headers))];
    Ok((cookie, Redirect::to("/sign-in")).into_response())
}
