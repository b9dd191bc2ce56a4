//! Quantile functions without a closed form, tabled once and read by quintic interpolation.
//!
//! A curve gives the quantile as a function of the normal quantile `z` of the same probability,
//! in which it is smooth to the far tails. Between the nodes, 1/16 apart from -8.5 to 8.5, runs
//! the polynomial that meets value, slope and bend at both ends: its own error is
//! `h^6 / 46080` (1.3e-12) times the sixth derivative.

use super::elementary::{TO_WHOLE, exp};
use super::gamma::{
    Share, beta_below, gamma_tails, ln_beta, ln_gamma, normal_below, normal_density,
};
use super::{LANES, Lanes};

const PER_UNIT: f64 = 16.0;
const STEP: f64 = 1.0 / PER_UNIT;
/// Nodes on either side of zero.
const SIDE: usize = 136;
const CELLS: usize = 512;
const NEWTON_MAX: usize = 60;
/// Each step of Newton squares the error: one as small as this has left none.
const NEAR: f64 = 1e-7;

/// A tabled curve: six coefficients for each cell, the constant first.
#[derive(Debug, Clone)]
pub(super) struct Curve {
    cells: Box<[Cell; CELLS]>,
}

/// Six coefficients in one line of the processor's cache.
#[derive(Debug, Clone, Copy, Default)]
#[repr(align(64))]
struct Cell([f64; 6]);

/// Value, slope and bend at a node.
#[derive(Debug, Clone, Copy, Default)]
struct Knot {
    value: f64,
    slope: f64,
    bend: f64,
}

impl Curve {
    /// Quantiles of the beta distribution.
    pub fn beta(a: f64, b: f64) -> Curve {
        let lower = beta_side(a, b);
        let upper = beta_side(b, a);
        let mirrored = |knot: &Knot| Knot {
            value: 1.0 - knot.value,
            slope: knot.slope,
            bend: -knot.bend,
        };
        Curve::of(
            lower.iter().rev().copied(),
            upper.iter().skip(1).map(mirrored),
        )
    }

    /// `ln(chi^2 / df)` of the chi-square distribution.
    pub fn chi_square(degrees_of_freedom: f64) -> Curve {
        let lower = chi_square_side(degrees_of_freedom, -1.0);
        let upper = chi_square_side(degrees_of_freedom, 1.0);
        Curve::of(lower.iter().rev().copied(), upper.iter().skip(1).copied())
    }

    /// `below` ascends to the node at zero, `above` goes on from there.
    fn of(below: impl Iterator<Item = Knot>, above: impl Iterator<Item = Knot>) -> Curve {
        let knots: Vec<Knot> = below.chain(above).collect();
        let mut cells = Box::new([Cell::default(); CELLS]);
        for (cell, pair) in cells.iter_mut().zip(knots.windows(2)) {
            let [left, right] = pair else { continue };
            *cell = Cell(quintic(left, right));
        }
        Curve { cells }
    }

    /// The curve at `z`.
    #[inline(always)]
    pub fn at(&self, z: f64) -> f64 {
        let place = (z + SIDE as f64 * STEP) * PER_UNIT;
        let shifted = (place - 0.5) + TO_WHOLE;
        let t = place - (shifted - TO_WHOLE);
        let cell = (shifted.to_bits() & (CELLS as u64 - 1)) as usize;
        let Cell([c0, c1, c2, c3, c4, c5]) = self.cells[cell];
        ((((c5 * t + c4) * t + c3) * t + c2) * t + c1) * t + c0
    }

    /// The curve at every `z`, in place.
    #[inline(always)]
    pub fn fill(&self, values: &mut Lanes) {
        for value in &mut values.0[..LANES] {
            *value = self.at(*value);
        }
    }
}

/// Coefficients in `t` from 0 to 1 of the polynomial that meets both knots.
fn quintic(left: &Knot, right: &Knot) -> [f64; 6] {
    let (d0, d1) = (left.slope * STEP, right.slope * STEP);
    let (s0, s1) = (left.bend * STEP * STEP, right.bend * STEP * STEP);
    let rise = right.value - left.value;
    [
        left.value,
        d0,
        0.5 * s0,
        10.0 * rise - 6.0 * d0 - 4.0 * d1 - 1.5 * s0 + 0.5 * s1,
        -15.0 * rise + 8.0 * d0 + 7.0 * d1 + 1.5 * s0 - s1,
        6.0 * rise - 3.0 * (d0 + d1) + 0.5 * (s1 - s0),
    ]
}

