//! Signing in with a name and a password or with an access token, and out again.

use super::page::{Shell, draw};
use super::refusal::{Refusal, denied};
use super::session::{self, Address};
use crate::service::access::SignIn;
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
    /// Said beside the token.
    fault: Option<String>,
    /// Said beside the password.
    password_fault: Option<String>,
    programme: String,
    name: String,
}

/// Either a token, or the three others.
#[derive(Deserialize, Default)]
pub(super) struct SignInForm {
    #[serde(default)]
    token: Option<String>,
    #[serde(default)]
    programme: String,
    #[serde(default)]
    name: String,
    #[serde(default)]
    password: String,
}

pub(super) async fn form() -> Result<Response, Refusal> {
    draw(&SignInPage {
        shell: Shell::bare("Sign in"),
        fault: None,
        password_fault: None,
        programme: String::new(),
        name: String::new(),
    })
}

pub(super) async fn sign_in(
    State(service): State<Service>,
    Address(address): Address,
    headers: HeaderMap,
    form: Result<Form<SignInForm>, FormRejection>,
) -> Result<Response, Refusal> {
    let form = form.map(|Form(form)| form).unwrap_or_default();
    let outcome = match &form.token {
        Some(token) => service.sign_in(token, address).await,
        None => {
            let sign_in = SignIn {
                programme: form.programme.trim(),
                name: form.name.trim(),
                password: &form.password,
            };
            service.sign_in_with_password(sign_in, address).await
        }
    };
    let (status, fault) = match outcome {
        Ok((_, session)) => {
            let cookie = [(header::SET_COOKIE, session::cookie(&session, &headers))];
            return Ok((cookie, Redirect::to("/")).into_response());
        }
        Err(ServiceError::Unauthenticated) => (
            StatusCode::UNPROCESSABLE_ENTITY,
            match &form.token {
                Some(token) if token.trim().is_empty() => {
                    "Enter the access token that you were given."
                }
                Some(_) => {
                    "This token is not known here, or not any more. Check that it was copied whole."
                }
                None => "Programme, name and password do not belong together.",
            }
            .to_owned(),
        ),
        Err(ServiceError::Braked { seconds }) => (
            StatusCode::TOO_MANY_REQUESTS,
            format!(
                "There were too many wrong tries. Try again in {} minutes.",
                seconds.div_ceil(60)
            ),
        ),
        Err(other) => return Err(other.into()),
    };
    let by_token = form.token.is_some();
    let page = draw(&SignInPage {
        shell: Shell::bare("Sign in"),
        fault: by_token.then(|| fault.clone()),
        password_fault: (!by_token).then(|| fault.clone()),
        programme: form.programme,
        name: form.name,
    })?;
    Ok(denied((status, page).into_response(), "a sign-in failed"))
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
