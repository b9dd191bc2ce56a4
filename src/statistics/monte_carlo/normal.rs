//! Quantiles of the normal distribution: algorithm AS 241.
//!
//! Wichura, M. J. (1988): The percentage points of the normal distribution. Applied Statistics
//! 37, 477-484; PPND16, about 1 part in 10^16 (coefficients MEMORY, held against SciPy in the tests).

use super::elementary::ln;
use super::{LANES, Lanes};

const CENTRE_ABOVE: [f64; 8] = [
    2.509_080_928_730_122_672_7e3,
    3.343_057_558_358_812_810_5e4,
    6.726_577_092_700_870_085_3e4,
    4.592_195_393_154_987_145_7e4,
    1.373_169_376_550_946_112_5e4,
    1.971_590_950_306_551_442_7e3,
    1.331_416_678_917_843_774_5e2,
    3.387_132_872_796_366_608,
];
const CENTRE_BELOW: [f64; 8] = [
    5.226_495_278_852_854_561e3,
    2.872_908_573_572_194_267_4e4,
    3.930_789_580_009_271_061e4,
    2.121_379_430_158_659_586_7e4,
    5.394_196_021_424_751_107_7e3,
    6.871_870_074_920_579_083e2,
    4.231_333_070_160_091_125_2e1,
    1.0,
];
const TAIL_ABOVE: [f64; 8] = [
    7.745_450_142_783_414_076_4e-4,
    2.272_384_498_926_918_458_33e-2,
    2.417_807_251_774_506_117_7e-1,
    1.270_458_252_452_368_382_58,
    3.647_848_324_763_204_605_04,
    5.769_497_221_460_691_405_5,
    4.630_337_846_156_545_295_9,
    1.423_437_110_749_683_577_34,
];
const TAIL_BELOW: [f64; 8] = [
    1.050_750_071_644_416_843_24e-9,
    5.475_938_084_995_344_946e-4,
    1.519_866_656_361_645_719_66e-2,
    1.481_039_764_274_800_745_9e-1,
    6.897_673_349_851_000_045_5e-1,
    1.676_384_830_183_803_849_4,
    2.053_191_626_637_758_821_87,
    1.0,
];
const FAR_ABOVE: [f64; 8] = [
    2.010_334_399_292_288_132_65e-7,
    2.711_555_568_743_487_578_15e-5,
    1.242_660_947_388_078_438_6e-3,
    2.653_218_952_657_612_309_3e-2,
    2.965_605_718_285_048_912_3e-1,
    1.784_826_539_917_291_335_8,
    5.463_784_911_164_114_369_9,
    6.657_904_643_501_103_777_2,
];
const FAR_BELOW: [f64; 8] = [
    2.044_263_103_389_939_785_64e-15,
    1.421_511_758_316_445_888_7e-7,
    1.846_318_317_510_054_681_8e-5,
    7.868_691_311_456_132_591e-4,
    1.487_536_129_085_061_485_25e-2,
    1.369_298_809_227_358_053_1e-1,
    5.998_322_065_558_879_376_9e-1,
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
