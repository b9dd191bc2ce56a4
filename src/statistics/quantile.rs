//! Quantiles of the normal, Student's t and the beta distribution; the tail of chi-squared.

use super::StatisticsError;
use statrs::distribution::{Beta, ChiSquared, Continuous, ContinuousCDF, Normal, StudentsT};

/// From here on the series in `1 / df` is exact to the last digits of an `f64`, while the
/// incomplete beta function slowly loses them.
const SERIES_FROM_DEGREES_OF_FREEDOM: f64 = 500.0;

/// Far more than Newton's steps or halving an interval of doubles ever take.
const MOST_STEPS: usize = 2_200;

/// Where a rising distribution function reaches `probability`, between `lower` and `upper`.
///
/// Newton's steps inside a bracket that shrinks with each of them, halved where a step would
/// leave it: it ends whatever the parameters. (The inversion of the incomplete beta function
/// that comes with `statrs` 0.19 runs without end for some real parameters.)
fn invert(
    probability: f64,
    (mut lower, mut upper): (f64, f64),
    distribution: &(impl ContinuousCDF<f64, f64> + Continuous<f64, f64>),
) -> f64 {
    let mut at = lower + (upper - lower) / 2.0;
    for _ in 0..MOST_STEPS {
        let apart = distribution.cdf(at) - probability;
        if apart > 0.0 {
            upper = at;
        } else {
            lower = at;
        }
        let step = at - apart / distribution.pdf(at);
        let next = if step > lower && step < upper {
            step
        } else {
            lower + (upper - lower) / 2.0
        };
        if (next - at).abs() <= f64::EPSILON * next.abs() {
            return next;
        }
        at = next;
    }
    at
}

fn inside(probability: f64) -> Result<f64, StatisticsError> {
    if probability > 0.0 && probability < 1.0 {
        Ok(probability)
    } else {
        Err(StatisticsError::Probability(probability))
    }
}

/// The `z` below which a standard normal value falls with `probability`.
pub fn normal(probability: f64) -> Result<f64, StatisticsError> {
    Ok(Normal::standard().inverse_cdf(inside(probability)?))
}

/// The `t` below which Student's t falls with `probability`.
///
/// The degrees of freedom may be any real number above 0, as the
/// Welch-Satterthwaite formula gives them; infinity means the normal.
pub fn student_t(probability: f64, degrees_of_freedom: f64) -> Result<f64, StatisticsError> {
    let probability = inside(probability)?;
    if degrees_of_freedom.is_nan() || degrees_of_freedom <= 0.0 {
        return Err(StatisticsError::DegreesOfFreedom(degrees_of_freedom));
    }
    if degrees_of_freedom >= SERIES_FROM_DEGREES_OF_FREEDOM {
        return Ok(near_normal(normal(probability)?, degrees_of_freedom));
    }
    let distribution = StudentsT::new(0.0, 1.0, degrees_of_freedom)
        .map_err(|_| StatisticsError::DegreesOfFreedom(degrees_of_freedom))?;
    // The distribution is symmetric; its lower half keeps small probabilities exact.
    let tail = probability.min(1.0 - probability);
    if tail == 0.5 {
        return Ok(0.0);
    }
    let mut reach = -1.0;
    while distribution.cdf(reach) > tail && reach > f64::MIN / 4.0 {
        reach *= 2.0;
    }
    let below = invert(tail, (reach, 0.0), &distribution);
    Ok(if probability < 0.5 { below } else { -below })
}

/// Student's t from the normal quantile `z`, by the expansion of Abramowitz and Stegun, 26.7.5
/// (MEMORY; the tests hold it against the exact inversion).
fn near_normal(z: f64, degrees_of_freedom: f64) -> f64 {
    let square = z * z;
    let first = (square + 1.0) / 4.0;
    let second = ((5.0 * square + 16.0) * square + 3.0) / 96.0;
    let third = (((3.0 * square + 19.0) * square + 17.0) * square - 15.0) / 384.0;
    let fourth = ((((79.0 * square + 776.0) * square + 1482.0) * square - 1920.0) * square - 945.0)
        / 92160.0;
    let step = 1.0 / degrees_of_freedom;
    z * (1.0 + step * (first + step * (second + step * (third + step * fourth))))
}

