//! People and tokens: who may come in, listed, added, changed, shut out.

use super::page::{PathParts, Section, Shell, draw};
use super::refusal::Refusal;
use super::session::Visitor;
use super::words;
use crate::service::people::{NewPerson, PersonChange, PersonView};
use crate::service::tokens::{TOKEN_DAYS, TOKEN_DAYS_MAX, TokenRequest, TokenView};
use crate::service::{Caller, Once, Role, Service, ServiceError};
use askama::Template;
use axum::Form;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::{IntoResponse, Redirect, Response};
use chrono::{DateTime, Utc};
use serde::Deserialize;
use uuid::Uuid;

#[derive(Template)]
#[template(path = "people.html")]
struct PeoplePage {
    shell: Shell,
    shown: Option<Shown>,
    fault: Option<String>,
    people: Vec<PersonLine>,
    tokens: Vec<TokenLine>,
    sites: String,
    days: u32,
    days_max: u32,
}

/// A secret that is on the page this once.
struct Shown {
    what: String,
    secret: String,
}

struct PersonLine {
    name: String,
    role: &'static str,
    role_code: &'static str,
    sites: String,
    state: &'static str,
    disabled: bool,
    own: bool,
}

struct TokenLine {
    id: Uuid,
    label: String,
    role: String,
    sites: String,
    created: String,
    expires: String,
    used: String,
    state: &'static str,
    live: bool,
}

#[derive(Deserialize)]
pub(super) struct PersonForm {
    name: String,
    role: Role,
    #[serde(default)]
    sites: String,
}

#[derive(Deserialize)]
pub(super) struct ChangeForm {
    role: Role,
    #[serde(default)]
    sites: String,
    /// `yes` or nothing.
    #[serde(default)]
    disabled: String,
}

#[derive(Deserialize)]
pub(super) struct TokenForm {
    label: String,
    role: Role,
    #[serde(default)]
    sites: String,
    /// `yes` or nothing.
    #[serde(default)]
    read_only: String,
    days: u32,
}

/// Codes of sites, as they are typed: with commas or blanks between them.
fn site_list(text: &str) -> Option<Vec<String>> {
    let codes: Vec<String> = text
        .split([',', ' '])
        .filter(|code| !code.is_empty())
        .map(str::to_owned)
        .collect();
    (!codes.is_empty()).then_some(codes)
}

async fn page(
    service: &Service,
    caller: &Caller,
    shown: Option<Shown>,
    fault: Option<String>,
) -> Result<Response, Refusal> {
    let people = service.people(caller).await?;
    let tokens = service.tokens(caller).await?;
    let sites = service.sites(caller).await?;
    let codes: Vec<String> = sites.into_iter().map(|site| site.code).collect();
    let now = service.time();
    draw(&PeoplePage {
        shell: Shell::of(caller, Section::People, "People and tokens"),
        shown,
        fault,
        people: people
            .into_iter()
            .map(|view| person(view, caller))
            .collect(),
        tokens: tokens.into_iter().map(|view| token(view, now)).collect(),
        sites: codes.join(", "),
        days: TOKEN_DAYS,
        days_max: TOKEN_DAYS_MAX,
    })
}

/// Shows a secret, or what was wrong with the form, on the page of the lists.
async fn answer(
    service: &Service,
    caller: &Caller,
    outcome: Result<Shown, ServiceError>,
) -> Result<Response, Refusal> {
    match outcome {
        Ok(shown) => page(service, caller, Some(shown), None).await,
        Err(error) => {
            let (status, fault): (StatusCode, String) = words::fault(error)?;
            let page = page(service, caller, None, Some(fault)).await?;
            Ok((status, page).into_response())
        }
    }
}

pub(super) async fn show(
    State(service): State<Service>,
    Visitor(caller): Visitor,
) -> Result<Response, Refusal> {
    page(&service, &caller, None, None).await
}

