//! Quantile functions without a closed form, tabled once and read by interpolation.
//!
//! A curve gives the quantile as a function of the normal quantile `z` of the same probability,
//! in which it is smooth to the far tails. Between the nodes, 1/8 apart from -8.5 to 8.5, runs
//! the polynomial that meets the value and three derivatives at both ends: its own error is
//! `h^8 / 10321920` (5.8e-15) times the eighth derivative.

use super::Lanes;
use super::elementary::{TO_WHOLE, exp, ln};
use super::gamma::{
    Share, beta_below, gamma_tails, ln_beta, ln_gamma, normal_below, normal_density,
};
use super::table::{Cell, Places, between, read};

const PER_UNIT: f64 = 8.0;
const STEP: f64 = 1.0 / PER_UNIT;
/// Nodes on either side of zero.
const SIDE: usize = 68;
const CELLS: usize = 256;
/// Terms of a series.
const ORDER: usize = 10;
/// Relative size of the last terms at which a series is taken as complete.
const ENDED: f64 = 1e-14;
/// `ln` of the least share that is told from none.
const LEAST_LN: f64 = -690.0;
/// Halvings of the range of a logarithm before Newton's method begins.
const HALVINGS: usize = 22;
const NEWTON_MAX: usize = 60;
/// Each step of Newton squares the error: one as small as this has left none.
const NEAR: f64 = 1e-7;

/// A tabled curve.
#[derive(Debug, Clone)]
pub(super) struct Curve {
    cells: Box<[Cell<8>; CELLS]>,
}

/// Value and first three derivatives at a node, each times the power of the step and over the
/// factorial of its order.
type Knot = [f64; 4];

impl Curve {
    /// Quantiles of the beta distribution.
    pub fn beta(a: f64, b: f64) -> Curve {
        let lower = beta_side(a, b);
        let upper = beta_side(b, a);
        let mirrored = |knot: &Knot| [1.0 - knot[0], knot[1], -knot[2], knot[3]];
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
            *cell = between(left, right);
        }
        Curve { cells }
    }

    /// The curve at every `z`, in place.
    #[inline(always)]
    pub fn fill(&self, values: &mut Lanes, places: &mut Places) {
        for ((value, cell), onward) in values
            .0
            .iter()
            .zip(&mut places.cells)
            .zip(&mut places.onward.0)
        {
            let place = (*value + SIDE as f64 * STEP) * PER_UNIT;
            let shifted = (place - 0.5) + TO_WHOLE;
            *cell = shifted.to_bits() as u32;
            *onward = place - (shifted - TO_WHOLE);
        }
        read(&self.cells, places, &mut values.0);
    }
}

/// Knots from `z = 0` down to the far lower tail.
///
/// The series at one knot leads to the next; the distribution function itself is only asked
/// where the series has not come to an end, and once per unit of `z` lest its errors add up.
fn beta_side(a: f64, b: f64) -> Vec<Knot> {
    let constant = ln_beta(a, b);
    let mut logarithm = beta_median_ln(a, b, constant);
    let mut sure = false;
    let mut knots = Vec::with_capacity(SIDE + 1);
    for node in 0..=SIDE {
        let z = -(node as f64) * STEP;
        if !sure || node % (PER_UNIT as usize) == 0 {
            logarithm = beta_quantile_ln(a, b, z, logarithm, constant);
        }
        if logarithm <= LEAST_LN + 1.0 {
            // Nothing is left of the share; it stays at zero further out.
            knots.push(Knot::default());
            continue;
        }
        let series = Series::of_beta(a, b, z, &Share::of_ln(logarithm), constant);
        knots.push(series.knot);
        let next;
        (next, sure) = series.logarithm_at(-STEP);
        logarithm = if next.is_finite() { next } else { logarithm };
        logarithm = logarithm.clamp(LEAST_LN, -1e-17);
    }
    knots
}

/// `ln x` of the beta quantile of the normal's `z <= 0`, by Newton's method from a guess.
fn beta_quantile_ln(a: f64, b: f64, z: f64, guess: f64, constant: f64) -> f64 {
    let wanted = ln(normal_below(z));
    let mut logarithm = guess;
    for _ in 0..NEWTON_MAX {
        let share = Share::of_ln(logarithm);
        let below = beta_below(a, b, &share, constant);
        // x f(x) / F(x), the slope of ln F in ln x
        let density = beta_density_ln(a, b, &share, constant);
        let step = (ln(below.max(1e-300)) - wanted) * below / density;
        if !step.is_finite() {
            break;
        }
        logarithm = (logarithm - step).min(logarithm * 0.5).max(LEAST_LN);
        if step.abs() <= NEAR * (1.0 + logarithm.abs()) {
            break;
        }
    }
    logarithm
}

/// Density of `ln x`, which is `x f(x)`.
fn beta_density_ln(a: f64, b: f64, share: &Share, constant: f64) -> f64 {
    exp(a * share.ln + (b - 1.0) * share.ln_rest - constant)
}

/// What the quantile does around one `z`: the Taylor series of its logarithm.
struct Series {
    logarithm: [f64; ORDER],
    knot: Knot,
}

