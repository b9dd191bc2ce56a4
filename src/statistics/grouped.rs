//! Means of samples that were drawn by groups: strata that were each sampled, clusters that were.
//!
//! Populations are taken as large: no finite population correction.

use super::StatisticsError;
use super::estimate::{VectorMean, mean_vector};

/// The sampled units of one stratum, one row each, and the stratum's share of the population.
#[derive(Debug, Clone, PartialEq)]
pub struct Stratum {
    /// In any unit; the shares are the weights over their sum.
    pub weight: f64,
    pub rows: Vec<Vec<f64>>,
}

/// `sum W_h ybar_h`, with covariance `sum W_h^2 S_h / n_h` and `n - H` degrees of freedom.
///
/// Every stratum needs two units; the weights must not all be zero.
pub fn stratified_mean_vector(strata: &[Stratum]) -> Result<VectorMean, StatisticsError> {
    let total: f64 = strata.iter().map(|stratum| stratum.weight).sum();
    if !(total > 0.0 && total.is_finite()) {
        return Err(StatisticsError::Spread("the strata have no weight"));
    }
    let width = strata
        .first()
        .and_then(|stratum| stratum.rows.first())
        .map_or(0, Vec::len);
    let mut all = VectorMean {
        means: vec![0.0; width],
        covariance: vec![vec![0.0; width]; width],
        units: 0,
        degrees_of_freedom: 0.0,
    };
    for stratum in strata {
        let own = mean_vector(&stratum.rows)?;
        if own.means.len() != width {
            return Err(StatisticsError::Ragged {
                expected: width,
                found: own.means.len(),
            });
        }
        let share = stratum.weight / total;
        add(&mut all.means, &own.means, share);
        for (line, of_stratum) in all.covariance.iter_mut().zip(&own.covariance) {
            add(line, of_stratum, share * share);
        }
        all.units += own.units;
        all.degrees_of_freedom += own.degrees_of_freedom;
    }
    Ok(all)
}

fn add(to: &mut [f64], from: &[f64], times: f64) {
    to.iter_mut()
        .zip(from)
        .for_each(|(cell, value)| *cell += times * value);
}

/// What one cluster's units add up to.
#[derive(Debug, Clone, PartialEq)]
pub struct ClusterTotal {
    /// Units measured in the cluster.
    pub size: f64,
    pub totals: Vec<f64>,
}