/// Knots from `z = 0` down to the far lower tail.
fn beta_side(a: f64, b: f64) -> Vec<Knot> {
    let constant = ln_beta(a, b);
    let mut logarithm = beta_median_ln(a, b, constant);
    let mut knots = Vec::with_capacity(SIDE + 1);
    for node in 0..=SIDE {
        let z = -(node as f64) * STEP;
        let wanted = normal_below(z);
        let mut share = Share::of_ln(logarithm);
        let mut slope_ln = 0.0;
        for _ in 0..NEWTON_MAX {
            let below = beta_below(a, b, &share, constant);
            // x f(x) / F(x), the slope of ln F in ln x
            let density = exp(a * share.ln + (b - 1.0) * share.ln_rest - constant);
            let step = (super::elementary::ln(below.max(1e-300)) - super::elementary::ln(wanted))
                * below
                / density;
            if !step.is_finite() {
                break;
            }
            logarithm = (logarithm - step).min(logarithm * 0.5).max(-690.0);
            share = Share::of_ln(logarithm);
            slope_ln = density;
            if step.abs() <= NEAR * (1.0 + logarithm.abs()) {
                break;
            }
        }
        if logarithm <= -689.0 || slope_ln <= 0.0 {
            // Nothing is left of the share; it stays at zero further out.
            knots.push(Knot::default());
            continue;
        }
        // x' = phi(z) / f(x); with y = ln x, y' = phi(z) / (x f(x)).
        let density = exp(a * share.ln + (b - 1.0) * share.ln_rest - constant);
        let slope_ln = normal_density(z) / density;
        let slope = share.value * slope_ln;
        let bend = slope * (-z - slope_ln * ((a - 1.0) - (b - 1.0) * share.value / share.rest));
        knots.push(Knot {
            value: share.value,
            slope,
            bend,
        });
        // The next node's first guess.
        let bend_ln = bend / share.value - slope_ln * slope_ln;
        let guess = logarithm - STEP * slope_ln + 0.5 * STEP * STEP * bend_ln;
        logarithm = guess.min(logarithm * 0.5).max(-690.0);
    }
    knots
}

fn beta_median_ln(a: f64, b: f64, constant: f64) -> f64 {
    let (mut low, mut high) = (-690.0, -1e-17);
    for _ in 0..70 {
        let middle = 0.5 * (low + high);
        if beta_below(a, b, &Share::of_ln(middle), constant) < 0.5 {
            low = middle;
        } else {
            high = middle;
        }
    }
    0.5 * (low + high)
}

/// Knots from `z = 0` outward, downward for `side = -1` and upward for `side = 1`.
fn chi_square_side(degrees_of_freedom: f64, side: f64) -> Vec<Knot> {
    let half = 0.5 * degrees_of_freedom;
    let constant = ln_gamma(half);
    // Wilson and Hilferty's cube is near enough to start from.
    let ninth = 2.0 / (9.0 * degrees_of_freedom);
    let mut y = 3.0 * super::elementary::ln((1.0 - ninth).max(0.05));
    let mut knots = Vec::with_capacity(SIDE + 1);
    for node in 0..=SIDE {
        let z = side * node as f64 * STEP;
        let wanted = normal_below(-(node as f64) * STEP);
        let mut scaled = half * exp(y);
        for _ in 0..NEWTON_MAX {
            let (lower, upper) = gamma_tails(half, scaled);
            let tail = if side < 0.0 { lower } else { upper };
            let density = exp(half * super::elementary::ln(scaled) - scaled - constant);
            let step = (super::elementary::ln(tail.max(1e-300)) - super::elementary::ln(wanted))
                * tail
                / density;
            if !step.is_finite() {
                break;
            }
            y += side * step.clamp(-2.0, 2.0);
            scaled = half * exp(y);
            if step.abs() <= NEAR * (1.0 + y.abs()) {
                break;
            }
        }
        let density = exp(half * super::elementary::ln(scaled) - scaled - constant);
        let slope = normal_density(z) / density;
        let bend = slope * (-z - slope * (half - scaled));
        knots.push(Knot {
            value: y,
            slope,
            bend,
        });
        y += side * STEP * slope;
    }
    knots
}

#[cfg(test)]
mod tests {
    use super::*;
    use statrs::distribution::{Beta, ChiSquared, ContinuousCDF};

    fn worst(curve: &Curve, exact: impl Fn(f64) -> f64) -> f64 {
        let mut worst = 0.0f64;
        for step in -130..=130 {
            let z = f64::from(step) * 0.03125 + 0.013;
            worst = worst.max((curve.at(z) - exact(z)).abs());
        }
        worst
    }

    #[test]
    fn beta_quantiles_put_back_into_the_distribution_give_the_probability() {
        for (a, b) in [
            (80.0, 20.0),
            (30.5, 20.5),
            (0.5, 30.5),
            (2.0, 1.0),
            (900.0, 100.0),
        ] {
            let reference = Beta::new(a, b).unwrap();
            let curve = Curve::beta(a, b);
            for step in -130..=130 {
                let z = f64::from(step) * 0.03125 + 0.013;
                let p = normal_below(z);
                let found = reference.cdf(curve.at(z).clamp(0.0, 1.0));
                assert!((found - p).abs() < 1e-10, "{a} {b} {z}: {found}, not {p}");
            }
        }
    }

    /// Beta(2, 1) has F(x) = x^2; chi-square of 2 degrees has F(x) = 1 - exp(-x/2).
    #[test]
    fn curves_with_a_closed_form_come_out() {
        let apart = worst(&Curve::beta(2.0, 1.0), |z| normal_below(z).sqrt());
        assert!(apart < 2e-12, "{apart}");
        let apart = worst(&Curve::chi_square(2.0), |z| (-normal_below(-z).ln()).ln());
        assert!(apart < 1e-11, "{apart}");
    }

    #[test]
    fn chi_square_quantiles_put_back_give_the_probability() {
        for df in [1.0, 1.7, 4.0, 29.0, 199.0, 4999.0] {
            let reference = ChiSquared::new(df).unwrap();
            let curve = Curve::chi_square(df);
            for step in -65..=65 {
                let z = f64::from(step) * 0.0625 + 0.013;
                let found = reference.cdf(df * curve.at(z).exp());
                let p = normal_below(z);
                assert!((found - p).abs() < 1e-10, "{df} {z}: {found}, not {p}");
            }
        }
    }
}
