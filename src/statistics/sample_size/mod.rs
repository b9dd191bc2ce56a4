//! How many units to ask: sample sizes with the arithmetic that led to them, as data.
//!
//! Rounding: nothing is rounded on the way, and the number of units is rounded up once, at the
//! end. [`Figures::ByHand`] follows handbooks that work with the printed quantile and two
//! decimals instead. What is left below a billionth of a unit is taken as the machine's, not
//! as a unit more.

mod cluster;
mod groups;
mod simple;
mod stratified;
#[cfg(test)]
mod tests;

pub use cluster::{OneStage, TwoStage, clusters_needed, two_stage_needed};
pub use groups::{Groups, units_per_group};
pub use simple::{mean_needed, proportion_needed};
pub use stratified::{Allocation, Expected, PlannedStratum, stratified_needed};

use super::design::Margin;
use super::{StatisticsError, quantile};

/// From this many units on the normal quantile is good enough; below, Student's t is asked.
/// Common practice of sampling guidelines, no source.
const FEW: f64 = 30.0;

/// One line of the arithmetic.
#[derive(Debug, Clone, PartialEq)]
pub struct Step {
    /// What is worked out, in plain words.
    pub words: String,
    /// How, with its symbols.
    pub formula: String,
    pub value: f64,
}

/// How the figures on the way are rounded.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Figures {
    #[default]
    Unrounded,
    /// As worked by hand: the quantile to three decimals.
    PrintedQuantile,
    /// As worked by hand: the quantile to three decimals, and what is worked out of the inputs
    /// first (a squared coefficient of variation; an overall mean and variance) to two.
    ByHand,
}

/// What is asked of the sample.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Wanted {
    /// Two-sided, e.g. 0.90.
    pub confidence: f64,
    pub margin: Margin,
    /// Variance of the planned design over that of a simple random sample; one for that itself.
    pub design_effect: f64,
    /// Share of the units visited that is expected to answer.
    pub response: f64,
    pub figures: Figures,
    /// Whether fewer than 30 units are worked out again with Student's t.
    pub student_t: bool,
}

impl Wanted {
    /// Everyone answers, the sample is simple, nothing is rounded, t below 30 units.
    pub fn new(confidence: f64, margin: Margin) -> Self {
        Wanted {
            confidence,
            margin,
            design_effect: 1.0,
            response: 1.0,
            figures: Figures::Unrounded,
            student_t: true,
        }
    }
}

/// A number of units and how it came about.
#[derive(Debug, Clone, PartialEq)]
pub struct SampleSize {
    pub steps: Vec<Step>,
    /// By the normal quantile, before anything is rounded.
    pub by_normal: f64,
    /// Units (or clusters) that must answer.
    pub needed: u64,
    /// Units (or clusters) to visit so that as many may be expected to answer.
    pub to_visit: u64,
    /// The frame has fewer units than should be visited: all of it is visited.
    pub frame_exhausted: bool,
}

pub(crate) fn step(words: impl Into<String>, formula: impl Into<String>, value: f64) -> Step {
    Step {
        words: words.into(),
        formula: formula.into(),
        value,
    }
}

fn to_decimals(value: f64, decimals: i32) -> f64 {
    let scale = 10f64.powi(decimals);
    (value * scale).round() / scale
}

/// Up to the next whole unit.
fn up(value: f64) -> u64 {
    (value - 1e-9).ceil().max(0.0) as u64
}

fn refuse(why: &'static str) -> StatisticsError {
    StatisticsError::Plan(why)
}

fn is_share(value: f64) -> bool {
    value > 0.0 && value <= 1.0
}

/// The variance to meet, and the margin, in the unit of the value.
struct Spread {
    variance: f64,
    /// Half width, absolute.
    half_width: f64,
    steps: Vec<Step>,
}

impl Wanted {
    fn check(&self) -> Result<(), StatisticsError> {
        let margin = match self.margin {
            Margin::Relative(share) => share,
            Margin::Absolute(most) => most,
        };
        if !(margin.is_finite() && margin > 0.0) {
            return Err(refuse("the margin must be above zero"));
        }
        if !is_share(self.response) {
            return Err(refuse(
                "the expected response is a share above 0, at most 1",
            ));
        }
        if !(self.design_effect.is_finite() && self.design_effect > 0.0) {
            return Err(refuse("the design effect must be above zero"));
        }
        Ok(())
    }

    /// The two-sided normal quantile as this way of working prints it.
    fn normal_quantile(&self) -> Result<f64, StatisticsError> {
        let exact = quantile::two_sided(self.confidence, f64::INFINITY)?;
        Ok(match self.figures {
            Figures::Unrounded => exact,
            Figures::PrintedQuantile | Figures::ByHand => to_decimals(exact, 3),
        })
    }

