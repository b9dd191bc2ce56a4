//! Sample sizes for one proportion or one mean of a simple random sample.

use super::{SampleSize, Spread, Wanted, finish_simple, refuse, step};
use crate::statistics::StatisticsError;

/// Units for a share that is expected to be `share`.
pub fn proportion_needed(
    share: f64,
    population: Option<u64>,
    wanted: &Wanted,
) -> Result<SampleSize, StatisticsError> {
    wanted.check()?;
    check_population(population)?;
    if !(share > 0.0 && share < 1.0) {
        return Err(refuse("the expected share lies between 0 and 1"));
    }
    let variance = share * (1.0 - share);
    let (half_width, shown) = wanted.half_width(share)?;
    let steps = vec![
        step("share that is expected", "m = p", share),
        step("variance of yes and no", "S^2 = p (1 - p)", variance),
        shown,
    ];
    let spread = Spread {
        variance,
        half_width,
        steps,
    };
    finish_simple(wanted, spread, population, 1)
}

/// Units for a mean that is expected to be `mean`, where values spread by `standard_deviation`.
pub fn mean_needed(
    mean: f64,
    standard_deviation: f64,
    population: Option<u64>,
    wanted: &Wanted,
) -> Result<SampleSize, StatisticsError> {
    wanted.check()?;
    check_population(population)?;
    if !(standard_deviation.is_finite() && standard_deviation > 0.0 && mean.is_finite()) {
        return Err(refuse("the expected standard deviation must be above zero"));
    }
    if mean == 0.0 {
        return Err(refuse("the expected mean must not be zero"));
    }
    let squared = wanted.first_figure((standard_deviation / mean).powi(2));
    let variance = squared * mean * mean;
    let (half_width, shown) = wanted.half_width(mean)?;
    let steps = vec![
        step("mean that is expected", "m", mean),
        step(
            "standard deviation that is expected",
            "SD",
            standard_deviation,
        ),
        step(
            "squared coefficient of variation",
            "V = (SD / m)^2",
            squared,
        ),
        step("variance", "S^2 = V m^2", variance),
        shown,
    ];
    let spread = Spread {
        variance,
        half_width,
        steps,
    };
    finish_simple(wanted, spread, population, 1)
}

/// A population of one unit shows no spread.
pub fn check_population(population: Option<u64>) -> Result<(), StatisticsError> {
    match population {
        Some(units) if units < 2 => Err(refuse("a population has two units at least")),
        _ => Ok(()),
    }
}
