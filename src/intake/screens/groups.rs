//! Rows that belong together: the visits of one enumerator, their days, their likenesses.

use super::observe::Field;
use super::rules::{ALIKE_VISITS, Rules};
use crate::intake::kinds::BatchKind;
use crate::statistics::screens::{self, Cell, Flag, Observation};
use std::collections::{BTreeMap, BTreeSet};

/// Pairs of rows that are compared in one screening, about. Beyond it rows are compared within
/// smaller blocks of those that one enumerator sent after each other.
const PAIRS: usize = 1_000_000;
const BLOCK: std::ops::RangeInclusive<usize> = 20..=2_000;

/// Visits of a day that are looked at; a day of more is flagged for its pace.
const VISITS_OF_A_DAY: usize = 200;

/// Rows of one named enumerator that are nearly the same.
pub(super) fn near_twins(field: &Field<'_>, rules: &Rules) -> Vec<Flag> {
    if rules.alike.is_empty() {
        return Vec::new();
    }
    let unit = match field.kind {
        BatchKind::CookingTest => ["test_code"],
        _ => ["household_code"],
    };
    let mut named = BTreeMap::<String, Vec<Observation>>::new();
    let mut count = 0usize;
    for observation in field.observations(&unit, rules.alike) {
        if let Some(enumerator) = observation.enumerator.clone() {
            named.entry(enumerator).or_default().push(observation);
            count += 1;
        }
    }
    let block = (2 * PAIRS / count.max(1)).clamp(*BLOCK.start(), *BLOCK.end());
    let rows = named.values().flat_map(|rows| rows.chunks(block));
    rows.flat_map(|rows| screens::near_twins(rows, rules.twins))
        .collect()
}

/// One observation for each visit: several rows of one household with one beginning are one.
pub(super) fn visits(field: &Field<'_>) -> Vec<Observation> {
    let mut seen = BTreeSet::new();
    let mut visits = Vec::new();
    for (place, row) in field.rows.iter().enumerate() {
        let (Some(enumerator), Some(at)) = (field.enumerator(row), field.started_at(row)) else {
            continue;
        };
        let household = field.household(row).unwrap_or_default();
        if seen.insert((enumerator, at, household)) {
            visits.push(field.bare(place, row, household.to_owned()));
        }
    }
    visits
}

/// Days on which one enumerator of a usage survey found the same of every stove in use.
pub(super) fn straight_days(field: &Field<'_>) -> Vec<Flag> {
    if field.kind != BatchKind::UsageSurvey {
        return Vec::new();
    }
    let columns = ["outcome", "days_used_last_week", "share_of_meals"];
    let [outcome, days, share] = columns.map(|name| field.column(name).unwrap_or(usize::MAX));
    let mut by_day = BTreeMap::<(&str, _), (Observation, Vec<usize>)>::new();
    for (place, row) in field.rows.iter().enumerate() {
        let (Some(enumerator), Some(day)) = (field.enumerator(row), field.day(row)) else {
            continue;
        };
        if row.text(outcome) != "in_use" {
            continue;
        }
        let first = || (field.bare(place, row, day.to_string()), Vec::new());
        let (told, rows) = by_day.entry((enumerator, day)).or_insert_with(first);
        if rows.len() == VISITS_OF_A_DAY {
            continue;
        }
        let answer = format!("{} days, {} of meals", row.text(days), row.text(share));
        told.answers
            .push((format!("visit {}", rows.len()), Cell::Text(answer)));
        rows.push(place);
    }
    let mut flags = Vec::new();
    for ((enumerator, day), (told, rows)) in by_day {
        let visits: Vec<&str> = told.answers.iter().map(|(name, _)| name.as_str()).collect();
        for flag in screens::straight_lines(std::slice::from_ref(&told), &visits, ALIKE_VISITS) {
            flags.push(Flag {
                lines: rows.clone(),
                sentence: format!("{enumerator} on {day}, stoves in use: {}", flag.sentence),
                ..flag
            });
        }
    }
    flags
}