/// Ratio mean over clusters: `R = sum t_i / sum m_i`, with covariance
/// `c / (c - 1) * sum (t_i - R m_i)(t_i - R m_i)' / (sum m_i)^2` and `c - 1` degrees of freedom.
pub fn cluster_mean_vector(clusters: &[ClusterTotal]) -> Result<VectorMean, StatisticsError> {
    let count = clusters.len();
    if count < 2 {
        return Err(StatisticsError::TooFewUnits {
            needed: 2,
            found: count,
        });
    }
    let width = clusters.first().map_or(0, |cluster| cluster.totals.len());
    if let Some(other) = clusters.iter().find(|one| one.totals.len() != width) {
        return Err(StatisticsError::Ragged {
            expected: width,
            found: other.totals.len(),
        });
    }
    let size: f64 = clusters.iter().map(|cluster| cluster.size).sum();
    if !(size > 0.0 && size.is_finite()) {
        return Err(StatisticsError::Spread("the clusters have no units"));
    }
    let mut means = vec![0.0; width];
    for cluster in clusters {
        add(&mut means, &cluster.totals, 1.0 / size);
    }
    let c = count as f64;
    let mut covariance = vec![vec![0.0; width]; width];
    for cluster in clusters {
        let apart: Vec<f64> = cluster
            .totals
            .iter()
            .zip(&means)
            .map(|(total, mean)| total - mean * cluster.size)
            .collect();
        for (line, own) in covariance.iter_mut().zip(&apart) {
            add(line, &apart, own * c / (c - 1.0) / (size * size));
        }
    }
    Ok(VectorMean {
        means,
        covariance,
        units: count,
        degrees_of_freedom: c - 1.0,
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

    /// Rows of this mean and this sample variance: half of them above, half below.
    fn rows(count: usize, mean: f64, variance: f64) -> Vec<Vec<f64>> {
        let n = count as f64;
        let apart = (variance * (n - 1.0) / n).sqrt();
        (0..count)
            .map(|at| {
                vec![if at % 2 == 0 {
                    mean + apart
                } else {
                    mean - apart
                }]
            })
            .collect()
    }

    /// R `survey`, data set apistrat (SEEN): mean 662.287364. Its saved standard error 9.4089 has
    /// the finite population correction; from the same stratum means and variances without it,
    /// `sqrt(sum W_h^2 s_h^2 / n_h)` is 9.536132 (COMPUTED in Python); 200 - 3 = 197 degrees.
    #[test]
    fn school_strata_of_california() {
        let strata = [
            (4421.0, rows(100, 674.43, 15687.4193)),
            (755.0, rows(50, 625.82, 11947.0894)),
            (1018.0, rows(50, 636.60, 13824.8571)),
        ]
        .map(|(weight, rows)| Stratum { weight, rows });
        let found = stratified_mean_vector(&strata).unwrap();
        close(found.means[0], 662.287364, 1e-6);
        close(found.covariance[0][0].sqrt(), 9.536132, 1e-6);
        assert_eq!((found.units, found.degrees_of_freedom), (200, 197.0));
    }

    /// R `survey`, data set apiclus1 (SEEN): mean 644.169399; its 23.5422 has the finite
    /// population correction, without it the same formula gives 23.77901 (COMPUTED).
    #[test]
    fn school_districts_of_california() {
        let clusters = [
            (13.0, 9372.0),
            (34.0, 22508.0),
            (4.0, 2077.0),
            (13.0, 8593.0),
            (16.0, 11369.0),
            (2.0, 1116.0),
            (1.0, 551.0),
            (4.0, 1888.0),
            (12.0, 9111.0),
            (21.0, 13761.0),
            (9.0, 6386.0),
            (11.0, 7359.0),
            (37.0, 20394.0),
            (2.0, 905.0),
            (4.0, 2493.0),
        ]
        .map(|(size, total)| ClusterTotal {
            size,
            totals: vec![total],
        });
        let found = cluster_mean_vector(&clusters).unwrap();
        close(found.means[0], 644.169399, 1e-6);
        close(found.covariance[0][0].sqrt(), 23.77901, 5e-6);
        assert_eq!(found.degrees_of_freedom, 14.0);
    }

    /// Lohr, Sampling: Design and Analysis, Ex. 5.2 (SEEN totals and, without the finite
    /// population correction, the standard error 67.167 of the total over 400 students).
    #[test]
    fn dormitory_suites() {
        let clusters = [12.16, 11.36, 8.96, 12.96, 11.08].map(|total| ClusterTotal {
            size: 4.0,
            totals: vec![total],
        });
        let found = cluster_mean_vector(&clusters).unwrap();
        close(400.0 * found.means[0], 1130.4, 1e-9);
        close(400.0 * found.covariance[0][0].sqrt(), 67.167, 5e-4);
    }

    #[test]
    fn one_stratum_is_a_simple_sample() {
        let rows = vec![vec![1.0, 3.0], vec![2.0, 2.0], vec![4.0, 1.0]];
        let stratum = Stratum {
            weight: 7.0,
            rows: rows.clone(),
        };
        assert_eq!(
            stratified_mean_vector(&[stratum]).unwrap(),
            mean_vector(&rows).unwrap()
        );
    }

    #[test]
    fn groups_that_leave_no_spread_are_refused() {
        let lone = Stratum {
            weight: 1.0,
            rows: vec![vec![1.0]],
        };
        assert!(stratified_mean_vector(&[lone]).is_err());
        assert!(stratified_mean_vector(&[]).is_err());
        let cluster = ClusterTotal {
            size: 3.0,
            totals: vec![1.0],
        };
        assert!(cluster_mean_vector(&[cluster]).is_err());
    }
}
