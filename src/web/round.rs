//! One round: its plan, frame, seed, draw, progress, and what was achieved.

use super::page::{PathParts, QueryParts, Section, Shell, download, draw};
use super::refusal::Refusal;
use super::round_plan::{SizesView, design_words, frame_days};
use super::session::Visitor;
use super::{links, words};
use crate::accounting::rounds::progress::Visit;
use crate::intake::FileFormat;
use crate::service::drawn_rounds::{DrawnUnitView, RoundDetail, SeedRequest, UnitsWanted};
use crate::service::{Caller, Once, Role, Service, ServiceError};
use askama::Template;
use axum::Form;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::{IntoResponse, Redirect, Response};
use serde::Deserialize;

const UNITS_A_PAGE: u32 = 100;

#[derive(Template)]
#[template(path = "round.html")]
struct RoundPage {
    shell: Shell,
    fault: Option<String>,
    may_change: bool,
    kind: String,
    rows: String,
    detail: RoundDetail,
    sizes: Option<SizesView>,
    design: String,
    days: String,
    units: Vec<UnitLine>,
    /// Which of the drawn units are on this page.
    shown: String,
    earlier: Option<u64>,
    /// Name and count.
    progress: Vec<(&'static str, String)>,
    achieved: Vec<(&'static str, String)>,
}

struct UnitLine {
    group: String,
    place: String,
    standing: &'static str,
    unit: String,
    href: String,
    site: String,
    state: &'static str,
}

fn unit_line(unit: &DrawnUnitView) -> UnitLine {
    UnitLine {
        group: unit.group.clone(),
        place: words::count(unit.place),
        standing: if unit.reserve { "reserve" } else { "sample" },
        unit: unit.unit.clone(),
        // A weighing has no page in the register; its household has.
        href: links::found(match unit.serial.as_str() {
            serial if serial == unit.unit => serial,
            _ => &unit.household_code,
        }),
        site: unit.site_code.clone(),
        state: match (unit.out_of_turn, unit.visit) {
            (true, _) => "visited out of turn: does not count",
            (_, Visit::Done) => "done",
            (_, Visit::Refused) => "refused",
            (_, Visit::NotFound) => "not found",
            (_, Visit::Open) => "open",
            (_, Visit::Waiting) => "waiting in reserve",
        },
    }
}

/// What was achieved, beside what was asked for.
fn achieved(detail: &RoundDetail) -> Vec<(&'static str, String)> {
    let Some(close) = &detail.close else {
        return Vec::new();
    };
    let mut lines = Vec::new();
    if let Some(response) = close.record.response {
        let planned = detail.plan.as_ref().map(|plan| {
            let expected = words::whole(plan.record.plan.expected_response);
            format!(", {expected} planned")
        });
        lines.push((
            "Response",
            format!(
                "{}{}",
                words::precise(response),
                planned.unwrap_or_default()
            ),
        ));
    }
    if let Some(found) = &close.record.achieved {
        lines.push(("Units that count", words::count(found.answered)));
        lines.push(("Value", words::precise(found.value)));
        lines.push((
            "Half width",
            format!(
                "{} at confidence {}",
                words::precise(found.half_width),
                words::whole(found.confidence)
            ),
        ));
        if let Some(relative) = found.relative {
            lines.push(("Half width over value", words::precise(relative)));
        }
        lines.push((
            "Degrees of freedom",
            words::precise(found.degrees_of_freedom),
        ));
        if let Some(effect) = found.design_effect {
            lines.push(("Design effect", words::precise(effect)));
        }
        let met = if found.meets_the_plan { "yes" } else { "no" };
        lines.push(("As precise as planned", met.into()));
    }
    if let Some(because) = &close.record.not_achieved_because {
        lines.push(("No precision is stated", because.clone()));
    }
    lines
}

async fn page(
    service: &Service,
    caller: &Caller,
    code: &str,
    after: u64,
    fault: Option<String>,
) -> Result<Response, Refusal> {
    let wanted = UnitsWanted {
        after,
        limit: UNITS_A_PAGE,
    };
    let detail = service.round(caller, code, wanted).await?;
    let sizes = match (&detail.frame, &detail.plan) {
        (Some(frame), _) => Some(SizesView::new(&frame.record.sizes)),
        (None, Some(plan)) => Some(SizesView::new(&plan.record.sizes)),
        (None, None) => None,
    };
    let progress = detail.progress.map(|counts| {
        [
            ("Sample", counts.sample),
            ("Done", counts.done),
            ("Refused", counts.refused),
            ("Not found", counts.not_found),
            ("Open", counts.open),
            ("Reserve called", counts.reserve_called),
            ("Reserve waiting", counts.reserve_waiting),
            ("Visited out of turn", counts.out_of_turn),
            ("Rows outside the draw", counts.outside),
        ]
        .map(|(name, count)| (name, words::count(count)))
    });
    draw(&RoundPage {
        shell: Shell::of(caller, Section::Rounds, format!("Round {code}")),
        fault,
        may_change: caller.role == Role::Manager && !caller.read_only && !detail.closed,
        kind: words::capital(&words::spaced(&detail.round.round.kind)),
        rows: words::count(detail.round.rows),
        sizes,
        design: detail
            .plan
            .as_ref()
            .map_or_else(String::new, |plan| design_words(&plan.record.plan)),
        days: detail
            .plan
            .as_ref()
            .map_or_else(String::new, |plan| frame_days(&plan.record.plan)),
        shown: format!(
            "{} to {} of {}",
            words::count(after.saturating_add(1).min(detail.unit_count)),
            words::count(after.saturating_add(detail.units.len() as u64)),
            words::count(detail.unit_count)
        ),
        earlier: (after > 0).then(|| after.saturating_sub(u64::from(UNITS_A_PAGE))),
        units: detail.units.iter().map(unit_line).collect(),
        progress: progress.into_iter().flatten().collect(),
        achieved: achieved(&detail),
        detail,
    })
}

#[derive(Deserialize)]
pub(super) struct UnitsQuery {
    /// How many drawn units are passed over.
    after: Option<u64>,
}

pub(super) async fn show(
    State(service): State<Service>,
    Visitor(caller): Visitor,
    PathParts(code): PathParts<String>,
    QueryParts(query): QueryParts<UnitsQuery>,
) -> Result<Response, Refusal> {
    page(&service, &caller, &code, query.after.unwrap_or(0), None).await
}

async fn answer<T>(
    service: &Service,
    caller: &Caller,
    code: &str,
    outcome: Result<T, ServiceError>,
) -> Result<Response, Refusal> {
    match outcome {
        Ok(_) => Ok(Redirect::to(&links::round(code)).into_response()),
        Err(error) => {
            let (status, fault): (StatusCode, String) = words::fault(error)?;
            let page = page(service, caller, code, 0, Some(fault)).await?;
            Ok((status, page).into_response())
        }
    }
}

pub(super) async fn take_frame(
    State(service): State<Service>,
    Visitor(caller): Visitor,
    PathParts(code): PathParts<String>,
) -> Result<Response, Refusal> {
    let outcome = service.take_frame(&caller, &code, &Once::unkeyed()).await;
    answer(&service, &caller, &code, outcome).await
}

#[derive(Deserialize)]
pub(super) struct SeedForm {
    words: String,
    source: String,
}

pub(super) async fn fix_seed(
    State(service): State<Service>,
    Visitor(caller): Visitor,
    PathParts(code): PathParts<String>,
    Form(form): Form<SeedForm>,
) -> Result<Response, Refusal> {
    let request = SeedRequest {
        words: form.words,
        source: form.source,
    };
    let once = Once::unkeyed();
    let outcome = service.fix_seed(&caller, &code, &request, &once).await;
    answer(&service, &caller, &code, outcome).await
}

pub(super) async fn close(
    State(service): State<Service>,
    Visitor(caller): Visitor,
    PathParts(code): PathParts<String>,
) -> Result<Response, Refusal> {
    let outcome = service.close_round(&caller, &code, &Once::unkeyed()).await;
    answer(&service, &caller, &code, outcome).await
}

/// The list for the field, as CSV.
pub(super) async fn field_list(
    State(service): State<Service>,
    Visitor(caller): Visitor,
    PathParts(code): PathParts<String>,
) -> Result<Response, Refusal> {
    list_file(&service, &caller, &code, FileFormat::Csv).await
}

/// The list for the field, as a workbook.
pub(super) async fn field_workbook(
    State(service): State<Service>,
    Visitor(caller): Visitor,
    PathParts(code): PathParts<String>,
) -> Result<Response, Refusal> {
    list_file(&service, &caller, &code, FileFormat::Workbook).await
}

async fn list_file(
    service: &Service,
    caller: &Caller,
    code: &str,
    format: FileFormat,
) -> Result<Response, Refusal> {
    let bytes = service.list_rows(caller, code).await?.file(format)?;
    let name = format!("{code}-field-list.{}", format.ending());
    Ok(download(format.media_type(), &name, bytes))
}
