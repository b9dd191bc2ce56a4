//! Whether two groups of measurements differ: the t tests of stove protocols.

use super::StatisticsError;
use super::estimate::{VariancePart, effective_degrees_of_freedom, mean};
use statrs::distribution::{ContinuousCDF, StudentsT};

/// Outcome of a two-sided t test of "the means are the same".
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Comparison {
    /// First mean less second mean, in the unit of the values.
    pub difference: f64,
    /// Standard error of the difference.
    pub standard_error: f64,
    pub t: f64,
    pub degrees_of_freedom: f64,
    /// Probability of a `t` at least this far from zero, were the means the same.
    pub p_two_sided: f64,
}

/// Welch's t test of two independent groups, whose sizes and variances may differ.
///
/// `t = (x1 - x2) / sqrt(s1^2 / n1 + s2^2 / n2)`, degrees of freedom by Welch and Satterthwaite.
///
/// # Errors
/// Fewer than two values in a group; no spread in either group.
pub fn welch(first: &[f64], second: &[f64]) -> Result<Comparison, StatisticsError> {
    let (first, second) = (mean(first)?, mean(second)?);
    let parts = [first, second].map(|group| VariancePart {
        variance: group.standard_error.powi(2),
        degrees_of_freedom: group.degrees_of_freedom,
    });
    compared(
        first.mean - second.mean,
        (parts[0].variance + parts[1].variance).sqrt(),
        effective_degrees_of_freedom(&parts),
    )
}

/// Paired t test: the same unit measured twice, each pair as (first, second).
///
/// `t = mean(d) / (s_d / sqrt(n))` with `d = first - second` and `n - 1` degrees of freedom.
///
/// # Errors
/// Fewer than two pairs; every pair apart by the same amount.
pub fn paired(pairs: &[(f64, f64)]) -> Result<Comparison, StatisticsError> {
    let apart: Vec<f64> = pairs.iter().map(|(first, second)| first - second).collect();
    let apart = mean(&apart)?;
    compared(apart.mean, apart.standard_error, apart.degrees_of_freedom)
}

fn compared(
    difference: f64,
    standard_error: f64,
    degrees_of_freedom: f64,
) -> Result<Comparison, StatisticsError> {
    let t = difference / standard_error;
    if !t.is_finite() {
        return Err(StatisticsError::NoSpread);
    }
    let distribution = StudentsT::new(0.0, 1.0, degrees_of_freedom)
        .map_err(|_| StatisticsError::DegreesOfFreedom(degrees_of_freedom))?;
    Ok(Comparison {
        difference,
        standard_error,
        t,
        degrees_of_freedom,
        p_two_sided: 2.0 * distribution.cdf(-t.abs()),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    const BEFORE: [f64; 5] = [6.1, 5.4, 7.2, 6.6, 5.9];
    const AFTER: [f64; 5] = [3.9, 4.4, 3.5, 4.1, 3.8];

    fn close(found: f64, expected: f64, relative: f64) {
        assert!(
            (found - expected).abs() <= relative * expected.abs(),
            "{found} is not {expected}"
        );
    }

    fn pairs(first: &[f64], second: &[f64]) -> Vec<(f64, f64)> {
        first.iter().copied().zip(second.iter().copied()).collect()
    }

    /// Kitchens before and after, constructed: t 6.718372, df 5.808015 by the Welch formulas;
    /// standard error and p from R's `t.test` (COMPUTED).
    #[test]
    fn welch_vector_of_two_kitchen_groups() {
        let found = welch(&BEFORE, &AFTER).unwrap();
        close(found.difference, 2.3, 1e-12);
        close(found.t, 6.718372, 1e-7);
        close(found.degrees_of_freedom, 5.808015, 1e-7);
        close(found.standard_error, 0.342_344_855_372_473_8, 1e-12);
        close(found.p_two_sided, 0.000_605_312_070_271_429, 1e-9);
    }

    /// The same kitchens as pairs, against R's `t.test(paired = TRUE)` (COMPUTED).
    #[test]
    fn the_same_kitchens_as_pairs() {
        let found = paired(&pairs(&BEFORE, &AFTER)).unwrap();
        close(found.t, 5.318_718_835_723_12, 1e-12);
        close(found.degrees_of_freedom, 4.0, 0.0);
        close(found.p_two_sided, 0.006_010_751_959_331_42, 1e-9);
    }

    /// Student's sleep data (1908) as shipped with R: Welch t -1.8608, df 17.776, p 0.07939;
    /// paired t -4.0621, df 9, p 0.002833 (COMPUTED with R's `t.test`).
    #[test]
    fn students_sleep_data() {
        let first = [0.7, -1.6, -0.2, -1.2, -0.1, 3.4, 3.7, 0.8, 0.0, 2.0];
        let second = [1.9, 0.8, 1.1, 0.1, -0.1, 4.4, 5.5, 1.6, 4.6, 3.4];
        let apart = welch(&first, &second).unwrap();
        close(apart.t, -1.8608, 3e-5);
        close(apart.degrees_of_freedom, 17.776, 3e-5);
        close(apart.p_two_sided, 0.07939, 1e-4);
        let together = paired(&pairs(&first, &second)).unwrap();
        close(together.t, -4.0621, 3e-5);
        close(together.degrees_of_freedom, 9.0, 0.0);
        close(together.p_two_sided, 0.002833, 2e-4);
    }

    #[test]
    fn the_order_of_the_groups_turns_the_sign_and_nothing_else() {
        let (one, other) = (
            welch(&BEFORE, &AFTER).unwrap(),
            welch(&AFTER, &BEFORE).unwrap(),
        );
        assert_eq!(one.t, -other.t);
        assert_eq!(one.p_two_sided, other.p_two_sided);
    }

    #[test]
    fn groups_without_spread_or_without_a_second_value_are_refused() {
        assert_eq!(
            welch(&[1.0, 1.0], &[2.0, 2.0]),
            Err(StatisticsError::NoSpread)
        );
        assert_eq!(
            paired(&[(2.0, 1.0), (3.0, 2.0)]),
            Err(StatisticsError::NoSpread)
        );
        assert!(welch(&[1.0], &[1.0, 2.0]).is_err());
        assert!(paired(&[(1.0, 2.0)]).is_err());
        assert!(welch(&[1.0, f64::NAN], &[1.0, 2.0]).is_err());
    }
}
