//! Estimates from simple random samples: means, proportions and their doubt.

use super::{StatisticsError, quantile};

/// Means of several values measured on the same units, with the covariance of those means.
#[derive(Debug, Clone, PartialEq)]
pub struct VectorMean {
    pub means: Vec<f64>,
    /// Sample covariance divided by the number of units: the covariance of the means.
    pub covariance: Vec<Vec<f64>>,
    pub units: usize,
    pub degrees_of_freedom: f64,
}

/// Mean vector of a simple random sample, one row for each unit.
///
/// The divisor of the covariance is `n - 1`, so two units at least are needed.
pub fn mean_vector(rows: &[Vec<f64>]) -> Result<VectorMean, StatisticsError> {
    let units = rows.len();
    if units < 2 {
        return Err(StatisticsError::TooFewUnits {
            needed: 2,
            found: units,
        });
    }
    let width = rows.first().map_or(0, Vec::len);
    if let Some(row) = rows.iter().find(|row| row.len() != width) {
        return Err(StatisticsError::Ragged {
            expected: width,
            found: row.len(),
        });
    }
    let n = units as f64;
    let mut means = vec![0.0; width];
    for row in rows {
        means
            .iter_mut()
            .zip(row)
            .for_each(|(mean, value)| *mean += value);
    }
    means.iter_mut().for_each(|mean| *mean /= n);
    let mut covariance = vec![vec![0.0; width]; width];
    for row in rows {
        let apart: Vec<f64> = row
            .iter()
            .zip(&means)
            .map(|(value, mean)| value - mean)
            .collect();
        for (line, a) in covariance.iter_mut().zip(&apart) {
            line.iter_mut()
                .zip(&apart)
                .for_each(|(cell, b)| *cell += a * b / (n * (n - 1.0)));
        }
    }
    Ok(VectorMean {
        means,
        covariance,
        units,
        degrees_of_freedom: n - 1.0,
    })
}

/// Mean of one value over a simple random sample.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Mean {
    pub mean: f64,
    pub standard_error: f64,
    pub degrees_of_freedom: f64,
}

/// Mean and standard error `s / sqrt(n)` of a simple random sample.
pub fn mean(values: &[f64]) -> Result<Mean, StatisticsError> {
    let rows: Vec<Vec<f64>> = values.iter().map(|value| vec![*value]).collect();
    let vector = mean_vector(&rows)?;
    let first = |cells: &[f64]| cells.first().copied().unwrap_or(0.0);
    Ok(Mean {
        mean: first(&vector.means),
        standard_error: vector
            .covariance
            .first()
            .map_or(0.0, |line| first(line))
            .sqrt(),
        degrees_of_freedom: vector.degrees_of_freedom,
    })
}

/// One independent share of a variance and how well it is known.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct VariancePart {
    pub variance: f64,
    /// Infinite where the variance is stated and not estimated from a sample.
    pub degrees_of_freedom: f64,
}

/// Welch-Satterthwaite: the degrees of freedom of a sum of independent variances.
///
/// `(sum v)^2 / sum(v^2 / df)`; infinite when no part is estimated.
pub fn effective_degrees_of_freedom(parts: &[VariancePart]) -> f64 {
    let total: f64 = parts.iter().map(|part| part.variance).sum();
    let below: f64 = parts
        .iter()
        .map(|part| part.variance * part.variance / part.degrees_of_freedom)
        .sum();
    if below > 0.0 {
        total * total / below
    } else {
        f64::INFINITY
    }
}

fn checked(successes: u64, trials: u64) -> Result<(f64, f64), StatisticsError> {
    if trials == 0 || successes > trials {
        return Err(StatisticsError::Proportion { successes, trials });
    }
    Ok((successes as f64, trials as f64))
}

/// Standard error of the share `successes / trials`.
///
/// `sqrt(p (1 - p) / n)` inside the range. When none or all succeeded that would
/// be zero, as if a small sample left no doubt; there we take the standard
/// deviation of the beta distribution with half a success and half a failure
/// added (the Jeffreys prior).
pub fn proportion_standard_error(successes: u64, trials: u64) -> Result<f64, StatisticsError> {
    let (x, n) = checked(successes, trials)?;
    if successes == 0 || successes == trials {
        let share = (x + 0.5) / (n + 1.0);
        return Ok((share * (1.0 - share) / (n + 2.0)).sqrt());
    }
    let share = x / n;
    Ok((share * (1.0 - share) / n).sqrt())
}

/// Lower and upper end of an interval.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Interval {
    pub lower: f64,
    pub upper: f64,
}

/// Wilson's score interval for a proportion.
pub fn wilson(successes: u64, trials: u64, confidence: f64) -> Result<Interval, StatisticsError> {
    let (x, n) = checked(successes, trials)?;
    let z = quantile::two_sided(confidence, f64::INFINITY)?;
    let share = x / n;
    let shrink = 1.0 + z * z / n;
    let centre = (share + z * z / (2.0 * n)) / shrink;
    let half = z * (share * (1.0 - share) / n + z * z / (4.0 * n * n)).sqrt() / shrink;
    Ok(Interval {
        lower: (centre - half).max(0.0),
        upper: (centre + half).min(1.0),
    })
}

