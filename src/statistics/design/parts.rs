//! What the designs share: the correction for a finite population, sums of squares, and the
//! simple random sample that a design is compared with.

use super::Estimated;
use crate::statistics::StatisticsError;
use crate::statistics::estimate::VectorMean;

/// `1 - sampled / population`; one where the population is not known.
pub fn left_undrawn(sampled: usize, population: Option<u64>) -> Result<f64, StatisticsError> {
    match population {
        None => Ok(1.0),
        Some(population) if population < sampled as u64 => Err(StatisticsError::Population {
            population,
            sampled,
        }),
        Some(population) => Ok(1.0 - sampled as f64 / population as f64),
    }
}

/// The number of values in every row; an error where the rows differ.
pub fn width<'a>(rows: impl IntoIterator<Item = &'a Vec<f64>>) -> Result<usize, StatisticsError> {
    let mut rows = rows.into_iter();
    let Some(expected) = rows.next().map(Vec::len) else {
        return Err(StatisticsError::TooFewUnits {
            needed: 1,
            found: 0,
        });
    };
    match rows.find(|row| row.len() != expected) {
        Some(row) => Err(StatisticsError::Ragged {
            expected,
            found: row.len(),
        }),
        None => Ok(expected),
    }
}

/// An error below two: one unit shows no spread.
pub fn at_least_two(found: usize) -> Result<f64, StatisticsError> {
    if found < 2 {
        return Err(StatisticsError::TooFewUnits { needed: 2, found });
    }
    Ok(found as f64)
}

/// Sum of the rows, column by column.
pub fn column_sums(rows: &[Vec<f64>], width: usize) -> Vec<f64> {
    let mut sums = vec![0.0; width];
    for row in rows {
        sums.iter_mut()
            .zip(row)
            .for_each(|(sum, value)| *sum += value);
    }
    sums
}

/// Adds `factor` times the products of `apart` with itself.
pub fn add_products(covariance: &mut [Vec<f64>], apart: &[f64], factor: f64) {
    for (line, a) in covariance.iter_mut().zip(apart) {
        line.iter_mut()
            .zip(apart)
            .for_each(|(cell, b)| *cell += factor * a * b);
    }
}

/// Adds `factor` times `part`.
pub fn add_matrix(covariance: &mut [Vec<f64>], part: &[Vec<f64>], factor: f64) {
    for (line, added) in covariance.iter_mut().zip(part) {
        line.iter_mut()
            .zip(added)
            .for_each(|(cell, value)| *cell += factor * value);
    }
}

/// One column of `means`, compared with a simple random sample of as many units.
///
/// `weighted` gives each unit's weight and value; the variance of the population is estimated
/// from them with `n / (n - 1)`. `population` is the number of its units, where known.
pub fn estimated(
    means: &VectorMean,
    column: usize,
    weighted: impl Iterator<Item = (f64, f64)> + Clone,
    population: Option<f64>,
) -> Result<Estimated, StatisticsError> {
    let found = Estimated::of(means, column)?;
    let n = means.units as f64;
    let weight: f64 = weighted.clone().map(|(weight, _)| weight).sum();
    let squares: f64 = weighted
        .map(|(weight, value)| weight * (value - found.value).powi(2))
        .sum();
    let left = population.map_or(1.0, |population| 1.0 - n / population);
    let simple = squares / weight * left / (n - 1.0);
    let variance = found.standard_error * found.standard_error;
    Ok(Estimated {
        design_effect: (simple > 0.0).then(|| variance / simple),
        ..found
    })
}

/// The value of a row in `column`; zero never stands for a missing one, as rows are checked
/// for their width before.
pub fn cell(row: &[f64], column: usize) -> f64 {
    row.get(column).copied().unwrap_or(f64::NAN)
}
