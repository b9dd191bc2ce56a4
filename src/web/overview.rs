//! The first page: what was avoided and stored and how sure that is, then what is
//! missing, then the state of register and evidence.

use super::batches::BatchRow;
use super::figures::{self, ClaimView, FigureView};
use super::findings::{self, Glance};
use super::page::{QueryParts, Section, Shell, draw};
use super::refusal::Refusal;
use super::session::Visitor;
use super::stoves_chart::{self, By, Standing, StovesChart};
use super::{links, words};
use crate::accounting::cautions;
use crate::accounting::statement::Statement;
use crate::service::Service;
use crate::service::overview::{NextStep, Place};
use crate::service::rounds::RoundView;
use crate::service::statements::StatementView;
use askama::Template;
use axum::extract::State;
use axum::response::Response;
use serde::Deserialize;
use std::collections::BTreeMap;

/// Figures shown below the two totals.
const FURTHER: [&str; 8] = [
    "fuel_saved",
    "pm25_percent",
    "bc_percent",
    "co_percent",
    "use_rate",
    "household_days_in_use",
    "stoves_in_service_days",
    "char_to_soil_dry",
];

#[derive(Template)]
#[template(path = "overview.html")]
struct OverviewPage {
    shell: Shell,
    /// For readers of findings.
    findings: Option<Glance>,
    invented: Option<String>,
    result: Option<ResultView>,
    /// False for a reader who is bound to sites.
    whole: bool,
    steps: Vec<StepGroup>,
    chart: Option<StovesChart>,
    standing: Option<Standing>,
    households: String,
    deployments: String,
    ended: String,
    rounds: Vec<RoundLine>,
    batches: Vec<BatchRow>,
    cautions: &'static [&'static str],
}

struct ResultView {
    href: String,
    period: String,
    starts_on: String,
    ends_on: String,
    methodology: String,
    reductions: Option<FigureView>,
    removals: Option<FigureView>,
    reductions_claim: ClaimView,
    removals_claim: ClaimView,
    further: Vec<FigureView>,
}

/// What is to be done for one period, or for the programme.
#[derive(Debug, PartialEq, Eq)]
struct StepGroup {
    period: Option<String>,
    /// Words, and the page where it is done.
    steps: Vec<(String, String)>,
}

struct RoundLine {
    code: String,
    kind: String,
    starts_on: String,
    ends_on: String,
    rows: String,
    design: String,
}

#[derive(Deserialize)]
pub(super) struct OverviewQuery {
    by: Option<String>,
}

pub(super) async fn show(
    State(service): State<Service>,
    Visitor(caller): Visitor,
    QueryParts(query): QueryParts<OverviewQuery>,
) -> Result<Response, Refusal> {
    let overview = service.overview(&caller).await?;
    let names: BTreeMap<String, String> = service
        .sites(&caller)
        .await?
        .into_iter()
        .map(|site| (site.code, site.name))
        .collect();
    let by = match query.by.as_deref() {
        Some("site") => By::Site,
        _ => By::Model,
    };
    draw(&OverviewPage {
        findings: overview
            .findings
            .map(|found| findings::glance(&caller, found)),
        shell: Shell::of(&caller, Section::Overview, "Overview"),
        invented: caller
            .programme_name
            .contains("(invented)")
            .then(|| caller.programme_name.clone()),
        whole: overview.whole,
        result: overview
            .statement
            .as_ref()
            .map(|(view, statement)| result(view, statement)),
        steps: grouped(overview.steps),
        chart: stoves_chart::chart(&overview.in_service, by, &names),
        standing: stoves_chart::standing(&overview.in_service, &names),
        households: words::count(overview.households),
        deployments: words::count(overview.deployments),
        ended: words::count(overview.ended),
        rounds: overview.rounds.into_iter().map(round).collect(),
        batches: overview.batches.iter().map(BatchRow::new).collect(),
        cautions: cautions::stove(),
    })
}

fn result(view: &StatementView, statement: &Statement) -> ResultView {
    let claims = &statement.claims;
    let (reduced, removed) = (
        claims.reductions.tonnes.tonnes(),
        claims.removals.tonnes.tonnes(),
    );
    let of = |id: &str, claimed| {
        statement
            .figure(id)
            .map(|figure| figures::view(view.id, figure, claimed))
    };
    ResultView {
        href: links::statement(view.id),
        period: statement.period.code.clone(),
        starts_on: statement.period.starts_on.to_string(),
        ends_on: statement.period.ends_on.to_string(),
        methodology: view.methodology.clone(),
        reductions: of("reductions_co2e", Some(reduced)),
        removals: of("removals_co2", Some(removed)),
        reductions_claim: figures::claim("reductions", &claims.reductions, reduced),
        removals_claim: figures::claim("removals", &claims.removals, removed),
        further: FURTHER.iter().filter_map(|id| of(id, None)).collect(),
    }
}

/// Steps of one period under one heading, in the order in which they came.
fn grouped(steps: Vec<NextStep>) -> Vec<StepGroup> {
    let mut groups: Vec<StepGroup> = Vec::new();
    for step in steps {
        let line = (words::label(&step.words), href(&step.place));
        match groups.last_mut() {
            Some(group) if group.period == step.period => group.steps.push(line),
            _ => groups.push(StepGroup {
                period: step.period,
                steps: vec![line],
            }),
        }
    }
    groups
}

fn href(place: &Place) -> String {
    match place {
        Place::Sites => "/sites".to_owned(),
        Place::Evidence => "/batches".to_owned(),
        Place::Rounds => "/rounds".to_owned(),
        Place::Round(code) => links::round(code),
        Place::Flags => "/flags".to_owned(),
        Place::Finding(id) => links::finding(id),
        Place::Findings => "/findings".to_owned(),
        Place::Factors => "/factors".to_owned(),
        Place::Statements => "/statements".to_owned(),
        Place::Statement(id) => links::statement(*id),
        Place::Methods(period) => links::methods(period),
    }
}

fn round(view: RoundView) -> RoundLine {
    RoundLine {
        kind: words::capital(&words::spaced(&view.round.kind)),
        code: view.round.code,
        starts_on: view.round.starts_on.to_string(),
        ends_on: view.round.ends_on.to_string(),
        rows: words::count(view.rows),
        design: view.round.design,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn steps_of_one_period_stand_under_one_heading() {
        let step = |period: Option<&str>, words: &str, place: Place| NextStep {
            period: period.map(str::to_owned),
            words: words.to_owned(),
            place,
        };
        let groups = grouped(vec![
            step(None, "Answer 2 open flags", Place::Flags),
            step(Some("2026"), "Send rows", Place::Evidence),
            step(Some("2026"), "Settle F-002", Place::Finding("F-002".into())),
        ]);
        let counts: Vec<usize> = groups.iter().map(|group| group.steps.len()).collect();
        assert_eq!(counts, [1, 2]);
        assert_eq!(groups[1].period.as_deref(), Some("2026"));
        assert_eq!(groups[1].steps[1].1, "/findings/F-002");
    }
}
