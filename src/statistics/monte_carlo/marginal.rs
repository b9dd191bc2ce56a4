//! Distributions of single inputs, each drawn by inverting its distribution function.

use super::curve::Curve;
use super::elementary::{EXP_INSIDE, exp, exp_inside, ln};
use super::gamma::normal_below;
use super::{LANES, Lanes, Scratch, normal};
use crate::statistics::StatisticsError;

/// The least sum of the two parameters of a beta: less would claim to know less than Jeffreys'
/// prior, which stands for knowing nothing.
const LEAST_BETA_SIZE: f64 = 1.0;

/// Distribution of one input, independent of all others.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Marginal {
    Normal {
        mean: f64,
        standard_deviation: f64,
    },
    /// A normal around `centre`, cut off at the bounds.
    TruncatedNormal {
        centre: f64,
        standard_deviation: f64,
        lower: f64,
        upper: f64,
    },
    /// `exp` of a normal with mean `ln median` and standard deviation `sigma`.
    Lognormal {
        median: f64,
        sigma: f64,
    },
    Triangular {
        lower: f64,
        mode: f64,
        upper: f64,
    },
    Uniform {
        lower: f64,
        upper: f64,
    },
    Beta {
        a: f64,
        b: f64,
    },
}

impl Marginal {
    /// The beta distribution of a share with this mean and variance.
    ///
    /// A share of none or all has no beta of its own: it gets that with half a success (or half a
    /// failure) whose variance is the given one; its mean then lies inside the range. A variance
    /// larger than that of Jeffreys' prior around the mean is drawn as that prior.
    pub fn share(mean: f64, variance: f64) -> Result<Marginal, StatisticsError> {
        let possible = (0.0..=1.0).contains(&mean) && variance > 0.0 && variance.is_finite();
        if !possible {
            return Err(StatisticsError::Spread(
                "a share lies between nothing and all, and its variance above zero",
            ));
        }
        if mean == 0.0 || mean == 1.0 {
            let size = size_of_half(variance);
            let (a, b) = (0.5, (size - 0.5).max(0.5));
            return Ok(if mean == 0.0 {
                Marginal::Beta { a, b }
            } else {
                Marginal::Beta { a: b, b: a }
            });
        }
        let size = (mean * (1.0 - mean) / variance - 1.0).max(LEAST_BETA_SIZE);
        Ok(Marginal::Beta {
            a: mean * size,
            b: (1.0 - mean) * size,
        })
    }

    /// The lognormal with this median whose central `confidence` spans `lower` to `upper` in `ln`.
    pub fn lognormal(
        median: f64,
        lower: f64,
        upper: f64,
        confidence: f64,
    ) -> Result<Marginal, StatisticsError> {
        if !(lower > 0.0 && upper >= lower && confidence > 0.0 && confidence < 1.0) {
            return Err(StatisticsError::Spread(
                "a lognormal needs bounds above zero, the lower one first",
            ));
        }
        let z = normal::quantile((1.0 + confidence) / 2.0);
        Ok(Marginal::Lognormal {
            median,
            sigma: ln(upper / lower) / (2.0 * z),
        })
    }

    fn is_possible(&self) -> bool {
        let finite = |values: &[f64]| values.iter().all(|value| value.is_finite());
        match *self {
            Marginal::Normal {
                mean,
                standard_deviation,
            } => finite(&[mean, standard_deviation]) && standard_deviation >= 0.0,
            Marginal::TruncatedNormal {
                centre,
                standard_deviation,
                lower,
                upper,
            } => {
                finite(&[centre, standard_deviation, lower, upper])
                    && standard_deviation > 0.0
                    && lower <= centre
                    && centre <= upper
                    && lower < upper
            }
            Marginal::Lognormal { median, sigma } => {
                finite(&[median, sigma]) && median > 1e-300 && sigma >= 0.0
            }
            Marginal::Triangular { lower, mode, upper } => {
                finite(&[lower, mode, upper]) && lower <= mode && mode <= upper
            }
            Marginal::Uniform { lower, upper } => finite(&[lower, upper]) && lower <= upper,
            Marginal::Beta { a, b } => finite(&[a, b]) && a > 0.0 && b > 0.0,
        }
    }

    pub(super) fn check(&self) -> Result<(), StatisticsError> {
        if self.is_possible() {
            Ok(())
        } else {
            Err(StatisticsError::Spread("it cannot be drawn from"))
        }
    }

