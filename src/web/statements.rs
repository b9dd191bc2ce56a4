//! Monitoring periods and the statements that were made of them, the latest first; the forms by
//! which a manager opens a period, states it and closes it.

use super::form_faults::FormFaults;
use super::page::{PathParts, Section, Shell, draw};
use super::refusal::Refusal;
use super::session::Visitor;
use super::{links, words};
use crate::accounting::cautions;
use crate::service::periods::{NewPeriod, PeriodView};
use crate::service::statements::{NewStatement, StatementView};
use crate::service::{Caller, FieldProblem, Once, Role, Service, ServiceError};
use askama::Template;
use axum::Form;
use axum::extract::State;
use axum::response::{IntoResponse, Redirect, Response};
use chrono::NaiveDate;
use serde::Deserialize;

struct StatementLine {
    href: String,
    period: String,
    methodology: String,
    restatement: bool,
    position: u64,
    sequence: u64,
    reductions: String,
    removals: String,
    short_sha256: String,
    sha256: String,
}

struct PeriodLine {
    code: String,
    starts_on: String,
    ends_on: String,
    /// Entry that closed it.
    closed_by: Option<u64>,
    statements: usize,
    methods: String,
}

/// Fields of all forms of the page, as they were typed.
#[derive(Deserialize, Default)]
pub(super) struct StatementsForm {
    #[serde(default)]
    code: String,
    #[serde(default)]
    starts_on: String,
    #[serde(default)]
    ends_on: String,
    #[serde(default)]
    period: String,
    #[serde(default)]
    methodology: String,
    /// `yes` or nothing.
    #[serde(default)]
    restate: String,
}

/// The form that was refused.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Refused {
    Period,
    Statement,
    Close,
}

#[derive(Template)]
#[template(path = "statements.html")]
struct StatementsPage {
    shell: Shell,
    /// Whether the reader may open, state and close.
    manages: bool,
    periods: Vec<PeriodLine>,
    methodologies: Vec<(String, String)>,
    form: StatementsForm,
    period_faults: FormFaults,
    statement_faults: FormFaults,
    close_faults: FormFaults,
    statements: Vec<StatementLine>,
    cautions: &'static [&'static str],
}

async fn page(
    service: &Service,
    caller: &Caller,
    form: StatementsForm,
    refused: Option<(Refused, FormFaults)>,
) -> Result<Response, Refusal> {
    let views = service.statements(caller).await?;
    let periods = service.periods(caller).await?;
    let methodologies = service.methodologies(caller).await?;
    let mut faults = [
        FormFaults::default(),
        FormFaults::default(),
        FormFaults::default(),
    ];
    if let Some((which, found)) = refused {
        faults[which as usize] = found;
    }
    let [period_faults, statement_faults, close_faults] = faults;
    let mut page = StatementsPage {
        shell: Shell::of(caller, Section::Statements, "Statements"),
        manages: caller.role == Role::Manager && !caller.read_only,
        periods: periods
            .into_iter()
            .map(|view| period_line(view, &views))
            .collect(),
        methodologies: methodologies
            .into_iter()
            .map(|each| (each.id(), each.title))
            .collect(),
        form,
        period_faults,
        statement_faults,
        close_faults,
        statements: Vec::with_capacity(views.len()),
        cautions: cautions::statement(),
    };
    for view in views {
        page.statements
            .push(statement_line(service, caller, view).await?);
    }
    draw(&page)
}

fn period_line(view: PeriodView, statements: &[StatementView]) -> PeriodLine {
    let code = view.period.code;
    PeriodLine {
        starts_on: view.period.starts_on.to_string(),
        ends_on: view.period.ends_on.to_string(),
        closed_by: view.closed_by,
        statements: statements.iter().filter(|one| one.period == code).count(),
        methods: links::methods(&code),
        code,
    }
}

