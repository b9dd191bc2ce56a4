//! Quantiles, moments and intervals against scipy: `tests/reference/distributions.py` wrote
//! the expected values, its head says with which version.

use super::{number, rows};
use crate::statistics::StatisticsError;
use crate::statistics::distribution::{Shape, central_interval, moments};
use crate::statistics::estimate::{clopper_pearson, mean, proportion_standard_error, wilson};
use crate::statistics::quantile;
use std::collections::BTreeMap;

const EXPECTED: &str = include_str!("../../../tests/reference/distributions.csv");

/// Relative to the expected value, or absolute below one.
const WITHIN: f64 = 1e-9;

fn shape(kind: &str, parameters: &[f64]) -> Option<(Shape, f64)> {
    Some(match (kind, parameters) {
        ("lognormal", &[stated, lower, upper, confidence, ..]) => (
            Shape::Lognormal {
                lower,
                upper,
                confidence,
            },
            stated,
        ),
        ("triangular", &[stated, lower, upper, ..]) => (Shape::Triangular { lower, upper }, stated),
        ("uniform", &[stated, lower, upper, ..]) => (Shape::Uniform { lower, upper }, stated),
        ("normal_shape", &[stated, standard_deviation, ..]) => {
            (Shape::Normal { standard_deviation }, stated)
        }
        ("truncated_normal", &[stated, standard_deviation, lower, upper, ..]) => (
            Shape::TruncatedNormal {
                standard_deviation,
                lower,
                upper,
            },
            stated,
        ),
        _ => return None,
    })
}

/// What this room answers; none where it does not know the kind.
fn answer(kind: &str, parameters: &[f64]) -> Option<Result<f64, StatisticsError>> {
    if let Some((kind, part)) = kind.rsplit_once('_')
        && let Some((shape, stated)) = shape(kind, parameters)
    {
        let confidence = parameters.last().copied().unwrap_or(f64::NAN);
        return Some(match part {
            "mean" => moments(shape, stated).map(|found| found.mean),
            "sd" => moments(shape, stated).map(|found| found.standard_deviation),
            "lower" => central_interval(shape, stated, confidence).map(|(lower, _)| lower),
            "upper" => central_interval(shape, stated, confidence).map(|(_, upper)| upper),
            _ => return None,
        });
    }
    let counts = |x: f64, n: f64| (x as u64, n as u64);
    Some(match (kind, parameters) {
        ("normal", &[p]) => quantile::normal(p),
        ("student_t", &[p, df]) => quantile::student_t(p, df),
        ("beta", &[a, b, p]) => quantile::beta(p, a, b),
        ("chi_squared_tail", &[statistic, df]) => quantile::chi_squared_tail(statistic, df),
        ("clopper_pearson_lower" | "clopper_pearson_upper", &[x, n, confidence]) => {
            let (x, n) = counts(x, n);
            clopper_pearson(x, n, confidence).map(|interval| match kind {
                "clopper_pearson_lower" => interval.lower,
                _ => interval.upper,
            })
        }
        ("wilson_lower" | "wilson_upper", &[x, n, confidence]) => {
            let (x, n) = counts(x, n);
            wilson(x, n, confidence).map(|interval| match kind {
                "wilson_lower" => interval.lower,
                _ => interval.upper,
            })
        }
        ("jeffreys_sd", &[x, n]) => {
            let (x, n) = counts(x, n);
            proportion_standard_error(x, n)
        }
        ("mean_se", values) => mean(values).map(|mean| mean.standard_error),
        _ => return None,
    })
}

#[test]
fn every_value_of_scipy_comes_back() {
    let mut wrong = Vec::new();
    let mut seen: BTreeMap<&str, usize> = BTreeMap::new();
    for row in rows(EXPECTED) {
        let [kind, parameters, expected] = row[..] else {
            panic!("{row:?}");
        };
        let parameters: Vec<f64> = parameters
            .split(';')
            .filter(|cell| !cell.is_empty())
            .map(number)
            .collect();
        let expected = number(expected);
        // Held in estimate.rs, beside the Welch formula.
        if kind.starts_with("welch") {
            continue;
        }
        *seen.entry(kind).or_default() += 1;
        match answer(kind, &parameters) {
            Some(Ok(found)) if (found - expected).abs() <= WITHIN * expected.abs().max(1.0) => {}
            found => wrong.push(format!("{kind} {parameters:?}: {found:?}, not {expected}")),
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    assert_eq!(seen.len(), 30, "{seen:?}");
}
