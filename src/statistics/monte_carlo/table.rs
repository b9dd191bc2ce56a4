//! Piecewise polynomials: how they are fitted and how they are read.

use super::{LANES, Lanes};

/// Coefficients of one piece, the constant first. Their number is even.
#[derive(Debug, Clone, Copy)]
#[repr(align(16))]
pub(super) struct Cell<const N: usize>(pub [f64; N]);

impl<const N: usize> Default for Cell<N> {
    fn default() -> Self {
        Cell([0.0; N])
    }
}

/// Where each of the lanes is found in a table: the cell, and how far into it.
#[derive(Debug)]
pub(super) struct Places {
    pub cells: [u32; LANES],
    pub onward: Lanes,
}

impl Default for Places {
    fn default() -> Self {
        Places {
            cells: [0; LANES],
            onward: Lanes::default(),
        }
    }
}

/// Reads every place; the number of cells must be a power of two.
#[inline(always)]
pub(super) fn read<const N: usize, const CELLS: usize>(
    table: &[Cell<N>; CELLS],
    places: &Places,
    values: &mut [f64; LANES],
) {
    #[cfg(target_arch = "x86_64")]
    if is_x86_feature_detected!("avx2") {
        // SAFETY: the processor has what the function is compiled for.
        return unsafe { x86::read_fours(table, places, values) };
    }
    read_singly(table, places, values);
}

/// Never inlined into the loops over wide registers: lines fetched one after the other come
/// sooner than their parts gathered lane by lane.
#[inline(never)]
fn read_singly<const N: usize, const CELLS: usize>(
    table: &[Cell<N>; CELLS],
    places: &Places,
    values: &mut [f64; LANES],
) {
    for ((value, cell), t) in values.iter_mut().zip(&places.cells).zip(&places.onward.0) {
        let Cell(c) = &table[*cell as usize & (CELLS - 1)];
        let t = *t;
        let mut sum = c[N - 1];
        for coefficient in c[..N - 1].iter().rev() {
            sum = sum * t + coefficient;
        }
        *value = sum;
    }
}

#[cfg(target_arch = "x86_64")]
mod x86 {
    use super::{Cell, LANES, Places};
    use std::arch::x86_64::*;

    /// As one by one, bit for bit: four cells are loaded in halves of a register and turned, so
    /// that each register holds the same coefficient of all four.
    #[target_feature(enable = "avx2")]
    #[inline(never)]
    pub(super) fn read_fours<const N: usize, const CELLS: usize>(
        table: &[Cell<N>; CELLS],
        places: &Places,
        values: &mut [f64; LANES],
    ) {
        let (values, _) = values.as_chunks_mut::<4>();
        let (cells, _) = places.cells.as_chunks::<4>();
        let (onward, _) = places.onward.0.as_chunks::<4>();
        for ((value, cells), [t0, t1, t2, t3]) in values.iter_mut().zip(cells).zip(onward) {
            let [a, b, c, d] = cells.map(|cell| &table[cell as usize & (CELLS - 1)].0);
            let t = _mm256_setr_pd(*t0, *t1, *t2, *t3);
            let mut sum = _mm256_setzero_pd();
            for pair in (0..N / 2).rev() {
                let two = |cell: &[f64; N]| _mm_setr_pd(cell[2 * pair], cell[2 * pair + 1]);
                let first = _mm256_setr_m128d(two(a), two(c));
                let second = _mm256_setr_m128d(two(b), two(d));
                let odd = _mm256_unpackhi_pd(first, second);
                sum = if pair == N / 2 - 1 {
                    odd
                } else {
                    _mm256_add_pd(_mm256_mul_pd(sum, t), odd)
                };
                let even = _mm256_unpacklo_pd(first, second);
                sum = _mm256_add_pd(_mm256_mul_pd(sum, t), even);
            }
            // SAFETY: `value` has room for four.
            unsafe { _mm256_storeu_pd(value.as_mut_ptr(), sum) };
        }
    }
}

/// Coefficients of a piece that is [`fitted`].
pub(super) const FITTED: usize = 6;

/// `cos(pi (2 j + 1) / 12)`: the roots of the sixth Chebyshev polynomial.
const ROOTS: [f64; FITTED] = [
    0.965_925_826_289_068_3,
    std::f64::consts::FRAC_1_SQRT_2,
    0.258_819_045_102_520_74,
    -0.258_819_045_102_520_74,
    -std::f64::consts::FRAC_1_SQRT_2,
    -0.965_925_826_289_068_3,
];

/// The polynomial in `t` that meets `f` at the Chebyshev roots of `-reach ..= reach`.
pub(super) fn fitted(reach: f64, f: impl Fn(f64) -> f64) -> Cell<FITTED> {
    let values = ROOTS.map(|root| f(reach * root));
    // Each Chebyshev polynomial follows from the two before it, at the roots and as powers of t.
    let (mut before, mut at) = ([0.0; FITTED], [1.0; FITTED]);
    let (mut powers_before, mut powers) = ([0.0; FITTED], [0.0; FITTED]);
    powers[0] = 1.0;
    let mut sum = [0.0; FITTED];
    for degree in 0..FITTED {
        let twice: f64 = values.iter().zip(&at).map(|(value, t)| value * t).sum();
        let count = FITTED as f64;
        let weight = twice / if degree == 0 { count } else { count / 2.0 };
        for (sum, power) in sum.iter_mut().zip(&powers) {
            *sum += weight * power;
        }
        // T1 = t, and T(n+1) = 2 t T(n) - T(n-1).
        let factor = if degree == 0 { 1.0 } else { 2.0 };
        let next = std::array::from_fn(|j| factor * ROOTS[j] * at[j] - before[j]);
        (before, at) = (at, next);
        let shifted = |power: usize| power.checked_sub(1).map_or(0.0, |lower| powers[lower]);
        let next = std::array::from_fn(|power| factor * shifted(power) - powers_before[power]);
        (powers_before, powers) = (powers, next);
    }
    let mut scale = 1.0;
    for coefficient in &mut sum {
        *coefficient *= scale;
        scale /= reach;
    }
    Cell(sum)
}

