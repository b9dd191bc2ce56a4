//! `exp` and `ln` from plain arithmetic, so that every platform draws the same bits.
//!
//! The library functions of a platform may differ in their last bit from release to release;
//! addition, multiplication, division and square root may not (IEEE 754). Both functions are
//! free of branches, so that a loop over them is vectorised.

/// 1.5 * 2^52: added to a small number, it leaves the nearest whole number in the lowest bits.
pub(super) const TO_WHOLE: f64 = 6_755_399_441_055_744.0;

const LN_2_HIGH: f64 = 6.931_471_803_691_238e-1;
const LN_2_LOW: f64 = 1.908_214_929_270_587_7e-10;

/// 1 / n! for n from 12 down to 2.
const INVERSE_FACTORIALS: [f64; 11] = [
    1.0 / 479_001_600.0,
    1.0 / 39_916_800.0,
    1.0 / 3_628_800.0,
    1.0 / 362_880.0,
    1.0 / 40_320.0,
    1.0 / 5_040.0,
    1.0 / 720.0,
    1.0 / 120.0,
    1.0 / 24.0,
    1.0 / 6.0,
    0.5,
];

/// Where [`exp`] neither overflows nor vanishes.
pub(super) const EXP_INSIDE: std::ops::RangeInclusive<f64> = -708.0..=709.0;

/// `e^x` to about 2 units in the last place; infinite above 709, zero below -708.
#[inline(always)]
pub(super) fn exp(x: f64) -> f64 {
    let inside = if x < -708.0 { -708.0 } else { x };
    let inside = if inside > 709.0 { 709.0 } else { inside };
    let found = exp_inside(inside);
    let found = if x < -708.0 { 0.0 } else { found };
    if x > 709.0 { f64::INFINITY } else { found }
}

/// As [`exp`], bit for bit, for what is known to lie in [`EXP_INSIDE`].
#[inline(always)]
pub(super) fn exp_inside(x: f64) -> f64 {
    let shifted = x * std::f64::consts::LOG2_E + TO_WHOLE;
    let power = shifted - TO_WHOLE;
    let rest = (x - power * LN_2_HIGH) - power * LN_2_LOW;
    let mut series = INVERSE_FACTORIALS[0];
    for coefficient in &INVERSE_FACTORIALS[1..] {
        series = series * rest + coefficient;
    }
    let near_one = 1.0 + (rest + rest * rest * series);
    // The lowest bits of `shifted` are the power of two, in two's complement.
    let scale = f64::from_bits((shifted.to_bits() << 52).wrapping_add(1023 << 52));
    near_one * scale
}

/// Coefficients of the series in `(m - 1) / (m + 1)`: a minimax fit published with Sun's freely
/// distributable mathematical library (1993, function `log`); MEMORY, held against `ln` in the tests.
const LN_SERIES: [f64; 7] = [
    1.479_819_860_511_658_6e-1,
    1.531_383_769_920_937_3e-1,
    1.818_357_216_161_805e-1,
    2.222_219_843_214_978_4e-1,
    2.857_142_874_366_239e-1,
    3.999_999_999_940_942e-1,
    6.666_666_666_666_735e-1,
];

const SQRT_HALF_BITS: u64 = 0x3fe6_a09e_0000_0000;
const MANTISSA: u64 = (1 << 52) - 1;

/// Natural logarithm of a positive normal number, to about 1 unit in the last place.
///
/// Zero, subnormal and negative numbers are the caller's to avoid.
#[inline(always)]
pub(super) fn ln(x: f64) -> f64 {
    let biased = x.to_bits().wrapping_add((1023 << 52) - SQRT_HALF_BITS);
    let exponent = f64::from_bits(TO_WHOLE.to_bits() + (biased >> 52)) - (TO_WHOLE + 1023.0);
    let m = f64::from_bits((biased & MANTISSA) + SQRT_HALF_BITS);
    let f = m - 1.0;
    let s = f / (2.0 + f);
    let square = s * s;
    let mut series = LN_SERIES[0];
    for coefficient in &LN_SERIES[1..] {
        series = series * square + coefficient;
    }
    let half_square = 0.5 * f * f;
    let tail = s * (half_square + series * square);
    exponent * LN_2_HIGH - ((half_square - (tail + exponent * LN_2_LOW)) - f)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The platform's own functions are the reference: they are good to a unit in the last place.
    #[test]
    fn exp_and_ln_agree_with_the_platform() {
        let mut worst = (0.0f64, 0.0f64);
        for step in -70_000..70_900 {
            let x = f64::from(step) * 0.01;
            let (found, wanted) = (exp(x), x.exp());
            worst.0 = worst.0.max((found / wanted - 1.0).abs());
            let y = wanted * 1.37;
            worst.1 = worst.1.max((ln(y) - y.ln()).abs() / y.ln().abs().max(1.0));
        }
        assert!(worst.0 < 5e-16 && worst.1 < 5e-16, "{worst:?}");
    }

    #[test]
    fn the_ends_are_zero_and_infinity() {
        assert_eq!(exp(-800.0), 0.0);
        assert_eq!(exp(800.0), f64::INFINITY);
        assert_eq!(exp(0.0), 1.0);
        assert_eq!(ln(1.0), 0.0);
    }
}
