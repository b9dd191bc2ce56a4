//! Fieldwork that cannot be as it is told: visits in too quick a row, units that were not drawn.

use super::{Flag, Observation, Screen, by_enumerator};
use std::collections::{BTreeMap, BTreeSet};

const MINUTES_OF_A_DAY: i64 = 24 * 60;

/// What one enumerator can do.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Pace {
    /// From one visit to the next.
    pub fewest_minutes_between: i64,
    pub most_a_day: usize,
}

/// Visits of one enumerator too soon after the one before, and days with too many of them.
///
/// Rows that do not say who asked or when are left out.
pub fn pace(observations: &[Observation], rule: Pace) -> Vec<Flag> {
    let named: Vec<Observation> = observations
        .iter()
        .filter(|observation| observation.enumerator.is_some())
        .cloned()
        .collect();
    let mut flags = Vec::new();
    for (enumerator, rows) in by_enumerator(&named) {
        let mut visits: Vec<(i64, usize)> = rows
            .iter()
            .filter_map(|row| row.at.map(|at| (at, row.line)))
            .collect();
        visits.sort_unstable();
        for (before, after) in visits.iter().zip(visits.iter().skip(1)) {
            let minutes = after.0.saturating_sub(before.0);
            if minutes < rule.fewest_minutes_between {
                flags.push(Flag {
                    screen: Screen::Pace,
                    lines: vec![before.1, after.1],
                    sentence: format!(
                        "{enumerator} began two visits {minutes} minutes apart; fewer than {} \
                         are flagged.",
                        rule.fewest_minutes_between
                    ),
                });
            }
        }
        let mut days = BTreeMap::<i64, Vec<usize>>::new();
        for (at, line) in visits {
            days.entry(at.div_euclid(MINUTES_OF_A_DAY))
                .or_default()
                .push(line);
        }
        flags.extend(
            days.into_values()
                .filter(|lines| lines.len() > rule.most_a_day)
                .map(|lines| Flag {
                    screen: Screen::Pace,
                    sentence: format!(
                        "{enumerator} made {} visits on one day; more than {} are flagged.",
                        lines.len(),
                        rule.most_a_day
                    ),
                    lines,
                }),
        );
    }
    flags
}

/// Rows of units that are neither in the sample nor in its reserve.
pub fn outside_draw(observations: &[Observation], drawn: &BTreeSet<&str>) -> Vec<Flag> {
    observations
        .iter()
        .filter(|observation| !drawn.contains(observation.unit.as_str()))
        .map(|observation| Flag {
            screen: Screen::OutsideDraw,
            lines: vec![observation.line],
            sentence: format!(
                "Unit {} is not among the {} that were drawn.",
                observation.unit,
                drawn.len()
            ),
        })
        .collect()
}
