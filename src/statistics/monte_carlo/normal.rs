//! Quantiles of the normal distribution: algorithm AS 241.
//!
//! Wichura, M. J. (1988): The percentage points of the normal distribution. Applied Statistics
//! 37, 477-484; PPND16, about 1 part in 10^16 (coefficients MEMORY, held against SciPy in the tests).

use super::elementary::ln;
use super::{LANES, Lanes};

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

#[inline(always)]
fn ratio(above: &[f64; 8], below: &[f64; 8], r: f64) -> f64 {
    let (mut over, mut under) = (above[0], below[0]);
    for place in 1..8 {
        over = over * r + above[place];
        under = under * r + below[place];
    }
    over / under
}

#[inline(always)]
fn centre(q: f64) -> f64 {
    q * ratio(&CENTRE_ABOVE, &CENTRE_BELOW, 0.180625 - q * q)
}

/// The quantile outside the centre; `q` is the probability less one half.
#[inline(always)]
fn near_tail(p: f64, q: f64) -> (f64, f64) {
    let outside = if q < 0.0 { p } else { 1.0 - p };
    let r = (-ln(outside)).sqrt();
    (r, ratio(&TAIL_ABOVE, &TAIL_BELOW, r - 1.6))
}

/// The `z` below which a standard normal value falls with probability `p`, for `0 < p < 1`.
#[inline(always)]
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

/// Turns probabilities into normal quantiles in place.
///
/// The centre is computed for all; the few outside it are gathered, computed together and put
/// back, so that both loops are vectorised. The results are those of [`quantile`], bit for bit.
#[inline(always)]
pub(super) fn fill(values: &mut Lanes, places: &mut [u16; LANES], tail: &mut Lanes) {
    let mut outside = 0;
    for (place, value) in values.0.iter_mut().enumerate() {
        let p = *value;
        // Every place is written; only those outside are kept.
        places[outside & (LANES - 1)] = place as u16;
        tail.0[outside & (LANES - 1)] = p;
        outside += usize::from((p - 0.5).abs() > 0.425);
    }
    let outside = outside.min(LANES);
    let whole = outside.next_multiple_of(8).min(LANES);
    tail.0[outside..whole].fill(0.05);
    let mut far = 0u64;
    for value in &mut tail.0[..whole] {
        let (p, q) = (*value, *value - 0.5);
        let (r, near) = near_tail(p, q);
        far += u64::from(r > 5.0);
        *value = if q < 0.0 { -near } else { near };
    }
    if far > 0 {
        // About one draw in 10^11.
        for (place, z) in places[..outside].iter().zip(&mut tail.0) {
            *z = quantile(values.0[usize::from(*place) & (LANES - 1)]);
        }
    }
    for value in &mut values.0 {
        *value = centre(*value - 0.5);
    }
    for (place, z) in places[..outside].iter().zip(&tail.0) {
        let value = &mut values.0[usize::from(*place) & (LANES - 1)];
        *value = *z;
    }
}
