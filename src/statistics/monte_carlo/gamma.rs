//! Incomplete gamma and beta functions, from plain arithmetic alone.
//!
//! Only used while a model is compiled. Relative accuracy about 1e-13 for parameters up to a
//! thousand; it falls with the size of the parameters, to about 1e-10 at a hundred thousand.

use super::elementary::{exp, ln};

/// Below this the continued fractions would divide by zero.
const TINY: f64 = 1e-300;
const PRECISION: f64 = 1e-16;
const TERMS_MAX: usize = 20_000;

/// `ln Γ(x)` for `x > 0`: Stirling's series, reached by the recurrence from below 10
/// (Abramowitz and Stegun, 6.1.41; MEMORY, held against known values in the tests).
pub(super) fn ln_gamma(x: f64) -> f64 {
    let (mut x, mut product) = (x, 1.0);
    while x < 10.0 {
        product *= x;
        x += 1.0;
    }
    let inverse = 1.0 / x;
    let square = inverse * inverse;
    let series = 1.0 / 12.0
        - square
            * (1.0 / 360.0
                - square
                    * (1.0 / 1260.0
                        - square
                            * (1.0 / 1680.0
                                - square * (1.0 / 1188.0 - square * 691.0 / 360_360.0))));
    // ln(2 pi) / 2
    (x - 0.5) * ln(x) - x + 0.918_938_533_204_672_8 + series * inverse - ln(product)
}

/// Lower and upper tail of a gamma distribution of shape `a` and scale 1 at `x`; both keep
/// their relative accuracy when they are small.
pub(super) fn gamma_tails(a: f64, x: f64) -> (f64, f64) {
    if x <= 0.0 {
        return (0.0, 1.0);
    }
    let front = exp(a * ln(x) - x - ln_gamma(a));
    if x < a + 1.0 {
        let (mut term, mut sum, mut over) = (1.0 / a, 1.0 / a, a);
        for _ in 0..TERMS_MAX {
            over += 1.0;
            term *= x / over;
            sum += term;
            if term < sum * PRECISION {
                break;
            }
        }
        let lower = front * sum;
        return (lower, 1.0 - lower);
    }
    // Lentz's method on the continued fraction of the upper tail.
    let mut b = x + 1.0 - a;
    let mut c = 1.0 / TINY;
    let mut d = 1.0 / b;
    let mut fraction = d;
    for i in 1..TERMS_MAX {
        let i = i as f64;
        let term = -i * (i - a);
        b += 2.0;
        d = 1.0 / apart(term * d + b);
        c = apart(b + term / c);
        let step = c * d;
        fraction *= step;
        if (step - 1.0).abs() < PRECISION {
            break;
        }
    }
    let upper = front * fraction;
    (1.0 - upper, upper)
}

/// Probability of a standard normal value below `z`, with its relative accuracy for `z <= 0`.
pub(super) fn normal_below(z: f64) -> f64 {
    let (lower, upper) = gamma_tails(0.5, 0.5 * z * z);
    if z <= 0.0 {
        0.5 * upper
    } else {
        0.5 + 0.5 * lower
    }
}

/// Density of the standard normal.
pub(super) fn normal_density(z: f64) -> f64 {
    // 1 / sqrt(2 pi)
    0.398_942_280_401_432_7 * exp(-0.5 * z * z)
}

/// `ln B(a, b)`
pub(super) fn ln_beta(a: f64, b: f64) -> f64 {
    ln_gamma(a) + ln_gamma(b) - ln_gamma(a + b)
}

/// Probability of a beta value below `x`, given `1 - x` and `ln x`, `ln(1 - x)` and `ln B(a, b)`.
pub(super) fn beta_below(a: f64, b: f64, x: &Share, ln_beta: f64) -> f64 {
    let front = exp(a * x.ln + b * x.ln_rest - ln_beta);
    if x.value < (a + 1.0) / (a + b + 2.0) {
        front * beta_fraction(a, b, x.value) / a
    } else {
        1.0 - front * beta_fraction(b, a, x.rest) / b
    }
}

/// A share and what is left of the whole, each with its own precision.
#[derive(Debug, Clone, Copy)]
pub(super) struct Share {
    pub value: f64,
    pub rest: f64,
    pub ln: f64,
    pub ln_rest: f64,
}

