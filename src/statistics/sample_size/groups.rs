//! Sample sizes of two groups that are compared, e.g. kitchens before and after.

use super::{SampleSize, refuse, step, up};
use crate::statistics::{StatisticsError, quantile};

/// A comparison of the means of two independent groups of the same size.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Groups {
    /// Two-sided, e.g. 0.95.
    pub confidence: f64,
    /// Chance of finding the change if it is there, e.g. 0.80.
    pub power: f64,
    /// Standard deviation over mean, in each group.
    pub coefficient_of_variation: f64,
    /// The change to be found, as a share of the mean.
    pub change: f64,
    /// Share of the units visited that is expected to answer.
    pub response: f64,
    /// Whether Student's t with `2 n - 2` degrees of freedom takes the place of the normal
    /// quantiles, which alone are a little too few.
    pub student_t: bool,
}

/// Units of each group: `n = 2 (z_a + z_b)^2 (COV / change)^2`, rounded up.
pub fn units_per_group(groups: &Groups) -> Result<SampleSize, StatisticsError> {
    let positive = |value: f64| value.is_finite() && value > 0.0;
    if !positive(groups.coefficient_of_variation) || !positive(groups.change) {
        return Err(refuse(
            "the coefficient of variation and the change must be above zero",
        ));
    }
    if !super::is_share(groups.response) {
        return Err(refuse(
            "the expected response is a share above 0, at most 1",
        ));
    }
    if !(groups.power >= 0.5 && groups.power < 1.0) {
        return Err(refuse("the power lies between 0.5 and 1"));
    }
    let relative = (groups.coefficient_of_variation / groups.change).powi(2);
    let quantiles = |degrees_of_freedom: f64| -> Result<(f64, f64), StatisticsError> {
        Ok((
            quantile::two_sided(groups.confidence, degrees_of_freedom)?,
            quantile::student_t(groups.power, degrees_of_freedom)?,
        ))
    };
    let units = |(a, b): (f64, f64)| 2.0 * (a + b).powi(2) * relative;
    let normal = quantiles(f64::INFINITY)?;
    let by_normal = units(normal);
    if by_normal > 1e6 {
        return Err(refuse(
            "the change is too small against the variation to be found",
        ));
    }
    let mut steps = vec![
        step(
            "squared variation over change",
            "R = (COV / change)^2",
            relative,
        ),
        step(
            "normal quantile of the confidence, two-sided",
            "z_a",
            normal.0,
        ),
        step("normal quantile of the power", "z_b", normal.1),
        step("units of each group", "n = 2 (z_a + z_b)^2 R", by_normal),
    ];
    let mut needed = up(by_normal).max(2);
    if groups.student_t {
        let mut found = quantiles(2.0 * needed as f64 - 2.0)?;
        while up(units(found)) > needed {
            needed += 1;
            found = quantiles(2.0 * needed as f64 - 2.0)?;
        }
        let words = format!("with Student's t, {} degrees of freedom", 2 * needed - 2);
        steps.push(step(words, "n = 2 (t_a + t_b)^2 R", units(found)));
    }
    steps.push(step("rounded up", "n", needed as f64));
    let to_visit = up(needed as f64 / groups.response);
    if groups.response < 1.0 {
        let words = "to visit in each group, as not all answer; rounded up";
        steps.push(step(words, "n / response", to_visit as f64));
    }
    Ok(SampleSize {
        steps,
        by_normal,
        needed,
        to_visit,
        frame_exhausted: false,
    })
}
