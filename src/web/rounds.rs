//! Rounds: the list, and the form that plans one. It works without script: the same form is
//! sent to be worked out or to open the round.

use super::page::{Section, Shell, draw};
use super::refusal::Refusal;
use super::session::Visitor;
use super::words;
use crate::accounting::records::RoundKind;
use crate::accounting::rounds::plan::{
    GroupKey, PrecisionKind, RoundPlan, SampleDesign, SampleUnit, Sizes,
};
use crate::service::drawn_rounds::PlanRequest;
use crate::service::rounds::NewRound;
use crate::service::{Caller, FieldProblem, Once, Role, Service, ServiceError};
use askama::Template;
use axum::Form;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::{IntoResponse, Redirect, Response};
use serde::Deserialize;
use std::str::FromStr;

#[derive(Template)]
#[template(path = "rounds.html")]
struct RoundsPage {
    shell: Shell,
    rounds: Vec<RoundLine>,
    may_plan: bool,
    fault: Option<String>,
    form: PlanForm,
    sizes: Option<SizesView>,
    kinds: Vec<(&'static str, String)>,
}

struct RoundLine {
    code: String,
    kind: String,
    days: String,
    rows: String,
    state: &'static str,
}

/// A plan's arithmetic as it is shown, here and on the round's own page.
pub(super) struct SizesView {
    pub needed: String,
    pub to_visit: String,
    pub clusters: Option<String>,
    pub steps: Vec<(String, String, String)>,
    pub groups: Vec<[String; 4]>,
}

impl SizesView {
    pub fn new(sizes: &Sizes) -> Self {
        SizesView {
            needed: words::count(sizes.needed),
            to_visit: words::count(sizes.to_visit),
            clusters: sizes.clusters.map(words::count),
            steps: sizes
                .steps
                .iter()
                .map(|step| {
                    let value = words::precise(step.value);
                    (words::capital(&step.words), step.formula.clone(), value)
                })
                .collect(),
            groups: sizes
                .groups
                .iter()
                .map(|group| {
                    [
                        group.name.clone(),
                        words::count(group.units),
                        words::count(group.sample),
                        words::count(group.reserve),
                    ]
                })
                .collect(),
        }
    }
}

/// The form as it was typed; what was sent is shown again.
#[derive(Deserialize)]
pub(super) struct PlanForm {
    code: String,
    kind: String,
    starts_on: String,
    ends_on: String,
    purpose: String,
    unit: String,
    frame_on: String,
    design: String,
    #[serde(default)]
    by_site: String,
    #[serde(default)]
    by_model: String,
    #[serde(default)]
    by_age: String,
    units_in_each: String,
    confidence: String,
    precision: String,
    precision_is: String,
    expected_share: String,
    expected_mean: String,
    expected_standard_deviation: String,
    design_effect: String,
    expected_response: String,
    reserve: String,
}

impl Default for PlanForm {
    fn default() -> Self {
        let text = str::to_owned;
        PlanForm {
            code: String::new(),
            kind: text("usage_survey"),
            starts_on: String::new(),
            ends_on: String::new(),
            purpose: String::new(),
            unit: text("stove"),
            frame_on: String::new(),
            design: text("simple_random"),
            by_site: String::new(),
            by_model: String::new(),
            by_age: String::new(),
            units_in_each: String::new(),
            confidence: text("0.90"),
            precision: text("0.10"),
            precision_is: text("relative"),
            expected_share: String::new(),
            expected_mean: String::new(),
            expected_standard_deviation: String::new(),
            design_effect: text("1"),
            expected_response: text("0.9"),
            reserve: text("5"),
        }
    }
}

/// Reads a field; an empty one is none.
fn read<T: FromStr>(field: &str, text: &str) -> Result<Option<T>, ServiceError> {
    match text.trim() {
        "" => Ok(None),
        text => text.parse().map(Some).map_err(|_| wrong(field)),
    }
}

fn wrong(field: &str) -> ServiceError {
    ServiceError::Invalid(vec![FieldProblem {
        field: field.to_owned(),
        detail: "cannot be read".into(),
    }])
}

fn must<T: FromStr>(field: &str, text: &str) -> Result<T, ServiceError> {
    read(field, text)?.ok_or_else(|| wrong(field))
}

impl PlanForm {
    fn plan(&self) -> Result<RoundPlan, ServiceError> {
        let keys = [
            (&self.by_site, GroupKey::Site),
            (&self.by_model, GroupKey::Model),
            (&self.by_age, GroupKey::AgeBand),
        ];
        Ok(RoundPlan {
            purpose: self.purpose.trim().to_owned(),
            unit: match self.unit.as_str() {
                "household" => SampleUnit::Household,
                _ => SampleUnit::Stove,
            },
            frame_on: must("frame_on", &self.frame_on)?,
            design: match self.design.as_str() {
                "stratified" => SampleDesign::Stratified,
                "cluster" => SampleDesign::Cluster,
                _ => SampleDesign::SimpleRandom,
            },
            strata_by: keys
                .into_iter()
                .filter(|(ticked, _)| *ticked == "yes")
                .map(|(_, key)| key)
                .collect(),
            units_in_each: read("units_in_each", &self.units_in_each)?,
            confidence: must("confidence", &self.confidence)?,
            precision: must("precision", &self.precision)?,
            precision_is: match self.precision_is.as_str() {
                "absolute" => PrecisionKind::Absolute,
                _ => PrecisionKind::Relative,
            },
            expected_share: read("expected_share", &self.expected_share)?,
            expected_mean: read("expected_mean", &self.expected_mean)?,
            expected_standard_deviation: read(
                "expected_standard_deviation",
                &self.expected_standard_deviation,
            )?,
            design_effect: must("design_effect", &self.design_effect)?,
            expected_response: must("expected_response", &self.expected_response)?,
            reserve: must("reserve", &self.reserve)?,
        })
    }

