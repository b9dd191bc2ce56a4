//! The raw rows behind a trace node.

use super::rows_table::{RowsTable, cell, kind_title};
use super::{links, words};
use crate::accounting::inputs::{EvidenceRole, EvidenceSet, Period};
use crate::intake::{BatchKind, Template};
use crate::service::batches::BatchView;
use crate::service::evidence::RowView;
use crate::service::{Caller, Service, ServiceError};
use std::collections::BTreeMap;

/// Rows shown.
const SHOWN: usize = 200;
/// Rows read at a time.
const READ_AT_ONCE: u32 = 1_000;
/// Rows read in all for one page; the export holds every row.
const READ_MOST: usize = 20_000;

/// A batch in a sentence.
pub(super) struct BatchLine {
    pub href: String,
    pub name: String,
    pub rows: String,
}

/// The evidence of one node.
pub(super) struct EvidenceView {
    pub what: &'static str,
    pub rounds: Vec<String>,
    pub batches: Vec<BatchLine>,
    /// Which rows are shown, and what was not sorted out.
    pub sentences: Vec<String>,
    pub tables: Vec<RowsTable>,
}

/// What is asked of the rows: `where` of the node, split by what a column can answer.
struct Selection<'a> {
    role: EvidenceRole,
    at: &'a BTreeMap<String, String>,
    period: &'a Period,
}

impl Selection<'_> {
    fn answered<'a>(&'a self, template: &'a Template) -> impl Iterator<Item = (&'a str, &'a str)> {
        self.at
            .iter()
            .filter(|(name, _)| template.column(name).is_some())
            .map(|(name, value)| (name.as_str(), value.as_str()))
    }

    /// The column whose day must lie in the period, for evidence that is read by day.
    fn day_column(&self) -> Option<&'static str> {
        match self.role {
            EvidenceRole::Usage => Some("surveyed_on"),
            EvidenceRole::CharWeighings => Some("weighed_on"),
            // The register is asked day by day, and what was measured once holds for the
            // periods that follow.
            EvidenceRole::Register
            | EvidenceRole::BaselineKitchens
            | EvidenceRole::ProjectKitchens
            | EvidenceRole::BaselineSurvey
            | EvidenceRole::CookingTests
            | EvidenceRole::StoveTests
            | EvidenceRole::CharLab => None,
        }
    }

    fn takes(&self, template: &Template, row: &RowView) -> bool {
        let fits = self
            .answered(template)
            .all(|(name, value)| cell(row, name) == value);
        fits && self
            .day_column()
            .is_none_or(|column| lies_in(self.period, cell(row, column)))
    }
}

fn lies_in(period: &Period, day: &str) -> bool {
    day.parse()
        .is_ok_and(|day| period.starts_on <= day && day < period.ends_on)
}

/// Gathers the batches and the first rows that `at` picks.
pub(super) async fn gather(
    service: &Service,
    caller: &Caller,
    (role, at): (EvidenceRole, &BTreeMap<String, String>),
    (period, position): (&Period, u64),
    set: Option<&EvidenceSet>,
) -> Result<EvidenceView, ServiceError> {
    let selection = Selection { role, at, period };
    let mut view = EvidenceView {
        what: words::evidence_role(role),
        rounds: set.map(|set| set.rounds.clone()).unwrap_or_default(),
        batches: Vec::new(),
        sentences: Vec::new(),
        tables: Vec::new(),
    };
    let (mut shown, mut read, mut cut) = (0, 0, false);
    let mut unanswered: Vec<&str> = Vec::new();
    for named in set.map_or(&[][..], |set| &set.batches) {
        let batch = service.batch(caller, named.id).await?;
        view.batches.push(line(&batch));
        let Ok(kind) = batch.kind.parse::<BatchKind>() else {
            continue;
        };
        // Stove days come from the deployments; a household gives only its site.
        if kind == BatchKind::Households {
            continue;
        }
        let template = kind.template();
        unanswered.extend(
            at.keys()
                .map(String::as_str)
                .filter(|name| template.column(name).is_none()),
        );
        let mut rows = Vec::new();
        let mut after = 0;
        while shown + rows.len() <= SHOWN && read < READ_MOST {
            let page = service
                .batch_rows(caller, batch.id, Some(position), after, READ_AT_ONCE)
                .await?;
            let Some(last) = page.last() else { break };
            after = last.line;
            read += page.len();
            rows.extend(
                page.into_iter()
                    .filter(|row| row.corrected.is_none())
                    .filter(|row| selection.takes(template, row)),
            );
        }
        cut |= shown + rows.len() > SHOWN || read >= READ_MOST;
        rows.truncate(SHOWN.saturating_sub(shown));
        shown += rows.len();
        if !rows.is_empty() {
            let caption = format!("{}, rows of {}", kind_title(&batch.kind), name(&batch));
            view.tables.push(RowsTable::new(caption, kind, &rows));
        }
    }
    unanswered.sort_unstable();
    unanswered.dedup();
    view.sentences = sentences(&selection, &unanswered, shown, cut);
    Ok(view)
}

