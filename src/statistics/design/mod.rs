//! Estimates that know how their units were drawn: simple random, stratified, by
//! clusters in one or two stages, ratios under each of them, and samples weighed afterwards.
//!
//! A row holds the values measured on one unit, so that several means come with what they
//! share. A proportion is the mean of ones and zeroes: [`yes_no`] makes the rows.

pub mod calibrated;
pub mod cluster;
mod parts;
pub mod ratio;
pub mod simple;
pub mod stratified;
pub mod two_stage;

pub use calibrated::post_stratified_mean_vector;
pub use cluster::{
    Cluster, ClusterFrame, ClusterTotal, cluster_mean_vector, cluster_totals_mean_vector,
};
pub use ratio::ratio_vector;
pub use simple::simple_mean_vector;
pub use stratified::{Stratum, stratified_mean_vector};
pub use two_stage::{SampledCluster, two_stage_mean_vector};

use super::estimate::{Interval, VectorMean};
use super::{StatisticsError, quantile};

/// One estimate with the doubt that its way of drawing leaves.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Estimated {
    pub value: f64,
    pub standard_error: f64,
    /// Units drawn first (units, or clusters) less strata.
    pub degrees_of_freedom: f64,
    /// Variance here over that of a simple random sample of as many units, without replacement
    /// where the population is known; none where all units are alike or all were taken.
    pub design_effect: Option<f64>,
}

/// How wide an interval came out.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Precision {
    pub confidence: f64,
    /// Student's t with the design's degrees of freedom.
    pub quantile: f64,
    pub half_width: f64,
    /// Half width over the value; none for a value of zero.
    pub relative: Option<f64>,
    pub interval: Interval,
}

/// The half width that is wanted of an interval.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Margin {
    /// A share of the value, e.g. 0.1.
    Relative(f64),
    /// In the unit of the value.
    Absolute(f64),
}

impl Estimated {
    fn of(means: &VectorMean, column: usize) -> Result<Self, StatisticsError> {
        let asked = StatisticsError::Column {
            asked: column,
            found: means.means.len(),
        };
        let value = means.means.get(column).copied();
        let variance = means
            .covariance
            .get(column)
            .and_then(|line| line.get(column));
        let (Some(value), Some(variance)) = (value, variance) else {
            return Err(asked);
        };
        Ok(Estimated {
            value,
            standard_error: variance.max(0.0).sqrt(),
            degrees_of_freedom: means.degrees_of_freedom,
            design_effect: None,
        })
    }

    /// The estimate times a number that is known, e.g. a mean times the units of the population.
    pub fn times(self, known: f64) -> Self {
        Estimated {
            value: self.value * known,
            standard_error: self.standard_error * known.abs(),
            ..self
        }
    }

    /// The two-sided interval at `confidence` and its half width.
    pub fn precision(&self, confidence: f64) -> Result<Precision, StatisticsError> {
        let quantile = quantile::two_sided(confidence, self.degrees_of_freedom)?;
        let half_width = quantile * self.standard_error;
        Ok(Precision {
            confidence,
            quantile,
            half_width,
            relative: (self.value != 0.0).then(|| half_width / self.value.abs()),
            interval: Interval {
                lower: self.value - half_width,
                upper: self.value + half_width,
            },
        })
    }
}

impl Precision {
    /// Whether the half width is no more than is wanted.
    pub fn meets(&self, wanted: Margin) -> bool {
        match wanted {
            Margin::Relative(share) => self.relative.is_some_and(|relative| relative <= share),
            Margin::Absolute(most) => self.half_width <= most,
        }
    }
}

/// Rows of one column for a question that was answered yes or no.
pub fn yes_no(yes: u64, asked: u64) -> Result<Vec<Vec<f64>>, StatisticsError> {
    if yes > asked {
        return Err(StatisticsError::Proportion {
            successes: yes,
            trials: asked,
        });
    }
    Ok((0..asked)
        .map(|answer| vec![f64::from(u8::from(answer < yes))])
        .collect())
}

