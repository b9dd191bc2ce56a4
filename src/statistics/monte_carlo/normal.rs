//! Quantiles of the normal distribution: algorithm AS 241.
//!
//! Wichura, M. J. (1988): The percentage points of the normal distribution. Applied Statistics
//! 37, 477-484; PPND16, about 1 part in 10^16 (coefficients MEMORY, held against SciPy in the tests).

use super::Lanes;
use super::elementary::ln;
use super::table::{Cell, FITTED, Places, fitted, read};
use std::sync::LazyLock;

const CENTRE_ABOVE: [f64; 8] = [
    2509.0809287301227,
    33430.57558358813,
    67265.7709270087,
    45921.95393154987,
    13731.69376550946,
    1971.5909503065513,
    133.14166789178438,
    3.3871328727963665,
];
const CENTRE_BELOW: [f64; 8] = [
    5226.495278852854,
    28729.085735721943,
    39307.89580009271,
    21213.794301586597,
    5394.196021424751,
    687.1870074920579,
    42.31333070160091,
    1.0,
];
const TAIL_ABOVE: [f64; 8] = [
    0.0007745450142783414,
    0.022723844989269184,
    0.2417807251774506,
    1.2704582524523684,
    3.6478483247632045,
    5.769497221460691,
    4.630337846156546,
    1.4234371107496835,
];
const TAIL_BELOW: [f64; 8] = [
    1.0507500716444169e-09,
    0.0005475938084995345,
    0.015198666563616457,
    0.14810397642748008,
    0.6897673349851,
    1.6763848301838038,
    2.053191626637759,
    1.0,
];
const FAR_ABOVE: [f64; 8] = [
    2.0103343992922881e-07,
    2.7115555687434876e-05,
    0.0012426609473880784,
    0.026532189526576124,
    0.29656057182850487,
    1.7848265399172913,
    5.463784911164114,
    6.657904643501103,
];
const FAR_BELOW: [f64; 8] = [
    2.0442631033899397e-15,
    1.421511758316446e-07,
    1.8463183175100548e-05,
    0.0007868691311456133,
    0.014875361290850615,
    0.1369298809227358,
    0.599832206555888,
    1.0,
];

fn ratio(above: &[f64; 8], below: &[f64; 8], r: f64) -> f64 {
    let (mut over, mut under) = (above[0], below[0]);
    for place in 1..8 {
        over = over * r + above[place];
        under = under * r + below[place];
    }
    over / under
}

fn centre(q: f64) -> f64 {
    q * ratio(&CENTRE_ABOVE, &CENTRE_BELOW, 0.180625 - q * q)
}

/// The quantile outside the centre; `q` is the probability less one half.
fn near_tail(p: f64, q: f64) -> (f64, f64) {
    let outside = if q < 0.0 { p } else { 1.0 - p };
    let r = (-ln(outside)).sqrt();
    (r, ratio(&TAIL_ABOVE, &TAIL_BELOW, r - 1.6))
}

/// The `z` below which a standard normal value falls with probability `p`, for `0 < p < 1`.
pub(super) fn quantile(p: f64) -> f64 {
    let q = p - 0.5;
    if q.abs() <= 0.425 {
        return centre(q);
    }
    let (r, near) = near_tail(p, q);
    let size = if r <= 5.0 {
        near
    } else {
        ratio(&FAR_ABOVE, &FAR_BELOW, r - 5.0)
    };
    if q < 0.0 { -size } else { size }
}

/// The quantile of the probabilities of one tail, by octaves: between two powers of two run
/// sixty-four polynomials of degree five, so that the error is the same everywhere, below 1 part in 10^14.
#[derive(Debug)]
pub(super) struct Tail {
    cells: Box<[Cell<FITTED>; CELLS]>,
}

/// Cells of an octave.
const PER_OCTAVE: u64 = 64;
const OCTAVES: u64 = 64;
const CELLS: usize = (PER_OCTAVE * OCTAVES) as usize;
/// Bits of a fraction below those that name its cell.
const BELOW_CELL: u32 = 46;
const EXPONENT_OF_ONE: u64 = 1023;
/// The number of the first cell among all of a double's upper bits.
const FIRST: u64 = (EXPONENT_OF_ONE - OCTAVES + 1) * PER_OCTAVE;
/// The middle of the first cell of the octave above one, and half its width.
const MIDDLE: f64 = 1.0 + REACH;
const REACH: f64 = 0.5 / PER_OCTAVE as f64;
/// Probabilities are never below it: half a unit in the last place of one.
const LEAST: f64 = f64::EPSILON / 4.0;
/// No drawn normal value lies farther from zero: that of [`LEAST`] does not.
pub(super) const FARTHEST: f64 = 8.5;

/// The table is the same for all normals: made once.
pub(super) static TAIL: LazyLock<Tail> = LazyLock::new(|| {
    let mut cells = Box::new([Cell::default(); CELLS]);
    for (number, cell) in (FIRST..).zip(cells.iter_mut()) {
        let from = f64::from_bits(number << BELOW_CELL);
        let octave = f64::from_bits((number / PER_OCTAVE * PER_OCTAVE) << BELOW_CELL);
        if from < 1.0 - REACH {
            *cell = fitted(REACH, |t| -quantile(from + (t + REACH) * octave));
        }
    }
    Tail { cells }
});

impl Tail {
    /// Turns probabilities into `map` of their normal quantiles, in place.
    #[inline(always)]
    pub fn fill(&self, values: &mut Lanes, places: &mut Places, map: impl Fn(f64) -> f64) {
        for ((value, cell), onward) in values
            .0
            .iter()
            .zip(&mut places.cells)
            .zip(&mut places.onward.0)
        {
            let (p, rest) = (*value, 1.0 - *value);
            let tail = if p < rest { p } else { rest };
            let tail = if tail < LEAST { LEAST } else { tail };
            let bits = tail.to_bits();
            *cell = ((bits >> BELOW_CELL) as u32).wrapping_sub(FIRST as u32);
            let inside = (bits & ((1 << BELOW_CELL) - 1)) | (EXPONENT_OF_ONE << 52);
            *onward = f64::from_bits(inside) - MIDDLE;
        }
        let mut sizes = Lanes::default();
        read(&self.cells, places, &mut sizes.0);
        for (value, size) in values.0.iter_mut().zip(&sizes.0) {
            *value = map(if *value < 0.5 { -size } else { *size });
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::statistics::monte_carlo::LANES;

    /// Every cell at four places, and the ends.
    #[test]
    fn the_table_gives_the_quantiles_of_the_algorithm() {
        let mut worst = 0.0f64;
        let mut places = Places::default();
        for number in FIRST + 9 * PER_OCTAVE..(EXPONENT_OF_ONE - 1) * PER_OCTAVE {
            let from = number << BELOW_CELL;
            let inside = [0, 1 << 44, 0x1abc_def0_1234, (1 << BELOW_CELL) - 1];
            let tails = inside.map(|bits| f64::from_bits(from | bits));
            let mut lanes = Lanes::of([0.5; LANES]);
            lanes.0[..4].copy_from_slice(&tails);
            lanes.0[4..8].copy_from_slice(&tails.map(|p| 1.0 - p));
            let wanted = lanes.0.map(|p| {
                if p < 1.0 {
                    quantile(p)
                } else {
                    -quantile(LEAST)
                }
            });
            TAIL.fill(&mut lanes, &mut places, |z| z);
            for (found, wanted) in lanes.0.iter().zip(&wanted) {
                worst = worst.max((found - wanted).abs() / wanted.abs().max(1.0));
            }
        }
        assert!(worst < 4e-15, "{worst}");
    }
}