    /// Prepares what does not change from draw to draw.
    pub(super) fn compile(&self) -> Drawn {
        match *self {
            Marginal::Normal {
                mean,
                standard_deviation,
            } => Drawn::Normal {
                mean,
                standard_deviation,
            },
            Marginal::TruncatedNormal {
                centre,
                standard_deviation,
                lower,
                upper,
            } => {
                let below = normal_below((lower - centre) / standard_deviation);
                let above = normal_below((centre - upper) / standard_deviation);
                Drawn::TruncatedNormal {
                    centre,
                    standard_deviation,
                    lower,
                    upper,
                    below,
                    inside: 1.0 - below - above,
                }
            }
            Marginal::Lognormal { median, sigma } => {
                let location = ln(median);
                let reach = normal::FARTHEST * sigma;
                Drawn::Lognormal {
                    location,
                    sigma,
                    tame: EXP_INSIDE.contains(&(location - reach))
                        && EXP_INSIDE.contains(&(location + reach)),
                }
            }
            Marginal::Triangular { lower, mode, upper } => Drawn::Triangular { lower, mode, upper },
            Marginal::Uniform { lower, upper } => Drawn::Uniform { lower, upper },
            Marginal::Beta { a, b } => Drawn::Beta(Curve::beta(a, b)),
        }
    }
}

/// `a + b` of the beta with `a = 1/2` and this variance, by halving: the variance falls with it.
fn size_of_half(variance: f64) -> f64 {
    let variance_of = |size: f64| {
        let mean = 0.5 / size;
        mean * (1.0 - mean) / (size + 1.0)
    };
    let (mut low, mut high) = (LEAST_BETA_SIZE, 1e12);
    for _ in 0..200 {
        let middle = 0.5 * (low + high);
        if variance_of(middle) > variance {
            low = middle;
        } else {
            high = middle;
        }
    }
    0.5 * (low + high)
}

/// A distribution ready to be drawn from.
#[derive(Debug, Clone)]
pub(super) enum Drawn {
    Normal {
        mean: f64,
        standard_deviation: f64,
    },
    TruncatedNormal {
        centre: f64,
        standard_deviation: f64,
        lower: f64,
        upper: f64,
        below: f64,
        inside: f64,
    },
    Lognormal {
        location: f64,
        sigma: f64,
        /// Whether no draw can come to zero or to infinity.
        tame: bool,
    },
    Triangular {
        lower: f64,
        mode: f64,
        upper: f64,
    },
    Uniform {
        lower: f64,
        upper: f64,
    },
    Beta(Curve),
}

impl Drawn {
    /// Turns uniform numbers into values of the distribution, in place.
    #[inline(always)]
    pub fn fill(&self, values: &mut Lanes, scratch: &mut Scratch) {
        match self {
            Drawn::Normal {
                mean,
                standard_deviation,
            } => {
                scratch.normalise_to(values, |z| mean + standard_deviation * z);
            }
            Drawn::Lognormal {
                location,
                sigma,
                tame,
            } => {
                if *tame {
                    scratch.normalise_to(values, |z| exp_inside(location + sigma * z));
                } else {
                    scratch.normalise_to(values, |z| exp(location + sigma * z));
                }
            }
            Drawn::Beta(curve) => {
                scratch.normalise(values);
                curve.fill(values, &mut scratch.places);
                for value in &mut values.0 {
                    *value = within(*value, 0.0, 1.0);
                }
            }
            Drawn::TruncatedNormal {
                centre,
                standard_deviation,
                lower,
                upper,
                below,
                inside,
            } => {
                for value in &mut values.0 {
                    *value = within(below + *value * inside, 1e-16, 1.0 - 1e-16);
                }
                scratch.normalise_to(values, |z| {
                    within(centre + standard_deviation * z, *lower, *upper)
                });
            }
            Drawn::Triangular { lower, mode, upper } => {
                let width = upper - lower;
                let (left, right) = (mode - lower, upper - mode);
                for value in &mut values.0 {
                    let rise = lower + (*value * width * left).sqrt();
                    let fall = upper - ((1.0 - *value) * width * right).sqrt();
                    *value = if *value * width <= left { rise } else { fall };
                }
            }
            Drawn::Uniform { lower, upper } => {
                let width = upper - lower;
                for value in &mut values.0[..LANES] {
                    *value = lower + width * *value;
                }
            }
        }
    }
}

/// No lower than `lower` and no higher than `upper`; what is not a number stays so.
#[inline(always)]
pub(super) fn within(value: f64, lower: f64, upper: f64) -> f64 {
    let value = if value < lower { lower } else { value };
    if value > upper { upper } else { value }
}
