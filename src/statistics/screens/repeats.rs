//! Rows that repeat: the same unit twice, and rows of one enumerator that are nearly the same.

use super::{Cell, Flag, Observation, Screen, by_enumerator};
use std::collections::BTreeMap;

/// Units with more than one row.
pub fn duplicate_units(observations: &[Observation]) -> Vec<Flag> {
    let mut lines = BTreeMap::<&str, Vec<usize>>::new();
    for observation in observations {
        lines
            .entry(&observation.unit)
            .or_default()
            .push(observation.line);
    }
    lines
        .into_iter()
        .filter(|(_, lines)| lines.len() > 1)
        .map(|(unit, lines)| Flag {
            screen: Screen::DuplicateUnit,
            sentence: format!(
                "Unit {unit} has {} rows, where one is expected.",
                lines.len()
            ),
            lines,
        })
        .collect()
}

/// From when on two rows are nearly the same.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NearTwins {
    /// Share of the questions answered in both rows that have the same answer, e.g. 0.95.
    pub share: f64,
    /// Questions answered in both rows; fewer are not compared.
    pub at_least: usize,
}

fn same(a: &Cell, b: &Cell) -> bool {
    match (a, b) {
        (Cell::Number { value: a, .. }, Cell::Number { value: b, .. }) => a == b,
        (Cell::Text(a), Cell::Text(b)) => a == b,
        _ => false,
    }
}

/// Questions answered in both rows, and those answered alike.
fn agreement(a: &Observation, b: &Observation) -> (usize, usize) {
    let pairs: Vec<bool> = a
        .answers
        .iter()
        .filter_map(|(question, cell)| b.answer(question).map(|other| same(cell, other)))
        .collect();
    (pairs.len(), pairs.iter().filter(|same| **same).count())
}

/// Rows of one enumerator, on different units, that are nearly the same: each row with the
/// earlier one that it is most like.
pub fn near_twins(observations: &[Observation], rule: NearTwins) -> Vec<Flag> {
    let mut flags = Vec::new();
    for (enumerator, rows) in by_enumerator(observations) {
        for (place, row) in rows.iter().enumerate() {
            let earlier = rows
                .iter()
                .take(place)
                .filter(|other| other.unit != row.unit);
            let mut most_alike: Option<(usize, usize, usize)> = None;
            for other in earlier {
                let (both, alike) = agreement(row, other);
                let enough = both >= rule.at_least.max(1);
                let closer =
                    most_alike.is_none_or(|(_, most_both, most)| alike * most_both > most * both);
                if enough && closer && alike as f64 >= rule.share * both as f64 {
                    most_alike = Some((other.line, both, alike));
                }
            }
            if let Some((line, both, alike)) = most_alike {
                flags.push(Flag {
                    screen: Screen::NearTwins,
                    lines: vec![line, row.line],
                    sentence: format!(
                        "Two rows of {enumerator} have the same answer to {alike} of {both} \
                         questions; from {:.0} % on they are flagged.",
                        rule.share * 100.0
                    ),
                });
            }
        }
    }
    flags
}