pub(super) async fn add(
    State(service): State<Service>,
    Visitor(caller): Visitor,
    Form(form): Form<PersonForm>,
) -> Result<Response, Refusal> {
    let new = NewPerson {
        name: form.name.trim().to_owned(),
        role: form.role,
        sites: site_list(&form.sites),
    };
    let added = service.add_person(&caller, &new, &Once::unkeyed()).await;
    let outcome = added.map(|added| Shown {
        what: format!("First password of {}", added.person.name),
        secret: added.password,
    });
    answer(&service, &caller, outcome).await
}

pub(super) async fn change(
    State(service): State<Service>,
    Visitor(caller): Visitor,
    PathParts(name): PathParts<String>,
    Form(form): Form<ChangeForm>,
) -> Result<Response, Refusal> {
    let change = PersonChange {
        role: form.role,
        sites: site_list(&form.sites),
        disabled: form.disabled == "yes",
    };
    let once = Once::unkeyed();
    match service.change_person(&caller, &name, &change, &once).await {
        Ok(_) => Ok(Redirect::to("/people").into_response()),
        Err(error) => answer(&service, &caller, Err(error)).await,
    }
}

pub(super) async fn renew(
    State(service): State<Service>,
    Visitor(caller): Visitor,
    PathParts(name): PathParts<String>,
) -> Result<Response, Refusal> {
    let renewed = service
        .renew_password(&caller, &name, &Once::unkeyed())
        .await;
    let outcome = renewed.map(|renewed| Shown {
        what: format!("New first password of {}", renewed.person.name),
        secret: renewed.password,
    });
    answer(&service, &caller, outcome).await
}

pub(super) async fn issue(
    State(service): State<Service>,
    Visitor(caller): Visitor,
    Form(form): Form<TokenForm>,
) -> Result<Response, Refusal> {
    let request = TokenRequest {
        role: form.role,
        label: form.label,
        sites: site_list(&form.sites),
        read_only: form.read_only == "yes",
        expires_in_days: Some(form.days),
    };
    let issued = service
        .issue_token(&caller, &request, &Once::unkeyed())
        .await;
    let outcome = issued.map(|issued| Shown {
        what: format!("Token {}", issued.token.label),
        secret: issued.secret,
    });
    answer(&service, &caller, outcome).await
}

pub(super) async fn revoke(
    State(service): State<Service>,
    Visitor(caller): Visitor,
    PathParts(id): PathParts<Uuid>,
) -> Result<Response, Refusal> {
    match service.revoke_token(&caller, id, &Once::unkeyed()).await {
        Ok(_) => Ok(Redirect::to("/people").into_response()),
        Err(error) => answer(&service, &caller, Err(error)).await,
    }
}

fn person(view: PersonView, caller: &Caller) -> PersonLine {
    PersonLine {
        own: caller.holder == crate::service::caller::Holder::Person(view.id),
        role: words::role(view.role),
        role_code: view.role.code(),
        sites: view.sites.unwrap_or_default().join(", "),
        disabled: view.disabled_at.is_some(),
        state: match (view.disabled_at.is_some(), view.first_password) {
            (true, _) => "disabled",
            (false, true) => "has not chosen a password yet",
            (false, false) => "may come in",
        },
        name: view.name,
    }
}

fn token(view: TokenView, now: DateTime<Utc>) -> TokenLine {
    let state = match (view.revoked_at, view.expires_at <= now) {
        (Some(_), _) => "revoked",
        (None, true) => "expired",
        (None, false) => "in force",
    };
    let role = words::role(view.role);
    TokenLine {
        id: view.id,
        label: view.label,
        role: if view.read_only {
            format!("{role}, reading only")
        } else {
            role.to_owned()
        },
        sites: view.sites.map_or("all".into(), |own| own.join(", ")),
        created: view.created_at.date_naive().to_string(),
        expires: view.expires_at.date_naive().to_string(),
        used: view
            .last_used_on
            .map_or("never".into(), |day| day.to_string()),
        live: state == "in force",
        state,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sites_are_typed_with_commas_or_blanks_and_none_is_none() {
        assert_eq!(
            site_list("NORTH, SOUTH  HILL"),
            Some(vec!["NORTH".into(), "SOUTH".into(), "HILL".into()])
        );
        assert_eq!(site_list(" , "), None);
    }
}
