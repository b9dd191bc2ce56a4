//! Ratios of two means measured on the same units, e.g. fuel per adult, under every design.
//!
//! `B = mean y / mean x`; its variance is that of the mean of `(y - B x) / mean x`, by
//! linearisation. In strata this is the combined ratio.

use super::{
    Cluster, ClusterFrame, Estimated, SampledCluster, Stratum, cluster, cluster_mean_vector,
    simple, simple_mean_vector, stratified, stratified_mean_vector, two_stage,
    two_stage_mean_vector,
};
use crate::statistics::StatisticsError;
use crate::statistics::estimate::VectorMean;

/// The two columns of a ratio.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Columns {
    pub numerator: usize,
    pub denominator: usize,
}

/// `means` of any design, every column but `denominator` over it, in their order.
///
/// The covariance is `(c_ij - B_i c_jx - B_j c_ix + B_i B_j c_xx) / mean_x^2`.
pub fn ratio_vector(means: &VectorMean, denominator: usize) -> Result<VectorMean, StatisticsError> {
    let below = Estimated::of(means, denominator)?.value;
    if below == 0.0 {
        return Err(StatisticsError::NoDenominator);
    }
    let above: Vec<usize> = (0..means.means.len())
        .filter(|column| *column != denominator)
        .collect();
    let ratio = |column: usize| {
        means
            .means
            .get(column)
            .map_or(f64::NAN, |mean| mean / below)
    };
    let shared = |a: usize, b: usize| {
        let line = means.covariance.get(a);
        line.and_then(|line| line.get(b))
            .copied()
            .unwrap_or(f64::NAN)
    };
    let of_pair = |a: usize, b: usize| {
        (shared(a, b) - ratio(a) * shared(b, denominator) - ratio(b) * shared(a, denominator)
            + ratio(a) * ratio(b) * shared(denominator, denominator))
            / (below * below)
    };
    Ok(VectorMean {
        means: above.iter().map(|column| ratio(*column)).collect(),
        covariance: above
            .iter()
            .map(|a| above.iter().map(|b| of_pair(*a, *b)).collect())
            .collect(),
        units: means.units,
        degrees_of_freedom: means.degrees_of_freedom,
    })
}

/// The ratio, and each unit's `(y - B x) / mean x`.
struct Linear {
    ratio: f64,
    columns: Columns,
    below: f64,
}

impl Linear {
    fn of(means: &VectorMean, columns: Columns) -> Result<Self, StatisticsError> {
        let above = Estimated::of(means, columns.numerator)?.value;
        let below = Estimated::of(means, columns.denominator)?.value;
        if below == 0.0 {
            return Err(StatisticsError::NoDenominator);
        }
        Ok(Linear {
            ratio: above / below,
            columns,
            below,
        })
    }

    fn rows(&self, rows: &[Vec<f64>]) -> Vec<Vec<f64>> {
        let cell = super::parts::cell;
        rows.iter()
            .map(|row| {
                let y = cell(row, self.columns.numerator);
                let x = cell(row, self.columns.denominator);
                vec![(y - self.ratio * x) / self.below]
            })
            .collect()
    }

    fn with_doubt_of(&self, residuals: Estimated) -> Estimated {
        Estimated {
            value: self.ratio,
            ..residuals
        }
    }
}

/// Ratio under simple random sampling.
pub fn of_simple(
    rows: &[Vec<f64>],
    population: Option<u64>,
    columns: Columns,
) -> Result<Estimated, StatisticsError> {
    let linear = Linear::of(&simple_mean_vector(rows, population)?, columns)?;
    let residuals: Vec<f64> = linear.rows(rows).into_iter().flatten().collect();
    Ok(linear.with_doubt_of(simple::mean(&residuals, population)?))
}

/// Combined ratio under stratified sampling.
pub fn of_stratified(strata: &[Stratum], columns: Columns) -> Result<Estimated, StatisticsError> {
    let linear = Linear::of(&stratified_mean_vector(strata)?, columns)?;
    let residuals: Vec<Stratum> = strata
        .iter()
        .map(|stratum| Stratum {
            rows: linear.rows(&stratum.rows),
            ..*stratum
        })
        .collect();
    Ok(linear.with_doubt_of(stratified::mean(&residuals, 0)?))
}

/// Ratio under one-stage cluster sampling.
pub fn of_clusters(
    clusters: &[Cluster],
    frame: ClusterFrame,
    columns: Columns,
) -> Result<Estimated, StatisticsError> {
    let linear = Linear::of(&cluster_mean_vector(clusters, frame)?, columns)?;
    let residuals: Vec<Cluster> = clusters
        .iter()
        .map(|cluster| Cluster {
            rows: linear.rows(&cluster.rows),
        })
        .collect();
    Ok(linear.with_doubt_of(cluster::mean(&residuals, frame, 0)?))
}

/// Ratio under two-stage sampling.
pub fn of_two_stage(
    clusters: &[SampledCluster],
    frame: ClusterFrame,
    columns: Columns,
) -> Result<Estimated, StatisticsError> {
    let linear = Linear::of(&two_stage_mean_vector(clusters, frame)?, columns)?;
    let residuals: Vec<SampledCluster> = clusters
        .iter()
        .map(|cluster| SampledCluster {
            units: cluster.units,
            rows: linear.rows(&cluster.rows),
        })
        .collect();
    Ok(linear.with_doubt_of(two_stage::mean(&residuals, frame, 0)?))
}