impl Series {
    /// With `y = ln x`, `s = y'` and `g = x / (1 - x)`: `s = phi(z) / (x f(x))`, hence
    /// `s' = s (s ((b - 1) g - a) - z)` and `g' = g (1 + g) s`, and each coefficient follows from
    /// those before it (the power series of Steinbrecher and Shaw 2008, Quantile mechanics,
    /// European Journal of Applied Mathematics 19).
    fn of_beta(a: f64, b: f64, z: f64, share: &Share, constant: f64) -> Series {
        let [mut y, mut s, mut g, mut x, mut q, mut e, mut r] = [[0.0; ORDER]; 7];
        y[0] = share.ln;
        x[0] = share.value;
        g[0] = share.value / share.rest;
        s[0] = normal_density(z) / beta_density_ln(a, b, share, constant);
        for n in 0..ORDER - 1 {
            let next = 1.0 / (n + 1) as f64;
            q[n] = (b - 1.0) * g[n] - if n == 0 { a } else { 0.0 };
            e[n] = product(&s, &q, n) - [z, 1.0].get(n).unwrap_or(&0.0);
            r[n] = product(&g, &s, n);
            y[n + 1] = s[n] * next;
            s[n + 1] = product(&s, &e, n) * next;
            g[n + 1] = (r[n] + product(&g, &r, n)) * next;
            if n < 3 {
                x[n + 1] = product(&x, &s, n) * next;
            }
        }
        let mut scale = 1.0;
        let knot = std::array::from_fn(|power| {
            let scaled = x[power] * scale;
            scale *= STEP;
            scaled
        });
        Series { logarithm: y, knot }
    }

    /// The logarithm this far on, and whether its last terms were too small to matter.
    fn logarithm_at(&self, onward: f64) -> (f64, bool) {
        let (mut power, mut sum, mut last, mut before) = (1.0, 0.0, 0.0, 0.0);
        for coefficient in self.logarithm {
            (before, last) = (last, coefficient * power);
            sum += last;
            power *= onward;
        }
        (
            sum,
            last.abs() + f64::abs(before) <= ENDED * (1.0 + sum.abs()),
        )
    }
}

/// The coefficient of order `n` of the product of two series.
fn product(a: &[f64; ORDER], b: &[f64; ORDER], n: usize) -> f64 {
    let backwards = b.iter().take(n + 1).rev();
    a.iter().zip(backwards).map(|(a, b)| a * b).sum()
}

fn beta_median_ln(a: f64, b: f64, constant: f64) -> f64 {
    let (mut low, mut high) = (LEAST_LN, -1e-17);
    for _ in 0..HALVINGS {
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
    let mut y = 3.0 * ln((1.0 - ninth).max(0.05));
    let mut knots = Vec::with_capacity(SIDE + 1);
    for node in 0..=SIDE {
        let z = side * node as f64 * STEP;
        let wanted = normal_below(-(node as f64) * STEP);
        let mut scaled = half * exp(y);
        for _ in 0..NEWTON_MAX {
            let (lower, upper) = gamma_tails(half, scaled);
            let tail = if side < 0.0 { lower } else { upper };
            let density = exp(half * ln(scaled) - scaled - constant);
            let step = (ln(tail.max(1e-300)) - ln(wanted)) * tail / density;
            if !step.is_finite() {
                break;
            }
            y += side * step.clamp(-2.0, 2.0);
            scaled = half * exp(y);
            if step.abs() <= NEAR * (1.0 + y.abs()) {
                break;
            }
        }
        let density = exp(half * ln(scaled) - scaled - constant);
        let slope = normal_density(z) / density;
        // As for the beta: s' = s m with m = s (x - a) - z, x = e^y df / 2, a = df / 2.
        let apart = scaled - half;
        let m = slope * apart - z;
        let bend = slope * m;
        let m_slope = bend * apart + slope * slope * scaled - 1.0;
        let twist = bend * m + slope * m_slope;
        knots.push([
            y,
            slope * STEP,
            bend * (STEP * STEP / 2.0),
            twist * (STEP * STEP * STEP / 6.0),
        ]);
        y += side * STEP * (slope + side * STEP * (bend / 2.0 + side * STEP * twist / 6.0));
    }
    knots
}

#[cfg(test)]
mod tests {
    use super::*;
    use statrs::distribution::{Beta, ChiSquared, ContinuousCDF};

    fn at(curve: &Curve, z: f64) -> f64 {
        let mut lanes = Lanes::of([z; super::super::LANES]);
        curve.fill(&mut lanes, &mut Places::default());
        lanes.0[0]
    }

    fn worst(curve: &Curve, exact: impl Fn(f64) -> f64) -> f64 {
        let mut worst = 0.0f64;
        for step in -130..=130 {
            let z = f64::from(step) * 0.03125 + 0.013;
            worst = worst.max((at(curve, z) - exact(z)).abs());
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
                let found = reference.cdf(at(&curve, z).clamp(0.0, 1.0));
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
                let found = reference.cdf(df * at(&curve, z).exp());
                let p = normal_below(z);
                assert!((found - p).abs() < 1e-10, "{df} {z}: {found}, not {p}");
            }
        }
    }
}
