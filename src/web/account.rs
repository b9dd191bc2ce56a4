//! The reader's own access: what it allows, the password, the token.

use super::page::{Shell, draw};
use super::refusal::Refusal;
use super::session::{self, Address, AnyVisitor};
use super::words;
use crate::service::caller::Holder;
use crate::service::{Caller, Service, ServiceError};
use askama::Template;
use axum::Form;
use axum::extract::State;
use axum::extract::rejection::FormRejection;
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::{IntoResponse, Redirect, Response};
use serde::Deserialize;

#[derive(Template)]
#[template(path = "account.html")]
struct AccountPage {
    shell: Shell,
    label: String,
    role: &'static str,
    sites: Option<String>,
    read_only: bool,
    has_password: bool,
    first_password: bool,
    fault: Option<String>,
}

#[derive(Deserialize, Default)]
pub(super) struct PasswordForm {
    current: String,
    new: String,
    again: String,
}

fn page(caller: &Caller, fault: Option<String>) -> Result<Response, Refusal> {
    draw(&AccountPage {
        shell: Shell::beside(caller, "My access"),
        label: caller.label.clone(),
        role: words::role(caller.role),
        sites: caller.sites.as_ref().map(|own| own.join(", ")),
        read_only: caller.read_only,
        has_password: matches!(caller.holder, Holder::Person(_)),
        first_password: caller.first_password,
        fault,
    })
}

pub(super) async fn show(AnyVisitor(caller): AnyVisitor) -> Result<Response, Refusal> {
    page(&caller, None)
}

pub(super) async fn change_password(
    State(service): State<Service>,
    AnyVisitor(caller): AnyVisitor,
    Address(address): Address,
    headers: HeaderMap,
    form: Result<Form<PasswordForm>, FormRejection>,
) -> Result<Response, Refusal> {
    let form = form.map(|Form(form)| form).unwrap_or_default();
    let outcome = if form.new == form.again {
        service
            .change_own_password(&caller, &form.current, &form.new, address)
            .await
    } else {
        Err(ServiceError::Conflict {
            code: "not_the_same",
            detail: "the new password was not written the same way twice".into(),
        })
    };
    let (status, fault) = match outcome {
        Ok(session) => {
            let cookie = [(header::SET_COOKIE, session::cookie(&session, &headers))];
            return Ok((cookie, Redirect::to("/")).into_response());
        }
        Err(error) => words::fault(error)?,
    };
    Ok((status, page(&caller, Some(fault))?).into_response())
}

pub(super) async fn revoke_token(
    State(service): State<Service>,
    AnyVisitor(caller): AnyVisitor,
    headers: HeaderMap,
) -> Result<Response, Refusal> {
    if let Err(error) = service.revoke_own_token(&caller).await {
        let (status, fault): (StatusCode, String) = words::fault(error)?;
        return Ok((status, page(&caller, Some(fault))?).into_response());
    }
    let cookie = [(header::SET_COOKIE, session::forgotten(&headers))];
    Ok((cookie, Redirect::to("/sign-in")).into_response())
}
