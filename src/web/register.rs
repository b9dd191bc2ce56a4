//! The register: households and deployments page by page, and the story of one.

use super::page::{QueryParts, Section, Shell, draw};
use super::refusal::Refusal;
use super::rows_table::{RowsTable, cell};
use super::session::Visitor;
use super::{links, words};
use crate::accounting::cautions;
use crate::intake::BatchKind;
use crate::report::charts::{Span, Spans};
use crate::service::evidence::{RowView, StoveHistory};
use crate::service::{Caller, Service, ServiceError};
use askama::Template;
use axum::extract::State;
use axum::response::Response;
use chrono::NaiveDate;
use serde::Deserialize;

const ROWS_A_PAGE: u32 = 100;
/// Heading of ends that came in a batch of their own.
const ENDS: &str = "Ends recorded later";
/// Longer than any code of the register.
const CODE_LENGTH_MAX: usize = 64;

#[derive(Template)]
#[template(path = "register.html")]
struct RegisterPage {
    shell: Shell,
    asked: String,
    /// Said beside the search field.
    fault: Option<String>,
    story: Option<Story>,
    kind: &'static str,
    table: RowsTable,
    first: bool,
    next: Option<String>,
    cautions: &'static [&'static str],
}

/// What the register tells of one household or stove.
struct Story {
    title: String,
    /// What stood when, drawn.
    drawing: String,
    events: Vec<StoryEvent>,
    tables: Vec<RowsTable>,
}

/// One day of a story.
#[derive(Debug, PartialEq, Eq, PartialOrd, Ord)]
struct StoryEvent {
    on: String,
    words: String,
    href: String,
}

#[derive(Deserialize)]
pub(super) struct RegisterQuery {
    find: Option<String>,
    kind: Option<String>,
    after: Option<String>,
}

pub(super) async fn show(
    State(service): State<Service>,
    Visitor(caller): Visitor,
    QueryParts(query): QueryParts<RegisterQuery>,
) -> Result<Response, Refusal> {
    let asked = query.find.unwrap_or_default().trim().to_owned();
    let story = match asked.as_str() {
        "" => None,
        code if code.len() > CODE_LENGTH_MAX => None,
        code => find(&service, &caller, code).await?,
    };
    let fault = (!asked.is_empty() && story.is_none()).then(|| {
        let shown: String = asked.chars().take(CODE_LENGTH_MAX).collect();
        format!("No household and no stove has exactly the code {shown}.")
    });
    let kind = match query.kind.as_deref() {
        Some("households") => BatchKind::Households,
        _ => BatchKind::Deployments,
    };
    let after = query.after.as_deref();
    let page = service
        .rows_of_kind(&caller, kind, None, after, ROWS_A_PAGE)
        .await?;
    draw(&RegisterPage {
        shell: Shell::of(&caller, Section::Register, "Register"),
        asked,
        fault,
        story,
        kind: kind.code(),
        table: RowsTable::new(kind.template().title, kind, &page.items),
        first: after.is_none(),
        next: page.next.map(|next| {
            format!(
                "/register?kind={}&after={}",
                kind.code(),
                links::encoded(&next)
            )
        }),
        cautions: cautions::stove(),
    })
}

/// The story of the household or the stove with this code.
async fn find(
    service: &Service,
    caller: &Caller,
    code: &str,
) -> Result<Option<Story>, ServiceError> {
    let household = known(service.household(caller, code, None).await)?;
    if let Some(household) = household {
        let deployments = service.household_deployments(caller, code, None).await?;
        let mut ends = Vec::new();
        for row in &deployments {
            let history = service
                .stove_history(caller, cell(row, "serial"), None)
                .await?;
            ends.extend(history.ends.into_iter().filter(|end| ends_it(end, row)));
        }
        let today = service.time().date_naive();
        return Ok(Some(of_household(
            code,
            &household,
            &deployments,
            &ends,
            today,
        )));
    }
    let history = known(service.stove_history(caller, code, None).await)?;
    let today = service.time().date_naive();
    Ok(history.map(|history| of_stove(&history, today)))
}

/// Nothing instead of a refusal where the code is in no row.
fn known<T>(asked: Result<T, ServiceError>) -> Result<Option<T>, ServiceError> {
    match asked {
        Ok(found) => Ok(Some(found)),
        Err(ServiceError::NotFound { .. }) => Ok(None),
        Err(other) => Err(other),
    }
}

/// Whether the row of an end is about this deployment.
fn ends_it(end: &RowView, deployment: &RowView) -> bool {
    ["serial", "installed_on"]
        .iter()
        .all(|column| cell(end, column) == cell(deployment, column))
}

/// The end of a deployment that was recorded later.
fn end_event(end: &RowView, whose: &str) -> StoryEvent {
    StoryEvent {
        on: cell(end, "ended_on").to_owned(),
        words: format!("{whose}: ended, {}", words::spaced(cell(end, "end_reason"))),
        href: links::row(end.batch, end.line),
    }
}

