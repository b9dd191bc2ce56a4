//! Simple random samples, with the correction for a finite population.

use super::{Estimated, parts, yes_no};
use crate::statistics::StatisticsError;
use crate::statistics::estimate::{VectorMean, mean_vector};

/// Mean vector and covariance `(1 - n / N) S / n`; one row for each unit.
pub fn simple_mean_vector(
    rows: &[Vec<f64>],
    population: Option<u64>,
) -> Result<VectorMean, StatisticsError> {
    let left = parts::left_undrawn(rows.len(), population)?;
    let mut found = mean_vector(rows)?;
    for cell in found.covariance.iter_mut().flatten() {
        *cell *= left;
    }
    Ok(found)
}

fn mean_of_rows(rows: &[Vec<f64>], population: Option<u64>) -> Result<Estimated, StatisticsError> {
    let means = simple_mean_vector(rows, population)?;
    let weighted = rows.iter().map(|row| (1.0, parts::cell(row, 0)));
    parts::estimated(&means, 0, weighted, population.map(|units| units as f64))
}

/// Mean and its standard error `sqrt((1 - n / N) s^2 / n)`.
pub fn mean(values: &[f64], population: Option<u64>) -> Result<Estimated, StatisticsError> {
    let rows: Vec<Vec<f64>> = values.iter().map(|value| vec![*value]).collect();
    mean_of_rows(&rows, population)
}

/// Total over the population: its units times the mean.
pub fn total(values: &[f64], population: u64) -> Result<Estimated, StatisticsError> {
    Ok(mean(values, Some(population))?.times(population as f64))
}

/// Share of yes and its standard error `sqrt((1 - n / N) p (1 - p) / (n - 1))`.
pub fn proportion(
    yes: u64,
    asked: u64,
    population: Option<u64>,
) -> Result<Estimated, StatisticsError> {
    mean_of_rows(&yes_no(yes, asked)?, population)
}
