//! Standard deviations of the distributions that a factor may be stated with.

use super::{StatisticsError, quantile};
use statrs::distribution::{Continuous, ContinuousCDF, Normal};

/// The shape of a factor's distribution around its stated value.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Shape {
    /// A convention: no doubt at all.
    Exact,
    /// The stated value is the mean.
    Normal {
        standard_deviation: f64,
    },
    /// A normal around the stated value, cut off at the bounds.
    TruncatedNormal {
        standard_deviation: f64,
        lower: f64,
        upper: f64,
    },
    /// The stated value is the median; `lower` and `upper` bound the central `confidence`.
    Lognormal {
        lower: f64,
        upper: f64,
        confidence: f64,
    },
    /// The stated value is the mode.
    Triangular {
        lower: f64,
        upper: f64,
    },
    Uniform {
        lower: f64,
        upper: f64,
    },
}

/// First two moments of a distribution.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Moments {
    pub mean: f64,
    pub standard_deviation: f64,
    /// Standard deviation of `ln x`, where the shape is lognormal.
    pub sigma_ln: Option<f64>,
}

/// Mean and standard deviation of `shape` around the value `stated`.
///
/// The bounds of a lognormal need not lie evenly around the median in `ln`:
/// its spread is their distance, `sigma_ln = ln(upper / lower) / (2 z)`.
pub fn moments(shape: Shape, stated: f64) -> Result<Moments, StatisticsError> {
    let refused = |why| Err(StatisticsError::Spread(why));
    let plain = |mean, variance: f64| {
        Ok(Moments {
            mean,
            standard_deviation: variance.max(0.0).sqrt(),
            sigma_ln: None,
        })
    };
    match shape {
        Shape::Exact => plain(stated, 0.0),
        Shape::Normal { standard_deviation } if standard_deviation >= 0.0 => {
            plain(stated, standard_deviation * standard_deviation)
        }
        Shape::Normal { .. } => refused("the standard deviation is below zero"),
        Shape::TruncatedNormal {
            standard_deviation: sigma,
            lower,
            upper,
        } => {
            let Some(cut) = Cut::of(stated, sigma, lower, upper) else {
                return refused(
                    "a truncated normal needs a spread above zero and room inside its bounds",
                );
            };
            let shift = (cut.density_lower - cut.density_upper) / cut.inside;
            let bend = (cut.alpha * cut.density_lower - cut.beta * cut.density_upper) / cut.inside;
            plain(
                stated + sigma * shift,
                sigma * sigma * (1.0 + bend - shift * shift),
            )
        }
        Shape::Lognormal {
            lower,
            upper,
            confidence,
        } => {
            if !(stated > 0.0 && lower > 0.0 && upper >= lower) {
                return refused("a lognormal needs bounds above zero, the lower one first");
            }
            let sigma =
                (upper / lower).ln() / (2.0 * quantile::two_sided(confidence, f64::INFINITY)?);
            let widen = (sigma * sigma).exp();
            let mean = stated * widen.sqrt();
            Ok(Moments {
                mean,
                standard_deviation: mean * (widen - 1.0).sqrt(),
                sigma_ln: Some(sigma),
            })
        }
        Shape::Triangular { lower, upper } if lower <= stated && stated <= upper => {
            let (a, b, c) = (lower, upper, stated);
            plain(
                (a + b + c) / 3.0,
                (a * a + b * b + c * c - a * b - a * c - b * c) / 18.0,
            )
        }
        Shape::Uniform { lower, upper } if lower <= stated && stated <= upper => {
            plain((lower + upper) / 2.0, (upper - lower).powi(2) / 12.0)
        }
        Shape::Triangular { .. } | Shape::Uniform { .. } => {
            refused("the stated value lies outside its bounds")
        }
    }
}

/// Where a truncated normal is cut off.
struct Cut {
    alpha: f64,
    beta: f64,
    density_lower: f64,
    density_upper: f64,
    /// Probability of the uncut normal below the lower bound.
    below: f64,
    /// Probability of the uncut normal between the bounds.
    inside: f64,
}

impl Cut {
    /// None without a spread, or where next to nothing lies between the bounds.
    fn of(stated: f64, sigma: f64, lower: f64, upper: f64) -> Option<Cut> {
        if !(sigma > 0.0 && lower <= stated && stated <= upper && lower < upper) {
            return None;
        }
        let standard = Normal::standard();
        let (alpha, beta) = ((lower - stated) / sigma, (upper - stated) / sigma);
        let below = standard.cdf(alpha);
        let inside = standard.cdf(beta) - below;
        (inside > 1e-9).then_some(Cut {
            alpha,
            beta,
            density_lower: standard.pdf(alpha),
            density_upper: standard.pdf(beta),
            below,
            inside,
        })
    }
}