/// Clopper and Pearson's exact interval for a proportion.
pub fn clopper_pearson(
    successes: u64,
    trials: u64,
    confidence: f64,
) -> Result<Interval, StatisticsError> {
    let (x, n) = checked(successes, trials)?;
    if !(confidence > 0.0 && confidence < 1.0) {
        return Err(StatisticsError::Probability(confidence));
    }
    let tail = (1.0 - confidence) / 2.0;
    let lower = if successes == 0 {
        0.0
    } else {
        quantile::beta(tail, x, n - x + 1.0)?
    };
    let upper = if successes == trials {
        1.0
    } else {
        quantile::beta(1.0 - tail, x + 1.0, n - x)?
    };
    Ok(Interval { lower, upper })
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

    /// Two groups of five kitchens, constructed; means, variances, t and degrees of
    /// freedom COMPUTED with the textbook Welch formulas outside this program.
    #[test]
    fn welch_vector_of_two_kitchen_groups() {
        let before = mean(&[6.1, 5.4, 7.2, 6.6, 5.9]).unwrap();
        let after = mean(&[3.9, 4.4, 3.5, 4.1, 3.8]).unwrap();
        close(before.mean, 6.24, 1e-12);
        close(after.mean, 3.94, 1e-12);
        close(before.standard_error.powi(2) * 5.0, 0.473, 1e-12);
        close(after.standard_error.powi(2) * 5.0, 0.113, 1e-12);
        let parts = [before, after].map(|group| VariancePart {
            variance: group.standard_error.powi(2),
            degrees_of_freedom: group.degrees_of_freedom,
        });
        let error = (parts[0].variance + parts[1].variance).sqrt();
        close((before.mean - after.mean) / error, 6.718372, 1e-6);
        close(effective_degrees_of_freedom(&parts), 5.808015, 1e-6);
    }

    #[test]
    fn a_stated_variance_brings_no_sampling_doubt() {
        let stated = VariancePart {
            variance: 3.0,
            degrees_of_freedom: f64::INFINITY,
        };
        assert_eq!(effective_degrees_of_freedom(&[stated]), f64::INFINITY);
        assert_eq!(effective_degrees_of_freedom(&[]), f64::INFINITY);
        let sampled = VariancePart {
            variance: 1.0,
            degrees_of_freedom: 4.0,
        };
        close(
            effective_degrees_of_freedom(&[stated, sampled]),
            64.0,
            1e-12,
        );
    }

    #[test]
    fn covariance_of_means_holds_what_two_fuels_share() {
        let rows = [vec![1.0, 3.0], vec![2.0, 2.0], vec![3.0, 1.0]];
        let vector = mean_vector(&rows).unwrap();
        close(vector.covariance[0][0], 1.0 / 3.0, 1e-12);
        close(vector.covariance[0][1], -1.0 / 3.0, 1e-12);
        close(vector.covariance[1][0], -1.0 / 3.0, 1e-12);
    }

    /// Wilson 5/10 at 95 %: 0.2366 to 0.7634 (COMPUTED, reference sheet on sampling).
    #[test]
    fn wilson_five_of_ten() {
        let interval = wilson(5, 10, 0.95).unwrap();
        close(interval.lower, 0.2366, 5e-5);
        close(interval.upper, 0.7634, 5e-5);
    }

    /// Clopper-Pearson 0/10 at 95 %: upper bound 0.3085 (COMPUTED, reference sheet on sampling).
    #[test]
    fn clopper_pearson_none_of_ten() {
        let interval = clopper_pearson(0, 10, 0.95).unwrap();
        assert_eq!(interval.lower, 0.0);
        close(interval.upper, 0.3085, 5e-5);
        let mirror = clopper_pearson(10, 10, 0.95).unwrap();
        close(mirror.lower, 1.0 - 0.3085, 5e-5);
        assert_eq!(mirror.upper, 1.0);
    }

    /// Usage survey n = 100, p = 0.80: 90 % half-width 0.0658 (standard Wald formula).
    #[test]
    fn usage_survey_of_one_hundred() {
        let error = proportion_standard_error(80, 100).unwrap();
        close(
            quantile::two_sided(0.90, f64::INFINITY).unwrap() * error,
            0.0658,
            5e-5,
        );
    }

    #[test]
    fn a_survey_where_all_answer_alike_still_leaves_doubt() {
        let all = proportion_standard_error(30, 30).unwrap();
        assert!(all > 0.0 && all < proportion_standard_error(29, 30).unwrap());
        close(all, proportion_standard_error(0, 30).unwrap(), 1e-15);
    }

    #[test]
    fn impossible_samples_are_refused() {
        assert!(mean(&[1.0]).is_err());
        assert!(mean_vector(&[vec![1.0], vec![1.0, 2.0]]).is_err());
        assert!(proportion_standard_error(3, 2).is_err());
        assert!(proportion_standard_error(0, 0).is_err());
        assert!(clopper_pearson(1, 2, 1.5).is_err());
    }
}
