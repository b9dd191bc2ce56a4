//! Habits that show: one answer to every question of a list, and numbers that end in favourite
//! digits.

use super::{Cell, Flag, Observation, Screen, by_enumerator};
use crate::statistics::{StatisticsError, quantile};

/// Rows that answer every question of `questions` alike, where at least `at_least` of them
/// are answered.
pub fn straight_lines(
    observations: &[Observation],
    questions: &[&str],
    at_least: usize,
) -> Vec<Flag> {
    let shown = |cell: &Cell| match cell {
        Cell::Number { value, .. } => value.to_string(),
        Cell::Text(text) => text.clone(),
    };
    observations
        .iter()
        .filter_map(|observation| {
            let answers: Vec<String> = questions
                .iter()
                .filter_map(|question| observation.answer(question).map(shown))
                .collect();
            let first = answers.first()?;
            let straight =
                answers.len() >= at_least.max(2) && answers.iter().all(|answer| answer == first);
            straight.then(|| Flag {
                screen: Screen::StraightLine,
                lines: vec![observation.line],
                sentence: format!(
                    "All {} questions of one list are answered {first:?}; from {at_least} on \
                     this is flagged.",
                    answers.len()
                ),
            })
        })
        .collect()
}

/// When last digits are judged, and flagged.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Heaping {
    /// Numbers of one enumerator; fewer are not judged. At least 50 are taken, so that five are
    /// expected of each digit (common practice for chi-squared, no source).
    pub at_least: usize,
    /// Flagged where even digits would look like this more rarely, e.g. 0.001.
    pub probability: f64,
}

fn last_digit(written: &str) -> Option<usize> {
    let mantissa = written.split(['e', 'E']).next().unwrap_or(written);
    let digit = mantissa.chars().rev().find(char::is_ascii_digit)?;
    digit.to_digit(10).map(|digit| digit as usize)
}

/// Enumerators whose numbers, as written, do not end in all digits about equally often: chi-squared
/// over the ten digits, 9 degrees of freedom. Ask it only of questions whose last digit is free.
///
/// The lines are those that end in the digit found most often.
pub fn digit_heaping(
    observations: &[Observation],
    questions: &[&str],
    rule: Heaping,
) -> Result<Vec<Flag>, StatisticsError> {
    let mut flags = Vec::new();
    for (enumerator, rows) in by_enumerator(observations) {
        let ends: Vec<(usize, usize)> = rows
            .iter()
            .flat_map(|row| {
                questions
                    .iter()
                    .map(move |question| (row, row.answer(question)))
            })
            .filter_map(|(row, answer)| match answer {
                Some(Cell::Number { written, .. }) => Some((row.line, last_digit(written)?)),
                _ => None,
            })
            .collect();
        if ends.len() < rule.at_least.max(50) {
            continue;
        }
        let mut counts = [0usize; 10];
        for (_, digit) in &ends {
            if let Some(count) = counts.get_mut(*digit) {
                *count += 1;
            }
        }
        let even = ends.len() as f64 / 10.0;
        let statistic: f64 = counts
            .iter()
            .map(|count| (*count as f64 - even).powi(2) / even)
            .sum();
        let probability = quantile::chi_squared_tail(statistic, 9.0)?;
        if probability >= rule.probability {
            continue;
        }
        let most = counts.iter().copied().max().unwrap_or(0);
        let favourite = counts.iter().position(|count| *count == most).unwrap_or(0);
        let mut lines: Vec<usize> = ends
            .iter()
            .filter(|(_, digit)| *digit == favourite)
            .map(|(line, _)| *line)
            .collect();
        lines.dedup();
        flags.push(Flag {
            screen: Screen::DigitHeaping,
            lines,
            sentence: format!(
                "{most} of {} numbers of {enumerator} end in {favourite}, where about {even:.0} \
                 are expected (chi-squared {statistic:.1}, probability {probability:.1e}; below \
                 {:e} it is flagged).",
                ends.len(),
                rule.probability
            ),
        });
    }
    Ok(flags)
}