/// The central interval of `shape` itself, equal tails outside it.
pub fn central_interval(
    shape: Shape,
    stated: f64,
    confidence: f64,
) -> Result<(f64, f64), StatisticsError> {
    let found = moments(shape, stated)?;
    let z = quantile::two_sided(confidence, f64::INFINITY)?;
    let tail = (1.0 - confidence) / 2.0;
    Ok(match shape {
        Shape::Exact => (stated, stated),
        Shape::Normal { standard_deviation } => (
            stated - z * standard_deviation,
            stated + z * standard_deviation,
        ),
        Shape::TruncatedNormal {
            standard_deviation: sigma,
            lower,
            upper,
        } => {
            let quantile = |p: f64| -> Result<f64, StatisticsError> {
                let cut = Cut::of(stated, sigma, lower, upper)
                    .ok_or(StatisticsError::Spread("no room inside the bounds"))?;
                let drawn = quantile::normal(cut.below + p * cut.inside)?;
                Ok((stated + sigma * drawn).clamp(lower, upper))
            };
            (quantile(tail)?, quantile(1.0 - tail)?)
        }
        Shape::Lognormal { .. } => {
            let widen = (z * found.sigma_ln.unwrap_or(0.0)).exp();
            (stated / widen, stated * widen)
        }
        Shape::Triangular { lower, upper } => {
            let width = upper - lower;
            let quantile = |p: f64| {
                if p * width <= stated - lower {
                    lower + (p * width * (stated - lower)).sqrt()
                } else {
                    upper - ((1.0 - p) * width * (upper - stated)).sqrt()
                }
            };
            (quantile(tail), quantile(1.0 - tail))
        }
        Shape::Uniform { lower, upper } => {
            let reach = tail * (upper - lower);
            (lower + reach, upper - reach)
        }
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

    /// IPCC 2006 Vol 2 Table 2.5, wood, CH4 300 (100 to 900) kg/TJ (limits MEMORY):
    /// sigma = ln(9) / 3.92 = 0.5605 (COMPUTED).
    #[test]
    fn wood_methane_is_a_wide_lognormal() {
        let shape = Shape::Lognormal {
            lower: 100.0,
            upper: 900.0,
            confidence: 0.95,
        };
        let found = moments(shape, 300.0).unwrap();
        close(found.sigma_ln.unwrap(), 0.5605, 5e-5);
        // mean = median exp(s^2 / 2), variance = mean^2 (exp(s^2) - 1): textbook.
        close(found.mean, 300.0 * (0.5605f64.powi(2) / 2.0).exp(), 0.02);
        close(
            found.standard_deviation / found.mean,
            (0.5605f64.powi(2).exp() - 1.0).sqrt(),
            1e-4,
        );
    }

    /// Textbook variances: triangle 0, 1, 2 has 1/6; uniform 0 to 1 has 1/12.
    #[test]
    fn bounded_shapes_have_their_textbook_variance() {
        let triangle = moments(
            Shape::Triangular {
                lower: 0.0,
                upper: 2.0,
            },
            1.0,
        )
        .unwrap();
        close(triangle.standard_deviation.powi(2), 1.0 / 6.0, 1e-12);
        let uniform = moments(
            Shape::Uniform {
                lower: 0.0,
                upper: 1.0,
            },
            0.5,
        )
        .unwrap();
        close(uniform.standard_deviation.powi(2), 1.0 / 12.0, 1e-12);
    }

    /// IPCC 2006 Vol 2 Table 2.5, wood, CH4 (limits MEMORY): the 95 % bounds come back.
    #[test]
    fn a_lognormal_gives_back_the_bounds_it_was_stated_with() {
        let shape = Shape::Lognormal {
            lower: 100.0,
            upper: 900.0,
            confidence: 0.95,
        };
        let (lower, upper) = central_interval(shape, 300.0, 0.95).unwrap();
        close(lower, 100.0, 1e-9);
        close(upper, 900.0, 1e-9);
    }

    /// Textbook quantiles: triangle 0, 1, 4 has F(x) = x^2 / 4 below its mode and
    /// 1 - (4 - x)^2 / 12 above it.
    #[test]
    fn bounded_shapes_give_their_own_quantiles() {
        let triangle = Shape::Triangular {
            lower: 0.0,
            upper: 4.0,
        };
        let (lower, upper) = central_interval(triangle, 1.0, 0.90).unwrap();
        close(lower * lower / 4.0, 0.05, 1e-12);
        close(1.0 - (4.0 - upper).powi(2) / 12.0, 0.95, 1e-12);
        let uniform = Shape::Uniform {
            lower: 0.0,
            upper: 1.0,
        };
        let (lower, upper) = central_interval(uniform, 0.5, 0.90).unwrap();
        close(lower, 0.05, 1e-12);
        close(upper, 0.95, 1e-12);
    }

    /// A standard normal cut at -1 and 2, by the textbook formula and tables of phi and Phi.
    #[test]
    fn a_normal_cut_off_has_the_moments_of_what_is_left() {
        let shape = Shape::TruncatedNormal {
            standard_deviation: 1.0,
            lower: -1.0,
            upper: 2.0,
        };
        let found = moments(shape, 0.0).unwrap();
        // phi(-1) 0.2419707, phi(2) 0.0539910, Phi(2) - Phi(-1) 0.8185946: tables.
        close(found.mean, (0.2419707 - 0.0539910) / 0.8185946, 1e-6);
        let bend = (-0.2419707 - 2.0 * 0.0539910) / 0.8185946;
        close(
            found.standard_deviation.powi(2),
            1.0 + bend - found.mean.powi(2),
            1e-6,
        );
        let (lower, upper) = central_interval(shape, 0.0, 0.90).unwrap();
        assert!(-1.0 < lower && upper < 2.0, "{lower} {upper}");
    }

    #[test]
    fn impossible_spreads_are_refused() {
        assert!(
            moments(
                Shape::Normal {
                    standard_deviation: -1.0
                },
                1.0
            )
            .is_err()
        );
        assert!(
            moments(
                Shape::Uniform {
                    lower: 0.0,
                    upper: 1.0
                },
                2.0
            )
            .is_err()
        );
        let zero = Shape::Lognormal {
            lower: 0.0,
            upper: 1.0,
            confidence: 0.95,
        };
        assert!(moments(zero, 0.5).is_err());
        let all = Shape::Lognormal {
            lower: 1.0,
            upper: 2.0,
            confidence: 1.0,
        };
        assert!(moments(all, 1.5).is_err());
    }
}
