//! Whether two independent samples differ: Welch's t test.

use super::StatisticsError;
use super::estimate::{VariancePart, effective_degrees_of_freedom, mean};
use statrs::distribution::{ContinuousCDF, StudentsT};

/// Welch's test of two means with unequal variances.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Welch {
    pub t: f64,
    pub degrees_of_freedom: f64,
    /// Two-sided.
    pub probability: f64,
}

/// `t = (mean a - mean b) / sqrt(s_a^2/n_a + s_b^2/n_b)`, two units at least in each sample.
pub fn welch(a: &[f64], b: &[f64]) -> Result<Welch, StatisticsError> {
    let (a, b) = (mean(a)?, mean(b)?);
    let parts = [a, b].map(|sample| VariancePart {
        variance: sample.standard_error.powi(2),
        degrees_of_freedom: sample.degrees_of_freedom,
    });
    let error = (parts[0].variance + parts[1].variance).sqrt();
    if error.is_nan() || error <= 0.0 {
        return Err(StatisticsError::Spread("neither sample has any spread"));
    }
    let t = (a.mean - b.mean) / error;
    let degrees_of_freedom = effective_degrees_of_freedom(&parts);
    let distribution = StudentsT::new(0.0, 1.0, degrees_of_freedom)
        .map_err(|_| StatisticsError::DegreesOfFreedom(degrees_of_freedom))?;
    Ok(Welch {
        t,
        degrees_of_freedom,
        probability: 2.0 * distribution.sf(t.abs()),
    })
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

    /// Two groups of five kitchens, constructed: t and degrees of freedom by the textbook Welch
    /// formulas, the probability by integrating the density of
    /// Student's t numerically (COMPUTED outside this program).
    #[test]
    fn two_groups_of_five_kitchens() {
        let found = welch(&[6.1, 5.4, 7.2, 6.6, 5.9], &[3.9, 4.4, 3.5, 4.1, 3.8]).unwrap();
        close(found.t, 6.718372, 1e-6);
        close(found.degrees_of_freedom, 5.808015, 1e-6);
        close(found.probability, 0.000605312070, 1e-9);
    }

    #[test]
    fn samples_without_spread_are_refused() {
        assert!(welch(&[1.0, 1.0], &[2.0, 2.0]).is_err());
        assert!(welch(&[1.0], &[2.0, 3.0]).is_err());
    }
}
