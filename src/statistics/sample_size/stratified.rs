//! Sample sizes over strata, and how the units are shared out among them.

use super::{SampleSize, Spread, Wanted, finish_simple, refuse, step, up};
use crate::statistics::StatisticsError;

/// What is expected in a stratum.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Expected {
    Share(f64),
    Mean { mean: f64, standard_deviation: f64 },
}

impl Expected {
    fn mean(self) -> f64 {
        match self {
            Expected::Share(share) => share,
            Expected::Mean { mean, .. } => mean,
        }
    }

    fn variance(self) -> f64 {
        match self {
            Expected::Share(share) => share * (1.0 - share),
            Expected::Mean {
                standard_deviation, ..
            } => standard_deviation * standard_deviation,
        }
    }

    fn is_usable(self) -> bool {
        match self {
            Expected::Share(share) => (0.0..=1.0).contains(&share),
            Expected::Mean {
                mean,
                standard_deviation,
            } => mean.is_finite() && standard_deviation.is_finite() && standard_deviation >= 0.0,
        }
    }
}

#[derive(Debug, Clone, PartialEq)]
pub struct PlannedStratum {
    pub name: String,
    /// Units of the stratum.
    pub population: u64,
    pub expected: Expected,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Allocation {
    /// By the units of the strata.
    Proportional,
    /// By units times standard deviation: the fewest units for the same doubt.
    Neyman,
}

/// The whole, and for each stratum how many must answer and how many are visited.
#[derive(Debug, Clone, PartialEq)]
pub struct StratifiedSize {
    pub whole: SampleSize,
    pub strata: Vec<StratumSize>,
}

#[derive(Debug, Clone, PartialEq)]
pub struct StratumSize {
    pub name: String,
    /// Its share of the whole, before rounding.
    pub exact: f64,
    /// Rounded up; two at least, as one unit shows no spread, and no more than there are.
    pub needed: u64,
    pub to_visit: u64,
}

/// Units over all strata, then shared out by `allocation`.
///
/// Proportional: the formula of a simple random sample with the variance inside strata, `S^2 =
/// sum N_h S_h^2 / N`. Neyman: `n = (sum N_h S_h)^2 / (N^2 e^2 / z^2 + sum N_h S_h^2)`
/// (Cochran, Sampling Techniques, chapter 5; MEMORY).
pub fn stratified_needed(
    strata: &[PlannedStratum],
    allocation: Allocation,
    wanted: &Wanted,
) -> Result<StratifiedSize, StatisticsError> {
    wanted.check()?;
    if strata.is_empty() || strata.iter().any(|stratum| stratum.population < 2) {
        return Err(refuse("there are strata, each of two units at least"));
    }
    if !strata.iter().all(|stratum| stratum.expected.is_usable()) {
        return Err(refuse(
            "shares lie between 0 and 1, standard deviations are not below zero",
        ));
    }
    let population = strata
        .iter()
        .try_fold(0u64, |sum, stratum| sum.checked_add(stratum.population))
        .ok_or(refuse("the strata have too many units to count"))?;
    let units = population as f64;
    let over = |value: &dyn Fn(&PlannedStratum) -> f64| -> f64 {
        strata
            .iter()
            .map(|stratum| stratum.population as f64 * value(stratum))
            .sum()
    };
    let mean = wanted.first_figure(over(&|stratum| stratum.expected.mean()) / units);
    let variance = wanted.first_figure(over(&|stratum| stratum.expected.variance()) / units);
    if variance <= 0.0 {
        return Err(refuse("nothing is expected to vary inside the strata"));
    }
    let (half_width, shown) = wanted.half_width(mean)?;
    let steps = vec![
        step("mean over the strata", "m = sum N_h m_h / N", mean),
        step(
            "variance inside strata",
            "S^2 = sum N_h S_h^2 / N",
            variance,
        ),
        shown,
    ];
    let lost = strata.len() as u64;
    let spread = Spread {
        variance,
        half_width,
        steps,
    };
    let mut whole = match allocation {
        Allocation::Proportional => finish_simple(wanted, spread, Some(population), lost)?,
        Allocation::Neyman => {
            let deviations = over(&|stratum| stratum.expected.variance().sqrt());
            let effect = wanted.design_effect;
            let mut steps = spread.steps;
            steps.insert(0, step("units of the population", "N", units));
            steps.push(step(
                "units times deviations",
                "A = sum N_h S_h",
                deviations,
            ));
            let mut formula = "n = A^2 / (N^2 e^2 / z^2 + N S^2)".to_owned();
            if effect != 1.0 {
                steps.push(step("design effect", "D", effect));
                formula.push_str(" times D");
            }
            wanted.finish(steps, Some(population), lost, &formula, |quantile| {
                let error = (units * half_width / quantile).powi(2);
                deviations * deviations / (error + units * variance) * effect
            })?
        }
    };
    let strata = share_out(strata, allocation, &whole, wanted);
    for stratum in &strata {
        let words = format!("of these in {}", stratum.name);
        let formula = match allocation {
            Allocation::Proportional => "n_h = n N_h / N",
            Allocation::Neyman => "n_h = n N_h S_h / A",
        };
        whole.steps.push(step(words, formula, stratum.exact));
    }
    Ok(StratifiedSize { whole, strata })
}

/// Each stratum's part. Where one would get more units than it has, it gives all, and the rest
/// is shared out anew among the others.
fn share_out(
    strata: &[PlannedStratum],
    allocation: Allocation,
    whole: &SampleSize,
    wanted: &Wanted,
) -> Vec<StratumSize> {
    let weight = |stratum: &PlannedStratum| {
        let units = stratum.population as f64;
        match allocation {
            Allocation::Proportional => units,
            Allocation::Neyman => units * stratum.expected.variance().sqrt(),
        }
    };
    let mut full = vec![false; strata.len()];
    let exact = loop {
        let open = |at: usize| !full.get(at).copied().unwrap_or(true);
        let taken: f64 = strata
            .iter()
            .enumerate()
            .filter(|(at, _)| !open(*at))
            .map(|(_, stratum)| stratum.population as f64)
            .sum();
        let weights: f64 = strata
            .iter()
            .enumerate()
            .filter(|(at, _)| open(*at))
            .map(|(_, stratum)| weight(stratum))
            .sum();
        let rest = (whole.needed as f64 - taken).max(0.0);
        let exact: Vec<f64> = strata
            .iter()
            .enumerate()
            .map(|(at, stratum)| match open(at) {
                true if weights > 0.0 => rest * weight(stratum) / weights,
                true => 0.0,
                false => stratum.population as f64,
            })
            .collect();
        let over: Vec<bool> = strata
            .iter()
            .zip(&exact)
            .map(|(stratum, exact)| *exact >= stratum.population as f64)
            .collect();
        if over == full {
            break exact;
        }
        full.iter_mut()
            .zip(over)
            .for_each(|(full, over)| *full |= over);
    };
    strata
        .iter()
        .zip(exact)
        .map(|(stratum, exact)| {
            let needed = up(exact).max(2).min(stratum.population);
            StratumSize {
                name: stratum.name.clone(),
                exact,
                needed,
                to_visit: up(needed as f64 / wanted.response).min(stratum.population),
            }
        })
        .collect()
}
