//! Stratified samples: a simple random sample in each stratum.

use super::{Estimated, parts};
use crate::statistics::StatisticsError;
use crate::statistics::estimate::{VectorMean, mean_vector};

/// One stratum and the units drawn in it.
#[derive(Debug, Clone, PartialEq)]
pub struct Stratum {
    /// What the stratum counts for, in any unit: its units, its stove-days. Only the share in
    /// the sum of all weights is used.
    pub weight: f64,
    /// Units of the stratum, where its finite size is to be counted.
    pub population: Option<u64>,
    /// The values of each unit drawn.
    pub rows: Vec<Vec<f64>>,
}

impl Stratum {
    /// A stratum that weighs as many units as it has.
    pub fn finite(population: u64, rows: Vec<Vec<f64>>) -> Self {
        Stratum {
            weight: population as f64,
            population: Some(population),
            rows,
        }
    }
}

/// The sum of all weights.
fn whole(strata: &[Stratum]) -> Result<f64, StatisticsError> {
    let usable = |weight: f64| weight.is_finite() && weight >= 0.0;
    let sum: f64 = strata.iter().map(|stratum| stratum.weight).sum();
    match strata.iter().find(|stratum| !usable(stratum.weight)) {
        Some(stratum) => Err(StatisticsError::Weight(stratum.weight)),
        None if sum > 0.0 => Ok(sum),
        None => Err(StatisticsError::Weight(sum)),
    }
}

/// Mean vector `sum W_h mean_h` and covariance `sum W_h^2 (1 - n_h / N_h) S_h / n_h`.
///
/// Every stratum needs two units; the degrees of freedom are units less strata.
pub fn stratified_mean_vector(strata: &[Stratum]) -> Result<VectorMean, StatisticsError> {
    let width = parts::width(strata.iter().flat_map(|stratum| &stratum.rows))?;
    let whole = whole(strata)?;
    let mut means = vec![0.0; width];
    let mut covariance = vec![vec![0.0; width]; width];
    let mut units = 0;
    for stratum in strata {
        let share = stratum.weight / whole;
        let inside = mean_vector(&stratum.rows)?;
        let left = parts::left_undrawn(inside.units, stratum.population)?;
        means
            .iter_mut()
            .zip(&inside.means)
            .for_each(|(sum, mean)| *sum += share * mean);
        parts::add_matrix(&mut covariance, &inside.covariance, share * share * left);
        units += inside.units;
    }
    Ok(VectorMean {
        means,
        covariance,
        units,
        degrees_of_freedom: (units - strata.len()) as f64,
    })
}

/// Units of all strata; none where one is not known.
fn population(strata: &[Stratum]) -> Option<u64> {
    strata.iter().map(|stratum| stratum.population).sum()
}

/// Mean of one column.
pub fn mean(strata: &[Stratum], column: usize) -> Result<Estimated, StatisticsError> {
    let means = stratified_mean_vector(strata)?;
    let weighted = strata.iter().flat_map(|stratum| {
        let weight = stratum.weight / stratum.rows.len() as f64;
        stratum
            .rows
            .iter()
            .map(move |row| (weight, parts::cell(row, column)))
    });
    let population = population(strata).map(|units| units as f64);
    parts::estimated(&means, column, weighted, population)
}

/// Total of one column, `sum N_h mean_h`: each stratum weighs its units, whatever its weight says.
pub fn total(strata: &[Stratum], column: usize) -> Result<Estimated, StatisticsError> {
    let finite: Vec<Stratum> = strata
        .iter()
        .map(|stratum| {
            let population = stratum.population.ok_or(StatisticsError::NoPopulation)?;
            Ok(Stratum::finite(population, stratum.rows.clone()))
        })
        .collect::<Result<_, StatisticsError>>()?;
    let units = population(&finite).ok_or(StatisticsError::NoPopulation)?;
    Ok(mean(&finite, column)?.times(units as f64))
}