/// Interval for a proportion from a few units of any design.
///
/// Clopper and Pearson's, at the number of units that a simple random sample as exact as this
/// one would have, `p (1 - p) / SE^2`, times `(t at units - 1 / t at the design's degrees of
/// freedom)^2` (Korn and Graubard 1998; the way of `svyciprop(method = "beta")` in R's package
/// `survey`). Where all answered alike there is no such number, and all `units` are taken.
pub fn proportion_interval(
    share: &Estimated,
    units: usize,
    confidence: f64,
) -> Result<Interval, StatisticsError> {
    let p = share.value;
    if !(0.0..=1.0).contains(&p) {
        return Err(StatisticsError::Probability(p));
    }
    if units < 2 {
        return Err(StatisticsError::TooFewUnits {
            needed: 2,
            found: units,
        });
    }
    let plain = quantile::two_sided(confidence, units as f64 - 1.0)?;
    let ours = quantile::two_sided(confidence, share.degrees_of_freedom)?;
    let variance = share.standard_error * share.standard_error;
    let alike = p == 0.0 || p == 1.0;
    let equivalent = if alike {
        units as f64
    } else if variance > 0.0 {
        p * (1.0 - p) / variance
    } else {
        // The whole population was asked: nothing is left to doubt.
        return Ok(Interval { lower: p, upper: p });
    };
    let equivalent = equivalent * (plain / ours).powi(2);
    let (yes, no) = (equivalent * p, equivalent * (1.0 - p));
    let tail = (1.0 - confidence) / 2.0;
    Ok(Interval {
        lower: if p == 0.0 {
            0.0
        } else {
            quantile::beta(tail, yes, no + 1.0)?
        },
        upper: if p == 1.0 {
            1.0
        } else {
            quantile::beta(1.0 - tail, yes + 1.0, no)?
        },
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Clopper-Pearson 0/10 at 95 %: upper bound 0.3085 (COMPUTED, reference sheet on sampling).
    #[test]
    fn where_all_answer_alike_the_interval_is_that_of_all_units() {
        let none = simple::proportion(0, 10, None).unwrap();
        let interval = proportion_interval(&none, 10, 0.95).unwrap();
        assert_eq!(interval.lower, 0.0);
        assert!((interval.upper - 0.3085).abs() < 5e-5, "{interval:?}");
        let all = simple::proportion(10, 10, None).unwrap();
        let interval = proportion_interval(&all, 10, 0.95).unwrap();
        assert_eq!(interval.upper, 1.0);
        assert!((interval.lower - 0.6915).abs() < 5e-5, "{interval:?}");
    }

    #[test]
    fn where_everyone_was_asked_the_interval_is_the_share_itself() {
        let share = simple::proportion(3, 10, Some(10)).unwrap();
        let interval = proportion_interval(&share, 10, 0.90).unwrap();
        assert_eq!((interval.lower, interval.upper), (0.3, 0.3));
    }

    /// Hand-worked: mean 10, SE 1, t(0.95, 4) = 2.132 (printed t table, MEMORY).
    #[test]
    fn the_precision_reached_is_held_against_the_margin_wanted() {
        let estimated = Estimated {
            value: -10.0,
            standard_error: 1.0,
            degrees_of_freedom: 4.0,
            design_effect: None,
        };
        let precision = estimated.precision(0.90).unwrap();
        assert!((precision.half_width - 2.132).abs() < 5e-4);
        assert!((precision.relative.unwrap() - 0.2132).abs() < 5e-5);
        assert!(precision.meets(Margin::Relative(0.3)));
        assert!(!precision.meets(Margin::Relative(0.1)));
        assert!(precision.meets(Margin::Absolute(2.2)));
        assert!(!precision.meets(Margin::Absolute(2.1)));
        let zero = Estimated {
            value: 0.0,
            ..estimated
        };
        assert_eq!(zero.precision(0.90).unwrap().relative, None);
        assert!(!zero.precision(0.90).unwrap().meets(Margin::Relative(0.3)));
    }

    #[test]
    fn impossible_shares_are_refused() {
        assert!(yes_no(3, 2).is_err());
        let share = simple::proportion(3, 10, None).unwrap();
        assert!(proportion_interval(&share, 1, 0.90).is_err());
        assert!(proportion_interval(&share, 10, 1.0).is_err());
        assert!(proportion_interval(&share.times(5.0), 10, 0.90).is_err());
    }
}
