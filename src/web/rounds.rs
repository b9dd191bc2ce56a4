//! Rounds: the list, and the form that plans one. It works without script: the same form is
//! sent to be worked out or to open the round. `plan.js` shows the arithmetic as one types.

use super::assets;
use super::page::{Section, Shell, draw};
use super::refusal::Refusal;
use super::round_plan::{PlanForm, SizesView, kinds, units};
use super::session::Visitor;
use super::words;
use crate::accounting::rounds::plan::Sizes;
use crate::service::drawn_rounds::PlanRequest;
use crate::service::{Caller, Once, Role, Service, ServiceError};
use askama::Template;
use axum::extract::State;
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::{IntoResponse, Redirect, Response};
use axum::{Form, Json};
use serde::Serialize;
use std::collections::BTreeMap;

#[derive(Template)]
#[template(path = "rounds.html")]
struct RoundsPage {
    shell: Shell,
    rounds: Vec<RoundLine>,
    may_plan: bool,
    fault: Option<String>,
    form: PlanForm,
    sizes: Option<SizesView>,
    kinds: Vec<(&'static str, String, String, &'static str)>,
    units: Vec<(&'static str, &'static str)>,
    script: String,
}

struct RoundLine {
    code: String,
    kind: String,
    days: String,
    rows: String,
    state: &'static str,
}

async fn page(
    service: &Service,
    caller: &Caller,
    form: PlanForm,
    sizes: Option<&Sizes>,
    fault: Option<String>,
) -> Result<Response, Refusal> {
    let rounds = service.rounds(caller).await?;
    let last = service.last_steps(caller).await?;
    let lines = rounds.into_iter().map(|view| RoundLine {
        state: match last.get(&view.round.code).map(String::as_str) {
            Some("plan") => "planned",
            Some("frame") => "frame taken",
            Some("seed" | "draw") => "drawn",
            Some("close") => "closed",
            _ => "open, described in words",
        },
        kind: words::capital(&words::spaced(&view.round.kind)),
        days: format!("{} to before {}", view.round.starts_on, view.round.ends_on),
        rows: words::count(view.rows),
        code: view.round.code,
    });
    draw(&RoundsPage {
        shell: Shell::of(caller, Section::Rounds, "Rounds"),
        rounds: lines.collect(),
        may_plan: caller.role == Role::Manager && !caller.read_only,
        fault,
        form,
        sizes: sizes.map(SizesView::new),
        kinds: kinds(),
        units: units(),
        script: assets::plan_script_path(),
    })
}

/// What is wrong beside its fields, and above the form what is of no field.
fn told(form: &mut PlanForm, error: ServiceError) -> Result<(StatusCode, String), Refusal> {
    let problems = match &error {
        ServiceError::Invalid(problems) => problems.clone(),
        _ => Vec::new(),
    };
    let (status, all) = words::fault(error)?;
    if problems.is_empty() {
        return Ok((status, all));
    }
    let others = form.take_faults(&problems);
    if others.is_empty() {
        let some = "Some fields need another look; what is wrong stands beside each.";
        return Ok((status, some.into()));
    }
    Ok((status, format!("{}.", words::capital(&others.join("; ")))))
}

async fn with_fault(
    service: &Service,
    caller: &Caller,
    mut form: PlanForm,
    error: ServiceError,
) -> Result<Response, Refusal> {
    let (status, fault) = told(&mut form, error)?;
    let page = page(service, caller, form, None, Some(fault)).await?;
    Ok((status, page).into_response())
}

pub(super) async fn list(
    State(service): State<Service>,
    Visitor(caller): Visitor,
) -> Result<Response, Refusal> {
    page(&service, &caller, PlanForm::default(), None, None).await
}

async fn worked_out(
    service: &Service,
    caller: &Caller,
    form: &PlanForm,
) -> Result<Sizes, ServiceError> {
    let request = PlanRequest {
        kind: form.kind.clone(),
        plan: form.plan()?,
    };
    service.work_out_plan(caller, &request).await
}

/// What the script of the form shows.
#[derive(Serialize)]
struct Arithmetic {
    sizes: Option<SizesView>,
    /// Of no field.
    fault: Option<String>,
    /// By field.
    faults: BTreeMap<String, String>,
}

/// Works the plan out and writes nothing: a page with the arithmetic above the form, or JSON
/// where that is asked for.
pub(super) async fn work_out(
    State(service): State<Service>,
    Visitor(caller): Visitor,
    headers: HeaderMap,
    Form(mut form): Form<PlanForm>,
) -> Result<Response, Refusal> {
    let outcome = worked_out(&service, &caller, &form).await;
    let accept = headers.get(header::ACCEPT);
    if accept.is_some_and(|accept| accept == "application/json") {
        let (status, sizes, fault) = match outcome {
            Ok(sizes) => (StatusCode::OK, Some(SizesView::new(&sizes)), None),
            Err(error) => {
                let (status, fault) = told(&mut form, error)?;
                (status, None, Some(fault))
            }
        };
        let answer = Arithmetic {
            sizes,
            fault,
            faults: form.faults,
        };
        return Ok((status, Json(answer)).into_response());
    }
    match outcome {
        Ok(sizes) => page(&service, &caller, form, Some(&sizes), None).await,
        Err(error) => with_fault(&service, &caller, form, error).await,
    }
}

/// Opens the round with its plan.
pub(super) async fn open(
    State(service): State<Service>,
    Visitor(caller): Visitor,
    Form(form): Form<PlanForm>,
) -> Result<Response, Refusal> {
    let outcome = match form.round() {
        Ok(round) => service.open_round(&caller, &round, &Once::unkeyed()).await,
        Err(error) => Err(error),
    };
    match outcome {
        Ok(view) => Ok(Redirect::to(&super::links::round(&view.round.code)).into_response()),
        Err(error) => with_fault(&service, &caller, form, error).await,
    }
}