fn sentences(
    selection: &Selection<'_>,
    unanswered: &[&str],
    shown: usize,
    cut: bool,
) -> Vec<String> {
    let picked: Vec<String> = selection
        .at
        .iter()
        .filter(|(name, _)| !unanswered.contains(&name.as_str()))
        .map(|(name, value)| format!("{} {}", words::spaced(name), words::spaced(value)))
        .collect();
    let mut told = Vec::new();
    if !picked.is_empty() {
        told.push(format!("Shown are the rows with {}.", picked.join(" and ")));
    }
    if selection.day_column().is_some() {
        told.push(format!(
            "Only rows dated from {} to before {} count.",
            selection.period.starts_on, selection.period.ends_on
        ));
    }
    for name in unanswered {
        let value = selection.at.get(*name).map_or("", String::as_str);
        let why = match *name {
            "age_band" => "is worked out from the date of installation and ",
            _ => "",
        };
        told.push(format!(
            "The value is that of {} {}, which {why}stands in no column: the rows are not picked \
             by it, and those of all values are shown.",
            words::spaced(name),
            words::spaced(value)
        ));
    }
    told.push(match (shown, cut) {
        (0, _) => "No such row was found.".to_owned(),
        (shown, true) => format!(
            "These are the first {} rows. The export holds all of them.",
            words::count(shown as u64)
        ),
        (1, false) => "It is one row.".to_owned(),
        (shown, false) => format!("These are all {} rows.", words::count(shown as u64)),
    });
    told
}

/// What a batch goes by: its file, else its kind.
pub(super) fn name(batch: &BatchView) -> String {
    batch
        .file_name
        .clone()
        .unwrap_or_else(|| kind_title(&batch.kind))
}

fn line(batch: &BatchView) -> BatchLine {
    BatchLine {
        href: links::batch(batch.id),
        name: name(batch),
        rows: words::count(batch.rows),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;
    use uuid::Uuid;

    fn period() -> Period {
        Period {
            code: "2025".into(),
            starts_on: "2025-01-01".parse().unwrap(),
            ends_on: "2026-01-01".parse().unwrap(),
        }
    }

    fn weighing(feedstock: &str, day: &str) -> RowView {
        let json = json!({"feedstock": feedstock, "weighed_on": day});
        RowView {
            batch: Uuid::nil(),
            line: 2,
            row_hash: String::new(),
            cells: json.as_object().unwrap().clone(),
            corrected: None,
        }
    }

    #[test]
    fn rows_are_picked_by_their_columns_and_their_day() {
        let at = BTreeMap::from([("feedstock".to_owned(), "coconut_husk".to_owned())]);
        let selection = Selection {
            role: EvidenceRole::CharWeighings,
            at: &at,
            period: &period(),
        };
        let template = BatchKind::CharWeighing.template();
        assert!(selection.takes(template, &weighing("coconut_husk", "2025-12-31")));
        assert!(!selection.takes(template, &weighing("coconut_husk", "2026-01-01")));
        assert!(!selection.takes(template, &weighing("wood", "2025-06-01")));
    }

    #[test]
    fn tests_of_an_earlier_year_count_and_are_picked_by_dish_and_device() {
        let at = BTreeMap::from([
            ("device".to_owned(), "gasifier".to_owned()),
            ("dish".to_owned(), "bean_stew".to_owned()),
        ]);
        let selection = Selection {
            role: EvidenceRole::CookingTests,
            at: &at,
            period: &period(),
        };
        let test = |dish: &str| RowView {
            batch: Uuid::nil(),
            line: 2,
            row_hash: String::new(),
            cells: json!({"device": "gasifier", "dish": dish, "tested_on": "2022-03-01"})
                .as_object()
                .unwrap()
                .clone(),
            corrected: None,
        };
        let template = BatchKind::CookingTest.template();
        assert!(selection.takes(template, &test("bean_stew")));
        assert!(!selection.takes(template, &test("boiled_rice")));
        let told = sentences(&selection, &[], 5, false);
        assert_eq!(
            told,
            [
                "Shown are the rows with device gasifier and dish bean stew.",
                "These are all 5 rows."
            ]
        );
    }

    #[test]
    fn what_no_column_answers_is_said_and_not_guessed() {
        let at = BTreeMap::from([("age_band".to_owned(), "1".to_owned())]);
        let selection = Selection {
            role: EvidenceRole::Register,
            at: &at,
            period: &period(),
        };
        let told = sentences(&selection, &["age_band"], 200, true);
        assert!(told[0].contains("those of all values are shown"));
        assert!(told[1].starts_with("These are the first 200 rows"));
    }
}