fn of_household(
    code: &str,
    household: &RowView,
    deployments: &[RowView],
    ends: &[RowView],
    today: NaiveDate,
) -> Story {
    let mut events: Vec<StoryEvent> = deployments
        .iter()
        .flat_map(|row| {
            let stove = cell(row, "serial");
            deployment_events(row, &format!("Stove {stove}"))
        })
        .collect();
    events.extend(ends.iter().map(|end| {
        let stove = cell(end, "serial");
        end_event(end, &format!("Stove {stove}"))
    }));
    events.sort();
    let mut tables = vec![RowsTable::new(
        "The household",
        BatchKind::Households,
        std::slice::from_ref(household),
    )];
    if !deployments.is_empty() {
        let caption = "Stoves handed to it";
        tables.push(RowsTable::new(caption, BatchKind::Deployments, deployments));
    }
    if !ends.is_empty() {
        tables.push(RowsTable::new(ENDS, BatchKind::DeploymentEnds, ends));
    }
    let title = format!("Household {code}");
    let stoves = ("Stove", "serial");
    Story {
        drawing: drawn(&title, deployments, ends, stoves, today),
        title,
        events,
        tables,
    }
}

fn of_stove(history: &StoveHistory, today: NaiveDate) -> Story {
    let mut events: Vec<StoryEvent> = history
        .deployments
        .iter()
        .flat_map(|row| {
            let household = cell(row, "household_code");
            deployment_events(row, &format!("Household {household}"))
        })
        .collect();
    events.extend(history.ends.iter().map(|end| {
        let deployment = history.deployments.iter().find(|row| ends_it(end, row));
        let household = deployment.map_or("", |row| cell(row, "household_code"));
        end_event(end, &format!("Household {household}"))
    }));
    events.sort();
    let deployments = RowsTable::new("Deployments", BatchKind::Deployments, &history.deployments);
    let mut tables = vec![deployments];
    if !history.ends.is_empty() {
        let kind = BatchKind::DeploymentEnds;
        tables.push(RowsTable::new(ENDS, kind, &history.ends));
    }
    let title = format!("Stove {}", history.serial);
    let households = ("Household", "household_code");
    Story {
        drawing: drawn(
            &title,
            &history.deployments,
            &history.ends,
            households,
            today,
        ),
        title,
        events,
        tables,
    }
}

/// The deployments as bars from installation to end; `named` is what each is called, and the
/// column that tells which.
fn drawn(
    title: &str,
    deployments: &[RowView],
    ends: &[RowView],
    named: (&str, &str),
    today: NaiveDate,
) -> String {
    let day = |row: &RowView, column: &str| cell(row, column).parse::<NaiveDate>().ok();
    let spans = deployments.iter().filter_map(|row| {
        let later = ends.iter().find(|end| ends_it(end, row));
        Some(Span {
            name: format!("{} {}", named.0, cell(row, named.1)),
            from: day(row, "installed_on")?,
            to: day(row, "ended_on").or_else(|| day(later?, "ended_on")),
        })
    });
    let drawing = Spans {
        id: "story".to_owned(),
        title: format!("{title} over time"),
        description: "Each bar runs from an installation to its end, or to today where it goes on. The same days stand in the list below.".to_owned(),
        today,
        spans: spans.collect(),
    };
    drawing.svg()
}

/// The days that one deployment row tells of.
fn deployment_events(row: &RowView, whose: &str) -> Vec<StoryEvent> {
    let href = links::row(row.batch, row.line);
    let second = if cell(row, "second_stove") == "yes" {
        ", as a second stove"
    } else {
        ""
    };
    let mut events = vec![StoryEvent {
        on: cell(row, "installed_on").to_owned(),
        words: format!(
            "{whose}: installed, model {} {}{second}",
            cell(row, "model_code"),
            cell(row, "model_version")
        ),
        href: href.clone(),
    }];
    if !cell(row, "ended_on").is_empty() {
        events.push(StoryEvent {
            on: cell(row, "ended_on").to_owned(),
            words: format!("{whose}: ended, {}", words::spaced(cell(row, "end_reason"))),
            href,
        });
    }
    events
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;
    use uuid::Uuid;

    fn row(line: u64, json: serde_json::Value) -> RowView {
        RowView {
            corrected: None,
            batch: Uuid::nil(),
            line,
            row_hash: String::new(),
            cells: json.as_object().unwrap().clone(),
        }
    }

    #[test]
    fn a_stove_tells_its_days_in_order_whatever_the_order_of_its_rows() {
        let history = StoveHistory {
            serial: "GS-1".into(),
            deployments: vec![
                row(
                    3,
                    json!({"serial": "GS-1", "household_code": "HH-2", "installed_on": "2024-05-01",
                    "model_code": "HB", "model_version": "2", "ended_on": null}),
                ),
                row(
                    2,
                    json!({"household_code": "HH-1", "installed_on": "2023-01-10",
                    "model_code": "HB", "model_version": "2", "ended_on": "2024-04-30",
                    "end_reason": "dropped_out"}),
                ),
            ],
            ends: vec![row(
                7,
                json!({"serial": "GS-1", "installed_on": "2024-05-01",
                    "ended_on": "2025-02-01", "end_reason": "broken"}),
            )],
        };
        let story = of_stove(&history, "2026-01-01".parse().unwrap());
        assert_eq!(story.drawing.matches("<rect").count(), 2);
        assert!(story.drawing.contains("Household HH-1"));
        let told: Vec<String> = story
            .events
            .into_iter()
            .map(|event| format!("{} {}", event.on, event.words))
            .collect();
        assert_eq!(
            told,
            [
                "2023-01-10 Household HH-1: installed, model HB 2",
                "2024-04-30 Household HH-1: ended, dropped out",
                "2024-05-01 Household HH-2: installed, model HB 2",
                "2025-02-01 Household HH-2: ended, broken",
            ]
        );
    }
}