async fn statement_line(
    service: &Service,
    caller: &Caller,
    view: StatementView,
) -> Result<StatementLine, ServiceError> {
    let (_, statement) = service.statement(caller, view.id).await?;
    let claims = &statement.claims;
    let of = |tonnes: u64, unit: &str| format!("{} {}", words::count(tonnes), words::unit(unit));
    Ok(StatementLine {
        href: links::statement(view.id),
        reductions: of(claims.reductions.tonnes.tonnes(), &claims.reductions.unit),
        removals: of(claims.removals.tonnes.tonnes(), &claims.removals.unit),
        short_sha256: words::short_hash(&view.sha256),
        sha256: view.sha256,
        period: view.period,
        methodology: view.methodology,
        restatement: view.restatement,
        position: view.position,
        sequence: view.sequence,
    })
}

pub(super) async fn list(
    State(service): State<Service>,
    Visitor(caller): Visitor,
) -> Result<Response, Refusal> {
    page(&service, &caller, StatementsForm::default(), None).await
}

async fn refused(
    service: &Service,
    caller: &Caller,
    form: StatementsForm,
    which: Refused,
    error: ServiceError,
) -> Result<Response, Refusal> {
    let (status, faults) = FormFaults::of(error)?;
    let page = page(service, caller, form, Some((which, faults))).await?;
    Ok((status, page).into_response())
}

/// Reads the two days of a period; says of each that cannot be read.
fn new_period(form: &StatementsForm) -> Result<NewPeriod, ServiceError> {
    let mut problems = Vec::new();
    let mut day = |field: &str, text: &str| -> NaiveDate {
        text.trim().parse().unwrap_or_else(|_| {
            problems.push(FieldProblem {
                field: field.to_owned(),
                detail: "give a day as year-month-day, such as 2026-01-31".to_owned(),
            });
            NaiveDate::MIN
        })
    };
    let new = NewPeriod {
        code: form.code.trim().to_owned(),
        starts_on: day("starts_on", &form.starts_on),
        ends_on: day("ends_on", &form.ends_on),
    };
    if problems.is_empty() {
        Ok(new)
    } else {
        Err(ServiceError::Invalid(problems))
    }
}

pub(super) async fn open_period(
    State(service): State<Service>,
    Visitor(caller): Visitor,
    Form(form): Form<StatementsForm>,
) -> Result<Response, Refusal> {
    let outcome = match new_period(&form) {
        Ok(new) => service.open_period(&caller, &new, &Once::unkeyed()).await,
        Err(error) => Err(error),
    };
    match outcome {
        Ok(_) => Ok(Redirect::to("/statements").into_response()),
        Err(error) => refused(&service, &caller, form, Refused::Period, error).await,
    }
}

pub(super) async fn make(
    State(service): State<Service>,
    Visitor(caller): Visitor,
    Form(form): Form<StatementsForm>,
) -> Result<Response, Refusal> {
    let new = NewStatement {
        period: form.period.clone(),
        methodology: form.methodology.clone(),
        restate: form.restate == "yes",
    };
    match service
        .make_statement(&caller, &new, &Once::unkeyed())
        .await
    {
        Ok(view) => Ok(Redirect::to(&links::statement(view.id)).into_response()),
        Err(error) => refused(&service, &caller, form, Refused::Statement, error).await,
    }
}

pub(super) async fn close_period(
    State(service): State<Service>,
    Visitor(caller): Visitor,
    PathParts(code): PathParts<String>,
) -> Result<Response, Refusal> {
    match service.close_period(&caller, &code, &Once::unkeyed()).await {
        Ok(_) => Ok(Redirect::to("/statements").into_response()),
        Err(error) => {
            let form = StatementsForm::default();
            refused(&service, &caller, form, Refused::Close, error).await
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_day_that_cannot_be_read_is_named() {
        let form = StatementsForm {
            code: "2026".into(),
            starts_on: "01/02/2026".into(),
            ends_on: String::new(),
            ..StatementsForm::default()
        };
        let Err(ServiceError::Invalid(problems)) = new_period(&form) else {
            panic!("it was read");
        };
        let fields: Vec<&str> = problems.iter().map(|one| one.field.as_str()).collect();
        assert_eq!(fields, ["starts_on", "ends_on"]);
    }
}