impl Share {
    /// The share of this logarithm, which is below zero.
    pub fn of_ln(logarithm: f64) -> Share {
        let value = exp(logarithm);
        let rest = if logarithm > -0.5 {
            -exp_less_one(logarithm)
        } else {
            1.0 - value
        };
        Share {
            value,
            rest,
            ln: logarithm,
            ln_rest: if value < 0.1 {
                ln_one_less(value)
            } else {
                ln(rest.max(TINY))
            },
        }
    }
}

/// `e^x - 1` for `-0.5 <= x <= 0`, with relative accuracy.
fn exp_less_one(x: f64) -> f64 {
    let mut sum = 0.0;
    for n in (1..=18).rev() {
        sum = (1.0 + sum) * x / f64::from(n);
    }
    sum
}

/// `ln(1 - x)` for `0 <= x < 0.1`, with relative accuracy.
fn ln_one_less(x: f64) -> f64 {
    let mut sum = 0.0;
    for n in (1..=17).rev() {
        sum = x * (1.0 / f64::from(n) + sum);
    }
    -sum
}

fn beta_fraction(a: f64, b: f64, x: f64) -> f64 {
    let (sum, above, below) = (a + b, a + 1.0, a - 1.0);
    let mut c = 1.0;
    let mut d = 1.0 / apart(1.0 - sum * x / above);
    let mut fraction = d;
    for m in 1..TERMS_MAX {
        let m = m as f64;
        let twice = 2.0 * m;
        let even = m * (b - m) * x / ((below + twice) * (a + twice));
        d = 1.0 / apart(1.0 + even * d);
        c = apart(1.0 + even / c);
        fraction *= d * c;
        let odd = -(a + m) * (sum + m) * x / ((a + twice) * (above + twice));
        d = 1.0 / apart(1.0 + odd * d);
        c = apart(1.0 + odd / c);
        let step = d * c;
        fraction *= step;
        if (step - 1.0).abs() < PRECISION {
            break;
        }
    }
    fraction
}

fn apart(value: f64) -> f64 {
    if value.abs() < TINY { TINY } else { value }
}

#[cfg(test)]
mod tests {
    use super::*;
    use statrs::distribution::{Beta, ContinuousCDF};
    use statrs::function::gamma as reference;

    fn close(found: f64, expected: f64, relative: f64) {
        assert!(
            (found - expected).abs() <= relative * expected.abs().max(1e-300),
            "{found} is not {expected} within {relative}"
        );
    }

    /// Γ(1/2) = sqrt(pi), Γ(5) = 24: any textbook. The rest against statrs.
    #[test]
    fn gamma_at_known_places() {
        close(ln_gamma(0.5), 0.572_364_942_924_700_1, 1e-14);
        close(ln_gamma(5.0), 24f64.ln(), 1e-14);
        for x in [0.1, 1.5, 9.9, 10.1, 333.3] {
            close(ln_gamma(x), reference::ln_gamma(x), 1e-13);
        }
    }

    #[test]
    fn tails_agree_with_statrs() {
        for (a, x) in [
            (0.5, 0.01),
            (0.5, 8.0),
            (2.5, 2.0),
            (14.5, 30.0),
            (50.0, 40.0),
        ] {
            let (lower, upper) = gamma_tails(a, x);
            close(lower, reference::gamma_lr(a, x), 1e-12);
            close(upper, reference::gamma_ur(a, x), 1e-11);
        }
        for (a, b, x) in [(80.0, 20.0, 0.75f64), (0.5, 30.5, 0.02), (3.0, 2.0, 0.9)] {
            let found = beta_below(a, b, &Share::of_ln(x.ln()), ln_beta(a, b));
            close(found, Beta::new(a, b).unwrap().cdf(x), 1e-11);
        }
    }

    /// Phi(-1.96) and Phi(-8) of printed tables: 0.0249979 and 6.22096e-16.
    #[test]
    fn the_normal_tail_keeps_its_digits() {
        close(normal_below(-1.96), 0.024_997_895_148_220_4, 1e-12);
        close(normal_below(-8.0), 6.220_960_574_271_784e-16, 1e-12);
        close(normal_below(1.0), 0.841_344_746_068_542_9, 1e-14);
    }
}