    fn round(&self) -> Result<NewRound, ServiceError> {
        let plan = self.plan()?;
        Ok(NewRound {
            code: self.code.trim().to_owned(),
            kind: self.kind.clone(),
            starts_on: must("starts_on", &self.starts_on)?,
            ends_on: must("ends_on", &self.ends_on)?,
            design: format!("{}, drawn by the program.", design_words(&plan)),
            plan: Some(plan),
        })
    }
}

/// The design of a plan in words.
pub(super) fn design_words(plan: &RoundPlan) -> String {
    let units = match plan.unit {
        SampleUnit::Stove => "stoves in service",
        SampleUnit::Household => "households with a stove in service",
    };
    let keys: Vec<&str> = plan
        .strata_by
        .iter()
        .map(|key| match key {
            GroupKey::Site => "site",
            GroupKey::Model => "stove model",
            GroupKey::AgeBand => "age of the stove",
        })
        .collect();
    match plan.design {
        SampleDesign::SimpleRandom => format!("Simple random sample of the {units}"),
        SampleDesign::Stratified => {
            format!(
                "Sample of the {units}, stratified by {}",
                keys.join(" and ")
            )
        }
        SampleDesign::Cluster => format!("Sample of sites, then of the {units} in each"),
    }
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
    let drawn_kinds = [
        RoundKind::UsageSurvey,
        RoundKind::KitchenProject,
        RoundKind::CharWeighing,
        RoundKind::Moisture,
    ];
    draw(&RoundsPage {
        shell: Shell::of(caller, Section::Rounds, "Rounds"),
        rounds: lines.collect(),
        may_plan: caller.role == Role::Manager && !caller.read_only,
        fault,
        form,
        sizes: sizes.map(SizesView::new),
        kinds: drawn_kinds
            .into_iter()
            .map(|kind| (kind.code(), words::spaced(kind.code())))
            .collect(),
    })
}

async fn with_fault(
    service: &Service,
    caller: &Caller,
    form: PlanForm,
    error: ServiceError,
) -> Result<Response, Refusal> {
    let (status, fault): (StatusCode, String) = words::fault(error)?;
    let page = page(service, caller, form, None, Some(fault)).await?;
    Ok((status, page).into_response())
}

pub(super) async fn list(
    State(service): State<Service>,
    Visitor(caller): Visitor,
) -> Result<Response, Refusal> {
    page(&service, &caller, PlanForm::default(), None, None).await
}

/// Works the plan out and shows the arithmetic above the form.
pub(super) async fn work_out(
    State(service): State<Service>,
    Visitor(caller): Visitor,
    Form(form): Form<PlanForm>,
) -> Result<Response, Refusal> {
    let request = form.plan().map(|plan| PlanRequest {
        kind: form.kind.clone(),
        plan,
    });
    let outcome = match request {
        Ok(request) => service.work_out_plan(&caller, &request).await,
        Err(error) => Err(error),
    };
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
