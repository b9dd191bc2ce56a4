//! What the close of a round records: the counts, the response, and how exact the answer is.

use super::drawing::DrawnUnit;
use super::plan::{RoundPlan, Sizes};
use super::precision::achieved;
use super::progress::{Answer, Counts, progress};
use super::records::CloseRecord;
use rust_decimal::Decimal;

/// A draw, and what the rows of its round say.
#[derive(Debug, Clone, Copy)]
pub struct Drawn<'a> {
    pub plan: &'a RoundPlan,
    /// Of the frame.
    pub sizes: &'a Sizes,
    pub clusters: &'a [String],
    pub units: &'a [DrawnUnit],
    /// Of the drawn units, and of any others.
    pub answers: &'a [Answer],
    /// Units with rows in the round that are neither drawn nor among the answers.
    pub outside: u64,
}

/// The record of a close whose answers were read at `position`; of a round without a draw it
/// says no more than that.
pub fn close(round: &str, position: u64, drawn: Option<Drawn<'_>>) -> CloseRecord {
    let plain = CloseRecord {
        round: round.to_owned(),
        position,
        counts: None,
        response: None,
        achieved: None,
        not_achieved_because: None,
    };
    let Some(drawn) = drawn else {
        return CloseRecord {
            not_achieved_because: Some("no sample of it was drawn by this program".to_owned()),
            ..plain
        };
    };
    let (states, mut counts) = progress(drawn.units, drawn.answers);
    counts.outside += drawn.outside;
    let (achieved, because) = match achieved(drawn.plan, drawn.sizes, drawn.clusters, &states) {
        Ok(achieved) => (Some(achieved), None),
        Err(error) => (None, Some(error.to_string())),
    };
    CloseRecord {
        counts: Some(counts),
        response: response(&counts),
        achieved,
        not_achieved_because: because,
        ..plain
    }
}

/// Share of the visited units that answered, to six digits; none before a visit.
fn response(counts: &Counts) -> Option<Decimal> {
    let visited = counts.done + counts.refused + counts.not_found;
    Decimal::from(counts.done)
        .checked_div(Decimal::from(visited))
        .map(|share| share.round_dp(6).normalize())
}

/// Where two records of one close part, by the names of their fields.
pub fn differences(stated: &CloseRecord, again: &CloseRecord) -> Vec<String> {
    let value = |record: &CloseRecord| serde_json::to_value(record).unwrap_or_default();
    let mut found = Vec::new();
    compare("", &value(stated), &value(again), &mut found);
    found
}

fn compare(
    place: &str,
    stated: &serde_json::Value,
    again: &serde_json::Value,
    found: &mut Vec<String>,
) {
    if let (Some(one), Some(other)) = (stated.as_object(), again.as_object()) {
        let mut names: Vec<&String> = one.keys().chain(other.keys()).collect();
        names.sort_unstable();
        names.dedup();
        let nothing = serde_json::Value::Null;
        for name in names {
            let place = if place.is_empty() {
                name.clone()
            } else {
                format!("{place}.{name}")
            };
            let (one, other) = (one.get(name), other.get(name));
            compare(
                &place,
                one.unwrap_or(&nothing),
                other.unwrap_or(&nothing),
                found,
            );
        }
    } else if stated != again {
        found.push(format!("{place} is {stated}, the rows give {again}"));
    }
}
