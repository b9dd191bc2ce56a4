//! Flags of the screens: the open ones first, each with its rows and a form for the answer.

use super::page::{PathParts, QueryParts, Section, Shell, draw};
use super::refusal::Refusal;
use super::rows_table::RowsTable;
use super::session::Visitor;
use super::{links, words};
use crate::accounting::records::flags::Disposition;
use crate::service::flags::{FlagDetail, FlagView, NewFlagAnswer, Wanted};
use crate::service::{Caller, Once, Role, Service};
use askama::Template;
use axum::Form;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::{IntoResponse, Redirect, Response};
use serde::Deserialize;
use uuid::Uuid;

const FLAGS_A_PAGE: u32 = 50;

/// A flag in a list.
pub(super) struct FlagLine {
    pub href: String,
    pub screen: String,
    pub sentence: String,
    pub round: String,
    pub rows: String,
    pub state: &'static str,
}

impl FlagLine {
    pub fn new(flag: FlagView) -> Self {
        FlagLine {
            href: links::flag(flag.id),
            screen: screen(&flag.screen),
            sentence: flag.sentence,
            round: flag.round,
            rows: words::count(flag.row_count),
            state: flag.disposition.map_or("open", meaning),
        }
    }
}

#[derive(Template)]
#[template(path = "flags.html")]
struct FlagsPage {
    shell: Shell,
    count: String,
    open: Vec<FlagLine>,
    answered: Vec<FlagLine>,
    /// The page that goes on with the open flags, and the one that goes on with the others.
    more_open: Option<String>,
    more_answered: Option<String>,
    first: bool,
}

#[derive(Template)]
#[template(path = "flag.html")]
struct FlagPage {
    shell: Shell,
    flag: FlagLine,
    fault: Option<String>,
    action: String,
    batch_href: String,
    sequence: u64,
    open: bool,
    may_answer: bool,
    table: Option<RowsTable>,
    shown: usize,
    answers: Vec<AnswerLine>,
    choices: Vec<(&'static str, &'static str)>,
}

struct AnswerLine {
    at: String,
    who: String,
    what: &'static str,
    reason: String,
    sequence: u64,
}

/// What a screen looks for, in a few words.
fn screen(code: &str) -> String {
    match code {
        "duplicate_unit" => "More rows than expected".into(),
        "near_twins" => "Rows nearly alike".into(),
        "straight_line" => "The same answer throughout".into(),
        "digit_heaping" => "Favourite last digits".into(),
        "pace" => "Pace of visits".into(),
        "beyond_limits" => "Beyond a limit".into(),
        "extreme_value" => "Far from the others".into(),
        "outside_draw" => "Not drawn".into(),
        other => words::capital(&words::spaced(other)),
    }
}

fn meaning(disposition: Disposition) -> &'static str {
    match disposition {
        Disposition::Stands => "stands as it is",
        Disposition::ToBeCorrected => "to be corrected",
        Disposition::ToBeLeftOut => "to be left out",
    }
}

#[derive(Deserialize)]
pub(super) struct FlagsQuery {
    /// Goes on with the open flags after this one.
    after: Option<String>,
    /// Goes on with the answered flags after this one.
    answered_after: Option<String>,
}

pub(super) async fn list(
    State(service): State<Service>,
    Visitor(caller): Visitor,
    QueryParts(query): QueryParts<FlagsQuery>,
) -> Result<Response, Refusal> {
    let wanted = |open| Wanted {
        open: Some(open),
        ..Wanted::default()
    };
    let count = service.open_flags(&caller).await?;
    let after = query.after.as_deref();
    let open = service
        .flags(&caller, &wanted(true), after, FLAGS_A_PAGE)
        .await?;
    let answered_after = query.answered_after.as_deref();
    let answered = service
        .flags(&caller, &wanted(false), answered_after, FLAGS_A_PAGE)
        .await?;
    let lines = |flags: Vec<FlagView>| flags.into_iter().map(FlagLine::new).collect();
    draw(&FlagsPage {
        shell: Shell::of(&caller, Section::Evidence, "Flags"),
        count: words::count(count),
        open: lines(open.items),
        answered: lines(answered.items),
        more_open: open.next,
        more_answered: answered.next,
        first: query.after.is_none() && query.answered_after.is_none(),
    })
}

pub(super) async fn show(
    State(service): State<Service>,
    Visitor(caller): Visitor,
    PathParts(id): PathParts<Uuid>,
) -> Result<Response, Refusal> {
    page(&service, &caller, id, None).await
}

async fn page(
    service: &Service,
    caller: &Caller,
    id: Uuid,
    fault: Option<String>,
) -> Result<Response, Refusal> {
    let FlagDetail {
        flag,
        rows,
        answers,
        ..
    } = service.flag(caller, id).await?;
    let batch = service.batch(caller, flag.batch).await?;
    let kind = batch.kind.parse().map_err(|e| Refusal::broken(&e))?;
    let (sequence, open) = (flag.sequence, flag.disposition.is_none());
    let batch_href = links::batch(flag.batch);
    let flag = FlagLine::new(flag);
    draw(&FlagPage {
        shell: Shell::of(caller, Section::Evidence, format!("Flag: {}", flag.screen)),
        shown: rows.len(),
        table: (!rows.is_empty()).then(|| RowsTable::new("Rows of this flag", kind, &rows)),
        flag,
        fault,
        action: format!("{}/disposition", links::flag(id)),
        batch_href,
        sequence,
        open,
        may_answer: caller.role == Role::Manager && !caller.read_only,
        answers: answers
            .into_iter()
            .map(|answer| AnswerLine {
                at: words::instant(answer.at),
                who: answer.who,
                what: meaning(answer.disposition),
                reason: answer.reason,
                sequence: answer.sequence,
            })
            .collect(),
        choices: Disposition::ALL
            .map(|each| (each.code(), meaning(each)))
            .to_vec(),
    })
}

#[derive(Deserialize)]
pub(super) struct AnswerForm {
    disposition: Disposition,
    reason: String,
}

pub(super) async fn answer(
    State(service): State<Service>,
    Visitor(caller): Visitor,
    PathParts(id): PathParts<Uuid>,
    Form(form): Form<AnswerForm>,
) -> Result<Response, Refusal> {
    let given = NewFlagAnswer {
        disposition: form.disposition,
        reason: form.reason,
    };
    let once = Once::unkeyed();
    match service.answer_flag(&caller, id, &given, &once).await {
        Ok(_) => Ok(Redirect::to(&links::flag(id)).into_response()),
        Err(error) => {
            let (status, fault): (StatusCode, String) = words::fault(error)?;
            let page = page(&service, &caller, id, Some(fault)).await?;
            Ok((status, page).into_response())
        }
    }
}
