//! One-stage cluster samples: clusters are drawn, and every unit of a drawn cluster is measured.

use super::{Estimated, parts};
use crate::statistics::StatisticsError;
use crate::statistics::estimate::VectorMean;

/// The values of every unit of one drawn cluster; a cluster may turn out to have no units.
#[derive(Debug, Clone, PartialEq)]
pub struct Cluster {
    pub rows: Vec<Vec<f64>>,
}

/// What is known of the population that clusters were drawn from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct ClusterFrame {
    /// All clusters, where their finite number is to be counted.
    pub clusters: Option<u64>,
    /// All units. Only the design effect asks for it; where it is not known, it is taken as
    /// the clusters times the mean units of those drawn.
    pub units: Option<u64>,
}

impl ClusterFrame {
    /// Units of the population, as well as they are known.
    pub(super) fn units_near(&self, units_per_cluster: f64) -> Option<f64> {
        match (self.units, self.clusters) {
            (Some(units), _) => Some(units as f64),
            (None, Some(clusters)) => Some(clusters as f64 * units_per_cluster),
            (None, None) => None,
        }
    }
}

/// What one drawn cluster's units add up to.
#[derive(Debug, Clone, PartialEq)]
pub struct ClusterTotal {
    /// Units measured in the cluster.
    pub size: f64,
    pub totals: Vec<f64>,
}

/// Mean vector per unit, `sum t_i / sum m_i`, with `(1 - c / C) c / (c - 1) sum d_i d_i' /
/// (sum m_i)^2` as covariance, `d_i = t_i - m_i mean`.
///
/// Two clusters are needed; the degrees of freedom are the clusters less one.
pub fn cluster_mean_vector(
    clusters: &[Cluster],
    frame: ClusterFrame,
) -> Result<VectorMean, StatisticsError> {
    let width = parts::width(clusters.iter().flat_map(|cluster| &cluster.rows))?;
    let totals: Vec<ClusterTotal> = clusters
        .iter()
        .map(|cluster| ClusterTotal {
            size: cluster.rows.len() as f64,
            totals: parts::column_sums(&cluster.rows, width),
        })
        .collect();
    let mut means = cluster_totals_mean_vector(&totals, frame)?;
    means.units = clusters.iter().map(|cluster| cluster.rows.len()).sum();
    Ok(means)
}

/// As [`cluster_mean_vector`], from what the units of each cluster add up to; `units` of the
/// result are the clusters.
pub fn cluster_totals_mean_vector(
    clusters: &[ClusterTotal],
    frame: ClusterFrame,
) -> Result<VectorMean, StatisticsError> {
    let drawn = parts::at_least_two(clusters.len())?;
    let width = parts::width(clusters.iter().map(|cluster| &cluster.totals))?;
    let left = parts::left_undrawn(clusters.len(), frame.clusters)?;
    let size: f64 = clusters.iter().map(|cluster| cluster.size).sum();
    if !(size > 0.0 && size.is_finite()) {
        return Err(StatisticsError::Spread("the clusters have no units"));
    }
    let mut means = vec![0.0; width];
    for cluster in clusters {
        means
            .iter_mut()
            .zip(&cluster.totals)
            .for_each(|(sum, total)| *sum += total);
    }
    means.iter_mut().for_each(|sum| *sum /= size);
    let factor = left * drawn / (drawn - 1.0) / (size * size);
    let mut covariance = vec![vec![0.0; width]; width];
    for cluster in clusters {
        let apart: Vec<f64> = cluster
            .totals
            .iter()
            .zip(&means)
            .map(|(total, mean)| total - cluster.size * mean)
            .collect();
        parts::add_products(&mut covariance, &apart, factor);
    }
    Ok(VectorMean {
        means,
        covariance,
        units: clusters.len(),
        degrees_of_freedom: drawn - 1.0,
    })
}

/// Mean per unit of one column.
pub fn mean(
    clusters: &[Cluster],
    frame: ClusterFrame,
    column: usize,
) -> Result<Estimated, StatisticsError> {
    let means = cluster_mean_vector(clusters, frame)?;
    let weighted = clusters
        .iter()
        .flat_map(|cluster| &cluster.rows)
        .map(|row| (1.0, parts::cell(row, column)));
    let population = frame.units_near(means.units as f64 / clusters.len() as f64);
    parts::estimated(&means, column, weighted, population)
}

/// Total of one column over all `population` clusters, drawn with equal chances: `C` times the mean
/// of the cluster totals, which units of very different size make doubtful.
pub fn total(
    clusters: &[Cluster],
    population: u64,
    column: usize,
) -> Result<Estimated, StatisticsError> {
    let width = parts::width(clusters.iter().flat_map(|cluster| &cluster.rows))?;
    let totals: Vec<Vec<f64>> = clusters
        .iter()
        .map(|cluster| parts::column_sums(&cluster.rows, width))
        .collect();
    let means = super::simple_mean_vector(&totals, Some(population))?;
    Ok(Estimated::of(&means, column)?.times(population as f64))
}
