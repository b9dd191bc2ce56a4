//! Samples weighed afterwards, so that they add up to what is known of the whole population:
//! calibration on known totals, and its plainest case, strata made after the draw.

use super::{Stratum, parts};
use crate::statistics::StatisticsError;
use crate::statistics::estimate::VectorMean;

/// One unit drawn.
#[derive(Debug, Clone, PartialEq)]
pub struct CalibrationUnit {
    /// How many units of the population it stands for by its way of drawing.
    pub weight: f64,
    /// What is known of every unit of the population. A first cell of one in every unit, or one
    /// cell for each of several kinds, lets the weights add up to the number of units.
    pub known: Vec<f64>,
    pub values: Vec<f64>,
}

/// Mean vector of a sample drawn by clusters (of one unit each, where units were drawn), with
/// weights `w g` that add what is known up to `totals`.
///
/// `g = 1 + (T - sum w x)' (sum w x x')^-1 x` (Deville and Särndal 1992, the linear distance; the
/// way of `calibrate` and `postStratify` in R's package `survey`). The covariance is `(1 - c / C)
/// c / (c - 1) sum z z'`, where `z` adds up `w g e` over a cluster and `e` is what the regression
/// of the values on what is known leaves.
///
/// `population` is the number of all clusters, where their finite number is to be counted. Two
/// clusters are needed; the degrees of freedom are the clusters less one.
pub fn calibrated_mean_vector(
    clusters: &[Vec<CalibrationUnit>],
    totals: &[f64],
    population: Option<u64>,
) -> Result<VectorMean, StatisticsError> {
    let drawn = parts::at_least_two(clusters.len())?;
    let left = parts::left_undrawn(clusters.len(), population)?;
    let units: Vec<&CalibrationUnit> = clusters.iter().flatten().collect();
    let width = parts::width(units.iter().map(|unit| &unit.values))?;
    let known = parts::width(units.iter().map(|unit| &unit.known))?;
    if known != totals.len() {
        return Err(StatisticsError::Ragged {
            expected: totals.len(),
            found: known,
        });
    }
    let fit = Fit::of(&units, totals, width)?;
    let sum: f64 = units.iter().map(|unit| fit.weight(unit)).sum();
    if !(sum.is_finite() && sum > 0.0) {
        return Err(StatisticsError::Weight(sum));
    }
    let mut means = vec![0.0; width];
    for unit in &units {
        let weight = fit.weight(unit) / sum;
        means
            .iter_mut()
            .zip(&unit.values)
            .for_each(|(mean, value)| *mean += weight * value);
    }
    let mut of_clusters = Vec::with_capacity(clusters.len());
    for cluster in clusters {
        let mut total = vec![0.0; width];
        for unit in cluster {
            let weight = fit.weight(unit) / sum;
            total
                .iter_mut()
                .zip(fit.residuals(unit))
                .for_each(|(sum, residual)| *sum += weight * residual);
        }
        of_clusters.push(total);
    }
    let middle = parts::column_sums(&of_clusters, width);
    let mut covariance = vec![vec![0.0; width]; width];
    for total in of_clusters {
        let apart: Vec<f64> = total
            .iter()
            .zip(&middle)
            .map(|(total, sum)| total - sum / drawn)
            .collect();
        parts::add_products(&mut covariance, &apart, left * drawn / (drawn - 1.0));
    }
    Ok(VectorMean {
        means,
        covariance,
        units: units.len(),
        degrees_of_freedom: drawn - 1.0,
    })
}

/// Mean vector of a simple random sample whose units were sorted into strata after the draw,
/// each weighed as [`Stratum::weight`] says. How many fell into a stratum was left to chance,
/// so that the degrees of freedom are the units less one.
///
/// `population` is the number of units drawn from, where it is to be counted.
pub fn post_stratified_mean_vector(
    strata: &[Stratum],
    population: Option<u64>,
) -> Result<VectorMean, StatisticsError> {
    let totals: Vec<f64> = strata.iter().map(|stratum| stratum.weight).collect();
    let unit_of = |at: usize, row: &Vec<f64>| {
        vec![CalibrationUnit {
            weight: 1.0,
            known: (0..strata.len())
                .map(|other| f64::from(u8::from(other == at)))
                .collect(),
            values: row.clone(),
        }]
    };
    let units: Vec<Vec<CalibrationUnit>> = strata
        .iter()
        .enumerate()
        .flat_map(|(at, stratum)| stratum.rows.iter().map(move |row| unit_of(at, row)))
        .collect();
    calibrated_mean_vector(&units, &totals, population)
}

/// The weighted regression of the values on what is known, and what it does to the weights.
struct Fit {
    /// `(sum w x x')^-1 (T - sum w x)`.
    lambda: Vec<f64>,
    /// One line for each known cell, one cell for each value.
    coefficients: Vec<Vec<f64>>,
}

impl Fit {
    fn of(
        units: &[&CalibrationUnit],
        totals: &[f64],
        width: usize,
    ) -> Result<Self, StatisticsError> {
        // Each line: sum w x x', then sum w x y, then T - sum w x.
        let mut system: Vec<Vec<f64>> = totals
            .iter()
            .map(|total| {
                let mut line = vec![0.0; totals.len() + width];
                line.push(*total);
                line
            })
            .collect();
        for unit in units {
            let cells = unit.known.iter().chain(&unit.values);
            for (line, x) in system.iter_mut().zip(&unit.known) {
                line.iter_mut()
                    .zip(cells.clone())
                    .for_each(|(cell, value)| *cell += unit.weight * x * value);
                if let Some(lacking) = line.last_mut() {
                    *lacking -= unit.weight * x;
                }
            }
        }
        let mut solved = solved(system).ok_or(StatisticsError::NotReached)?;
        let lambda = solved.iter_mut().filter_map(Vec::pop).collect();
        Ok(Fit {
            lambda,
            coefficients: solved,
        })
    }