/// The polynomial in `t` from 0 to 1 that has the given value and first three derivatives, each
/// divided by the factorial of its order, at both ends.
pub(super) fn between(left: &[f64; 4], right: &[f64; 4]) -> Cell<8> {
    let [a0, a1, a2, a3] = *left;
    // What the cubic of the left end lacks at the right end: value and derivatives.
    let v = right[0] - (a0 + a1 + a2 + a3);
    let d = right[1] - (a1 + 2.0 * a2 + 3.0 * a3);
    let b = 2.0 * right[2] - (2.0 * a2 + 6.0 * a3);
    let e = 6.0 * right[3] - 6.0 * a3;
    Cell([
        a0,
        a1,
        a2,
        a3,
        35.0 * v - 15.0 * d + 2.5 * b - e / 6.0,
        -84.0 * v + 39.0 * d - 7.0 * b + 0.5 * e,
        70.0 * v - 34.0 * d + 6.5 * b - 0.5 * e,
        -20.0 * v + 10.0 * d - 2.0 * b + e / 6.0,
    ])
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at<const N: usize>(cell: &Cell<N>, t: f64) -> f64 {
        cell.0.iter().rev().fold(0.0, |sum, c| sum * t + c)
    }

    /// Four cells at a time give the bits of one at a time: in every cell, at both ends and at the
    /// middle, for zeros of both signs, for what overflows, is infinite or not a number, and for
    /// the numbers of cells beyond the table, which begin anew.
    fn fours_are_singles<const N: usize>() {
        const CELLS: usize = 64;
        #[cfg(target_arch = "x86_64")]
        if is_x86_feature_detected!("avx2") {
            let mut table = [Cell([0.0; N]); CELLS];
            for (number, cell) in table.iter_mut().enumerate() {
                for (power, coefficient) in cell.0.iter_mut().enumerate() {
                    let odd = (number * 2_654_435_761 + power * 40_503) % 1_000_003;
                    *coefficient = (odd as f64 - 500_001.5) * 1.1f64.powi(number as i32 - 30);
                }
            }
            table[3].0 = [-0.0; N];
            table[4].0 = [f64::MAX; N];
            table[5].0[N - 1] = f64::INFINITY;
            table[6].0[0] = f64::NAN;
            table[7].0 = [f64::MIN_POSITIVE / 8.0; N];
            let onward = [0.0, -0.0, 1.0, -0.5, 0.5, 1e-300, 0.3, -1e308, f64::NAN];
            for first in [0, 1, u32::MAX - 5] {
                for t in onward {
                    for turn in 0..4 {
                        let mut places = Places::default();
                        for lane in 0..LANES {
                            places.cells[lane] = first.wrapping_add((lane / 2) as u32);
                            places.onward.0[lane] = t * f64::from((lane + turn) as u32 % 4);
                        }
                        let (mut fours, mut singles) = ([0.0; LANES], [0.0; LANES]);
                        // SAFETY: the processor has what the function is compiled for.
                        unsafe { x86::read_fours(&table, &places, &mut fours) };
                        read_singly(&table, &places, &mut singles);
                        for (found, wanted) in fours.iter().zip(&singles) {
                            let neither = found.is_nan() && wanted.is_nan();
                            assert!(neither || found.to_bits() == wanted.to_bits());
                        }
                    }
                }
            }
            return;
        }
        eprintln!("left out: this machine has no AVX2, so there is nothing to compare");
    }

    #[test]
    fn four_cells_at_a_time_give_the_bits_of_one_at_a_time() {
        fours_are_singles::<FITTED>();
        fours_are_singles::<8>();
    }

    /// A polynomial of the degree of the fit is met exactly, by both kinds of fit.
    #[test]
    fn polynomials_of_the_degree_come_back() {
        let wanted = Cell([3.0, -2.0, 0.5, 1.25, -4.0, 0.75]);
        let fit = fitted(0.5, |t| at(&wanted, t));
        for (found, wanted) in fit.0.iter().zip(&wanted.0) {
            assert!((found - wanted).abs() < 1e-11, "{found} {wanted}");
        }
        let wanted = Cell([3.0, -2.0, 0.5, 1.25, -4.0, 0.75, 2.0, -1.5]);
        let binomial =
            |n: usize, k: usize| (0..k).fold(1.0, |c, i| c * (n - i) as f64 / (i + 1) as f64);
        let end = |k: usize| (k..8).map(|n| binomial(n, k) * wanted.0[n]).sum();
        let left = std::array::from_fn(|k| wanted.0[k]);
        let met = between(&left, &std::array::from_fn(end));
        for (found, wanted) in met.0.iter().zip(&wanted.0) {
            assert!((found - wanted).abs() < 1e-11, "{found} {wanted}");
        }
    }
}
