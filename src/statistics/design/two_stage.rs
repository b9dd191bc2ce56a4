//! Two-stage samples: clusters are drawn, then units in each drawn cluster.

use super::{ClusterFrame, Estimated, parts};
use crate::statistics::StatisticsError;
use crate::statistics::estimate::{VectorMean, mean_vector};

/// One drawn cluster and the units drawn in it.
#[derive(Debug, Clone, PartialEq)]
pub struct SampledCluster {
    /// All units of the cluster.
    pub units: u64,
    /// The values of the units drawn.
    pub rows: Vec<Vec<f64>>,
}

/// A cluster's estimated sums, and the covariance that drawing inside it adds to them.
struct Inside {
    sums: Vec<f64>,
    covariance: Vec<Vec<f64>>,
}

/// `M_i mean_i`, and `M_i^2 (1 - m_i / M_i) S_i / m_i`.
///
/// A single unit shows no spread; it is enough only where it is the whole cluster, or where the
/// spread inside is not asked for.
fn inside(
    cluster: &SampledCluster,
    width: usize,
    spread_counts: bool,
) -> Result<Inside, StatisticsError> {
    let drawn = cluster.rows.len();
    let left = parts::left_undrawn(drawn, Some(cluster.units))?;
    if drawn == 0 && cluster.units > 0 {
        return Err(StatisticsError::TooFewUnits {
            needed: 1,
            found: 0,
        });
    }
    let all = cluster.units as f64;
    let expand = if drawn == 0 { 0.0 } else { all / drawn as f64 };
    let sums = parts::column_sums(&cluster.rows, width)
        .iter()
        .map(|sum| sum * expand)
        .collect();
    let mut covariance = vec![vec![0.0; width]; width];
    if spread_counts && drawn > 0 && left > 0.0 {
        let found = mean_vector(&cluster.rows)?;
        parts::add_matrix(&mut covariance, &found.covariance, all * all * left);
    }
    Ok(Inside { sums, covariance })
}

fn insides(
    clusters: &[SampledCluster],
    population: Option<u64>,
) -> Result<(Vec<Inside>, usize), StatisticsError> {
    let width = parts::width(clusters.iter().flat_map(|cluster| &cluster.rows))?;
    let insides = clusters
        .iter()
        .map(|cluster| inside(cluster, width, population.is_some()))
        .collect::<Result<_, _>>()?;
    Ok((insides, width))
}

/// Covariance of the summed cluster sums: `(1 - f) c / (c - 1) sum d_i d_i' + f sum V_i` with
/// `f = c / C` and `d_i` what [`Inside::sums`] lies apart from `expected`.
///
/// Where `C` is not known, `f` is zero: clusters drawn from so many that the spread between
/// them already holds the spread inside.
fn covariance(
    insides: &[Inside],
    expected: impl Fn(usize) -> Vec<f64>,
    population: Option<u64>,
    width: usize,
) -> Result<Vec<Vec<f64>>, StatisticsError> {
    let drawn = parts::at_least_two(insides.len())?;
    let left = parts::left_undrawn(insides.len(), population)?;
    let mut covariance = vec![vec![0.0; width]; width];
    for (place, cluster) in insides.iter().enumerate() {
        let apart: Vec<f64> = cluster
            .sums
            .iter()
            .zip(expected(place))
            .map(|(sum, expected)| sum - expected)
            .collect();
        parts::add_products(&mut covariance, &apart, left * drawn / (drawn - 1.0));
        parts::add_matrix(&mut covariance, &cluster.covariance, 1.0 - left);
    }
    Ok(covariance)
}

/// Mean vector per unit, `sum M_i mean_i / sum M_i`, with its covariance.
///
/// The degrees of freedom are the clusters less one.
pub fn two_stage_mean_vector(
    clusters: &[SampledCluster],
    frame: ClusterFrame,
) -> Result<VectorMean, StatisticsError> {
    let (insides, width) = insides(clusters, frame.clusters)?;
    let all: f64 = clusters.iter().map(|cluster| cluster.units as f64).sum();
    let sums: Vec<Vec<f64>> = insides.iter().map(|inside| inside.sums.clone()).collect();
    let means: Vec<f64> = parts::column_sums(&sums, width)
        .iter()
        .map(|sum| sum / all)
        .collect();
    let expected = |place: usize| {
        let size = clusters
            .get(place)
            .map_or(0.0, |cluster| cluster.units as f64);
        means.iter().map(|mean| size * mean).collect()
    };
    let mut covariance = covariance(&insides, expected, frame.clusters, width)?;
    for cell in covariance.iter_mut().flatten() {
        *cell /= all * all;
    }
    Ok(VectorMean {
        means,
        covariance,
        units: clusters.iter().map(|cluster| cluster.rows.len()).sum(),
        degrees_of_freedom: clusters.len() as f64 - 1.0,
    })
}

/// Mean per unit of one column.
pub fn mean(
    clusters: &[SampledCluster],
    frame: ClusterFrame,
    column: usize,
) -> Result<Estimated, StatisticsError> {
    let means = two_stage_mean_vector(clusters, frame)?;
    let weighted = clusters.iter().flat_map(|cluster| {
        let weight = cluster.units as f64 / cluster.rows.len() as f64;
        cluster
            .rows
            .iter()
            .map(move |row| (weight, parts::cell(row, column)))
    });
    let all: u64 = clusters.iter().map(|cluster| cluster.units).sum();
    let population = frame.units_near(all as f64 / clusters.len() as f64);
    parts::estimated(&means, column, weighted, population)
}

/// Total of one column over all `population` clusters, drawn with equal chances:
/// `C / c sum M_i mean_i` with variance `C^2 (1 - c / C) s_t^2 / c + C / c sum M_i^2
/// (1 - m_i / M_i) s_i^2 / m_i`.
pub fn total(
    clusters: &[SampledCluster],
    population: u64,
    column: usize,
) -> Result<Estimated, StatisticsError> {
    let (insides, width) = insides(clusters, Some(population))?;
    let drawn = clusters.len() as f64;
    let sums: Vec<Vec<f64>> = insides.iter().map(|inside| inside.sums.clone()).collect();
    let means: Vec<f64> = parts::column_sums(&sums, width)
        .iter()
        .map(|sum| sum / drawn)
        .collect();
    let mut covariance = covariance(&insides, |_| means.clone(), Some(population), width)?;
    for cell in covariance.iter_mut().flatten() {
        *cell /= drawn * drawn;
    }
    let found = VectorMean {
        means,
        covariance,
        units: clusters.iter().map(|cluster| cluster.rows.len()).sum(),
        degrees_of_freedom: drawn - 1.0,
    };
    Ok(Estimated::of(&found, column)?.times(population as f64))
}
