//! How the field gets on: each drawn unit done, refused, not found or open, and who of the
//! reserve has stepped in.

use super::drawing::DrawnUnit;
use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use utoipa::ToSchema;

/// What came of a visit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Visit {
    Done,
    Refused,
    NotFound,
    /// To be visited.
    Open,
    /// In reserve, and not called.
    Waiting,
}

/// What the rows of the round say of one unit.
#[derive(Debug, Clone, PartialEq)]
pub struct Answer {
    pub unit: String,
    pub visit: Visit,
    /// What was measured, or 1 for in use and 0 for not in use.
    pub value: Option<Decimal>,
}

/// One drawn unit and how it stands.
#[derive(Debug, Clone, PartialEq)]
pub struct UnitState<'a> {
    pub drawn: &'a DrawnUnit,
    pub visit: Visit,
    /// Visited although no unit before it made room: it does not count.
    pub out_of_turn: bool,
    pub value: Option<Decimal>,
}

impl UnitState<'_> {
    /// Whether the unit's answer counts.
    pub fn counts(&self) -> bool {
        self.visit == Visit::Done && !self.out_of_turn
    }
}

/// Counts over a round. Out of turn and outside the draw stand apart from the others.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Counts {
    /// Units of the sample, the reserve not counted.
    pub sample: u64,
    pub done: u64,
    pub refused: u64,
    pub not_found: u64,
    /// Of the sample, and of the reserve that was called.
    pub open: u64,
    /// Reserve units that were called, visited or not.
    pub reserve_called: u64,
    pub reserve_waiting: u64,
    /// Reserve units that were visited before their turn.
    pub out_of_turn: u64,
    /// Units with rows in the round that were not drawn.
    pub outside: u64,
}

/// Every drawn unit with its state, in the order of the draw, and the counts.
///
/// The k-th unit of a group's reserve is called when k units before it have refused or were not
/// found, and the reserve units before it have been visited.
pub fn progress<'a>(drawn: &'a [DrawnUnit], answers: &[Answer]) -> (Vec<UnitState<'a>>, Counts) {
    let mut by_unit: BTreeMap<&str, &Answer> = answers
        .iter()
        .map(|answer| (answer.unit.as_str(), answer))
        .collect();
    let mut states = Vec::with_capacity(drawn.len());
    let mut counts = Counts::default();
    for group in drawn.chunk_by(|one, next| one.group == next.group) {
        let (mut failed, mut called, mut reserve_open) = (0_u64, 0_u64, false);
        for unit in group {
            let answer = by_unit.remove(unit.unit.as_str());
            let called_now = unit.reserve && called < failed;
            let out_of_turn = answer.is_some() && unit.reserve && (!called_now || reserve_open);
            let visit = match answer {
                Some(answer) => answer.visit,
                None if called_now || !unit.reserve => Visit::Open,
                None => Visit::Waiting,
            };
            if called_now {
                called += 1;
                counts.reserve_called += 1;
                reserve_open |= answer.is_none();
            }
            counts.sample += u64::from(!unit.reserve);
            if out_of_turn {
                counts.out_of_turn += 1;
            } else {
                let count = match visit {
                    Visit::Done => &mut counts.done,
                    Visit::Refused => &mut counts.refused,
                    Visit::NotFound => &mut counts.not_found,
                    Visit::Open => &mut counts.open,
                    Visit::Waiting => &mut counts.reserve_waiting,
                };
                *count += 1;
                failed += u64::from(matches!(visit, Visit::Refused | Visit::NotFound));
            }
            states.push(UnitState {
                drawn: unit,
                visit,
                out_of_turn,
                value: answer.and_then(|answer| answer.value),
            });
        }
    }
    counts.outside = by_unit.len() as u64;
    (states, counts)
}

#[cfg(test)]
mod tests;