/// The quantile that cuts off half of what `confidence` leaves, on each side.
pub fn two_sided(confidence: f64, degrees_of_freedom: f64) -> Result<f64, StatisticsError> {
    student_t((1.0 + inside(confidence)?) / 2.0, degrees_of_freedom)
}

/// The value below which a beta distribution falls with `probability`.
pub fn beta(probability: f64, a: f64, b: f64) -> Result<f64, StatisticsError> {
    let probability = inside(probability)?;
    Beta::new(a, b)
        .map(|beta| invert(probability, (0.0, 1.0), &beta))
        .map_err(|_| StatisticsError::Spread("both parameters of a beta must be above zero"))
}

/// The probability that a chi-squared value lies above `statistic`.
pub fn chi_squared_tail(statistic: f64, degrees_of_freedom: f64) -> Result<f64, StatisticsError> {
    ChiSquared::new(degrees_of_freedom)
        .map(|distribution| distribution.sf(statistic.max(0.0)))
        .map_err(|_| StatisticsError::DegreesOfFreedom(degrees_of_freedom))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn close(found: f64, expected: f64, within: f64) {
        assert!(
            (found - expected).abs() <= within,
            "{found} is not {expected} within {within}"
        );
    }

    /// Critical values printed in the t table of any statistics handbook
    /// (e.g. NIST/SEMATECH e-Handbook, section 1.3.6.7.2); MEMORY.
    #[test]
    fn quantiles_agree_with_the_printed_t_table() {
        close(student_t(0.975, 10.0).unwrap(), 2.228, 5e-4);
        close(student_t(0.95, 1.0).unwrap(), 6.314, 5e-4);
        close(student_t(0.90, 29.0).unwrap(), 1.311, 5e-4);
        close(student_t(0.05, 29.0).unwrap(), -1.699, 5e-4);
        close(student_t(0.975, f64::INFINITY).unwrap(), 1.960, 5e-4);
        close(normal(0.95).unwrap(), 1.645, 5e-4);
    }

    /// COMPUTED outside this program by inverting the incomplete beta function to 15 digits.
    #[test]
    fn quantiles_at_real_degrees_of_freedom() {
        close(student_t(0.95, 1.504813).unwrap(), 3.693423634, 1e-8);
        close(student_t(0.90, 1.504813).unwrap(), 2.191959902, 1e-8);
        close(two_sided(0.90, 5.808015).unwrap(), 1.954744386, 1e-8);
    }

    #[test]
    fn real_degrees_of_freedom_lie_between_their_neighbours() {
        let (five, between, six) = (
            two_sided(0.90, 5.0).unwrap(),
            two_sided(0.90, 5.808015).unwrap(),
            two_sided(0.90, 6.0).unwrap(),
        );
        assert!(five > between && between > six, "{five} {between} {six}");
    }

    #[test]
    fn series_and_inversion_agree_where_they_meet() {
        for probability in [0.75, 0.9, 0.95, 0.975, 0.995] {
            let inverted = StudentsT::new(0.0, 1.0, 500.0)
                .unwrap()
                .inverse_cdf(probability);
            close(student_t(probability, 500.0).unwrap(), inverted, 1e-9);
        }
    }

    #[test]
    fn many_degrees_of_freedom_approach_the_normal() {
        let z = normal(0.95).unwrap();
        close(student_t(0.95, 1e7).unwrap(), z, 1e-6);
        close(student_t(0.95, f64::INFINITY).unwrap(), z, 0.0);
    }

    #[test]
    fn impossible_questions_are_refused() {
        assert!(normal(0.0).is_err());
        assert!(normal(f64::NAN).is_err());
        assert!(student_t(0.5, 0.0).is_err());
        assert!(student_t(0.5, f64::NAN).is_err());
        assert!(two_sided(1.0, 5.0).is_err());
    }
}
