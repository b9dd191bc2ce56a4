//! Values that are impossible by stated limits, or far from all the others.

use super::{Flag, Observation, Screen};

/// What an answer can be at most and at least.
#[derive(Debug, Clone, PartialEq)]
pub struct Limit {
    pub question: String,
    pub lower: f64,
    pub upper: f64,
}

/// Numbers beyond their limits; the limits themselves are within.
pub fn beyond_limits(observations: &[Observation], limits: &[Limit]) -> Vec<Flag> {
    let mut flags = Vec::new();
    for limit in limits {
        for observation in observations {
            let Some(value) = observation.number(&limit.question) else {
                continue;
            };
            if value < limit.lower || value > limit.upper {
                flags.push(Flag {
                    screen: Screen::BeyondLimits,
                    lines: vec![observation.line],
                    sentence: format!(
                        "{} is {value}, outside of {} to {}.",
                        limit.question, limit.lower, limit.upper
                    ),
                });
            }
        }
    }
    flags
}

/// When a value is far from the others.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum ExtremeRule {
    /// More than so many times the median absolute deviation from the median. The deviation is
    /// multiplied by 1.4826, so that it is a standard deviation where values are normal.
    MedianDeviations(f64),
    /// More than so many times the distance of the quartiles beyond them, e.g. 1.5. Quartiles
    /// lie on straight lines between the ordered values (type 7 of Hyndman and Fan 1996).
    Quartiles(f64),
}

/// Fewer values than these have no ends to speak of.
const FEWEST_VALUES: usize = 8;

/// The quantile of type 7 of values in order.
pub(super) fn ordered_quantile(ordered: &[f64], probability: f64) -> Option<f64> {
    let last = ordered.len().checked_sub(1)?;
    let place = probability * last as f64;
    let below = *ordered.get(place.floor() as usize)?;
    let above = *ordered.get((place.floor() as usize + 1).min(last))?;
    Some(below + (place - place.floor()) * (above - below))
}

fn in_order(mut values: Vec<f64>) -> Vec<f64> {
    values.sort_by(f64::total_cmp);
    values
}

/// The bounds that `rule` puts around `values`, and its name; none where more than half of them
/// are the same, so that they show no spread to measure by.
pub(super) fn bounds(values: &[f64], rule: ExtremeRule) -> Option<(f64, f64, String)> {
    let ordered = in_order(values.to_vec());
    let (lower, upper, name) = match rule {
        ExtremeRule::MedianDeviations(times) => {
            let median = ordered_quantile(&ordered, 0.5)?;
            let apart = in_order(ordered.iter().map(|value| (value - median).abs()).collect());
            let deviation = 1.4826 * ordered_quantile(&apart, 0.5)?;
            let name = format!(
                "{times} median absolute deviations of {deviation:.4} around the median {median}"
            );
            (median - times * deviation, median + times * deviation, name)
        }
        ExtremeRule::Quartiles(times) => {
            let first = ordered_quantile(&ordered, 0.25)?;
            let third = ordered_quantile(&ordered, 0.75)?;
            let reach = times * (third - first);
            let name =
                format!("{times} quartile distances beyond the quartiles {first} and {third}");
            (first - reach, third + reach, name)
        }
    };
    (upper > lower).then_some((lower, upper, name))
}

/// Numbers far from all others of the same question. Fewer than eight numbers are not judged,
/// nor are numbers of which so many are the same that the rule finds no spread.
pub fn extreme_values(
    observations: &[Observation],
    question: &str,
    rule: ExtremeRule,
) -> Vec<Flag> {
    let values: Vec<(usize, f64)> = observations
        .iter()
        .filter_map(|row| row.number(question).map(|value| (row.line, value)))
        .collect();
    let plain: Vec<f64> = values.iter().map(|(_, value)| *value).collect();
    let judged = (plain.len() >= FEWEST_VALUES)
        .then(|| bounds(&plain, rule))
        .flatten();
    let Some((lower, upper, name)) = judged else {
        return Vec::new();
    };
    values
        .into_iter()
        .filter(|(_, value)| *value < lower || *value > upper)
        .map(|(line, value)| Flag {
            screen: Screen::ExtremeValue,
            lines: vec![line],
            sentence: format!(
                "{question} is {value}, outside of {lower:.4} to {upper:.4} ({name})."
            ),
        })
        .collect()
}