    fn student_quantile(&self, degrees_of_freedom: f64) -> Result<f64, StatisticsError> {
        let exact = quantile::two_sided(self.confidence, degrees_of_freedom)?;
        Ok(match self.figures {
            Figures::Unrounded => exact,
            Figures::PrintedQuantile | Figures::ByHand => to_decimals(exact, 3),
        })
    }

    /// A figure that is worked out of the inputs first.
    fn first_figure(&self, value: f64) -> f64 {
        match self.figures {
            Figures::ByHand => to_decimals(value, 2),
            Figures::Unrounded | Figures::PrintedQuantile => value,
        }
    }

    /// The half width in the unit of a value that is expected to be `value`.
    fn half_width(&self, value: f64) -> Result<(f64, Step), StatisticsError> {
        match self.margin {
            Margin::Absolute(most) => Ok((most, step("half width wanted", "e", most))),
            Margin::Relative(share) if value != 0.0 => {
                let half_width = share * value.abs();
                let shown = step(
                    "half width wanted, a share of the value",
                    "e = r m",
                    half_width,
                );
                Ok((half_width, shown))
            }
            Margin::Relative(_) => Err(refuse("a share of a value of zero is no margin")),
        }
    }

    /// From units by a quantile to units to visit. `units_by` must fall as the quantile falls;
    /// `lost` are the degrees of freedom that the design takes from the units.
    fn finish(
        &self,
        mut steps: Vec<Step>,
        population: Option<u64>,
        lost: u64,
        formula: &str,
        units_by: impl Fn(f64) -> f64,
    ) -> Result<SampleSize, StatisticsError> {
        let z = self.normal_quantile()?;
        steps.push(step("normal quantile, two-sided", "z", z));
        let by_normal = units_by(z);
        if !by_normal.is_finite() || by_normal > 1e15 {
            return Err(refuse("these inputs give no usable number of units"));
        }
        steps.push(step("units by the normal quantile", formula, by_normal));
        let most = population.unwrap_or(u64::MAX);
        let fewest = (lost + 1).min(most);
        let mut needed = up(by_normal).max(fewest);
        if self.student_t && by_normal < FEW && needed < most {
            let mut quantile = z;
            while needed < most {
                quantile = self.student_quantile((needed - lost) as f64)?;
                if up(units_by(quantile)) <= needed {
                    break;
                }
                needed += 1;
            }
            let words = format!("Student's t with {} degrees of freedom", needed - lost);
            steps.push(step(words, "t", quantile));
            let with_t = formula.replace('z', "t");
            steps.push(step(
                "fewer than 30: units by t",
                with_t,
                units_by(quantile),
            ));
        }
        needed = needed.min(most);
        steps.push(step("rounded up", "n", needed as f64));
        let visits = up(needed as f64 / self.response);
        if self.response < 1.0 {
            let words = "to visit, as not all answer; rounded up";
            steps.push(step(words, "n / response", visits as f64));
        }
        if visits > most {
            steps.push(step("all there are", "N", most as f64));
        }
        Ok(SampleSize {
            steps,
            by_normal,
            needed,
            to_visit: visits.min(most),
            frame_exhausted: visits > most,
        })
    }
}

/// Units of a simple random sample, times the design effect: `z^2 N S^2 / ((N - 1) e^2 + z^2
/// S^2)`, without end of the population `z^2 S^2 / e^2`.
fn finish_simple(
    wanted: &Wanted,
    spread: Spread,
    population: Option<u64>,
    lost: u64,
) -> Result<SampleSize, StatisticsError> {
    let effect = wanted.design_effect;
    let error = spread.half_width * spread.half_width;
    let simple = |quantile: f64| {
        let spread = quantile * quantile * spread.variance;
        match population {
            Some(units) => {
                let units = units as f64;
                spread * units / ((units - 1.0) * error + spread)
            }
            None => spread / error,
        }
    };
    let mut formula = match population {
        Some(_) => "n = z^2 N S^2 / ((N - 1) e^2 + z^2 S^2)".to_owned(),
        None => "n = z^2 S^2 / e^2".to_owned(),
    };
    let mut steps = spread.steps;
    if let Some(units) = population {
        steps.insert(0, step("units of the population", "N", units as f64));
    }
    if effect != 1.0 {
        steps.push(step("design effect", "D", effect));
        formula.push_str(" times D");
    }
    wanted.finish(steps, population, lost, &formula, |q| simple(q) * effect)
}