    fn weight(&self, unit: &CalibrationUnit) -> f64 {
        let moved: f64 = self
            .lambda
            .iter()
            .zip(&unit.known)
            .map(|(l, x)| l * x)
            .sum();
        unit.weight * (1.0 + moved)
    }

    fn residuals<'u>(&'u self, unit: &'u CalibrationUnit) -> impl Iterator<Item = f64> + 'u {
        unit.values.iter().enumerate().map(|(column, value)| {
            let fitted: f64 = self
                .coefficients
                .iter()
                .zip(&unit.known)
                .map(|(line, x)| x * parts::cell(line, column))
                .sum();
            value - fitted
        })
    }
}

/// Right sides of a square system after Gauss's elimination with the largest pivot of each
/// column; none where its lines are not independent.
fn solved(mut system: Vec<Vec<f64>>) -> Option<Vec<Vec<f64>>> {
    const NOTHING: f64 = 1e-12;
    let size = system.len();
    let scale = |line: &Vec<f64>| {
        line.iter()
            .take(size)
            .fold(0.0f64, |most, x| most.max(x.abs()))
    };
    let largest = system.iter().map(scale).fold(0.0, f64::max);
    for column in 0..size {
        let height = |row: &usize| system.get(*row)?.get(column).map(|cell| cell.abs());
        let pivot = (column..size).max_by(|a, b| {
            let (a, b) = (height(a).unwrap_or(0.0), height(b).unwrap_or(0.0));
            a.total_cmp(&b)
        })?;
        system.swap(column, pivot);
        let mut line = system.get(column)?.clone();
        let head = *line.get(column)?;
        // Cells of one column alone may be large or small; each pivot is held against the whole.
        if head.abs() <= NOTHING * largest || head.is_nan() {
            return None;
        }
        line.iter_mut().for_each(|cell| *cell /= head);
        for (row, other) in system.iter_mut().enumerate() {
            if row == column {
                other.clone_from(&line);
                continue;
            }
            let times = *other.get(column)?;
            other
                .iter_mut()
                .zip(&line)
                .for_each(|(cell, own)| *cell -= times * own);
        }
    }
    system.iter_mut().for_each(|line| drop(line.drain(..size)));
    Some(system)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn stratum(weight: f64, rows: &[f64]) -> Stratum {
        Stratum {
            weight,
            population: None,
            rows: rows.iter().map(|value| vec![*value]).collect(),
        }
    }

    /// By hand: means 5 and 3, weights 0.75 and 0.25: 4.5. Residuals of 1 each way; z = 0.75 / 2 * 1
    /// twice and 0.25 / 2 * 1 twice: 4 / 3 * (2 * 0.375^2 + 2 * 0.125^2) = 0.41667.
    #[test]
    fn two_strata_by_hand() {
        let strata = [stratum(90.0, &[4.0, 6.0]), stratum(30.0, &[2.0, 4.0])];
        let found = post_stratified_mean_vector(&strata, None).unwrap();
        assert!((found.means[0] - 4.5).abs() < 1e-12);
        assert!((found.covariance[0][0] - 4.0 / 3.0 * 0.3125).abs() < 1e-12);
        assert_eq!(found.degrees_of_freedom, 3.0);
        let finite = post_stratified_mean_vector(&strata, Some(16)).unwrap();
        assert!((finite.covariance[0][0] - 0.3125).abs() < 1e-12);
    }

    #[test]
    fn what_is_known_twice_or_of_nobody_cannot_be_reached() {
        let unit = |known: [f64; 2], value: f64| {
            vec![CalibrationUnit {
                weight: 1.0,
                known: known.to_vec(),
                values: vec![value],
            }]
        };
        let twice = [unit([1.0, 2.0], 3.0), unit([1.0, 2.0], 4.0)];
        let refused = calibrated_mean_vector(&twice, &[2.0, 5.0], None);
        assert_eq!(refused, Err(StatisticsError::NotReached));
        let nobody = [unit([1.0, 0.0], 3.0), unit([1.0, 0.0], 4.0)];
        let refused = calibrated_mean_vector(&nobody, &[2.0, 5.0], None);
        assert_eq!(refused, Err(StatisticsError::NotReached));
        assert!(calibrated_mean_vector(&nobody, &[2.0], None).is_err());
    }

    proptest! {
        /// A sample that already adds up to what is known is left as it is, and never less sure.
        #[test]
        fn weighing_a_sample_as_it_fell_changes_no_mean(
            rows in prop::collection::vec((0.0f64..10.0, 0.0f64..10.0), 2..9),
        ) {
            let of = |part: fn(&(f64, f64)) -> f64| rows.iter().map(part).collect::<Vec<_>>();
            let (low, high) = (of(|pair| pair.0), of(|pair| 20.0 + pair.1));
            let n = rows.len() as f64;
            let strata = [stratum(n, &low), stratum(n, &high)];
            let found = post_stratified_mean_vector(&strata, None).unwrap();
            let all: Vec<f64> = low.iter().chain(&high).copied().collect();
            let plain = super::super::simple::mean(&all, None).unwrap();
            prop_assert!((found.means[0] - plain.value).abs() < 1e-9);
            prop_assert!(found.covariance[0][0] <= plain.standard_error.powi(2) + 1e-12);
        }
    }
}
