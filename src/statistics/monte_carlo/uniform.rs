//! Random numbers by counter: that of draw `i` of dimension `j` depends on seed, `i` and `j` only.
//!
//! Philox4x32-7: Salmon, Moraes, Dror, Shaw (2011): Parallel random numbers: as easy as 1, 2, 3.
//! Seven rounds are the fewest that passed every test of BigCrush there.
//! Nothing is handed from draw to draw, so any thread may make any draw.

use super::{LANES, Lanes};

const ROUNDS: usize = 7;
const MULTIPLIERS: [u64; 2] = [0xD251_1F53, 0xCD9E_8D57];
const WEYL: [u32; 2] = [0x9E37_79B9, 0xBB67_AE85];
const LOW: u64 = 0xffff_ffff;
const HALF: usize = LANES / 2;

/// Gives the random numbers of one dimension for one block of draws.
///
/// A trait and not a closure: only its method can be told to be inlined into the wide loops.
pub(super) trait Uniforms {
    fn fill(&mut self, dimension: u32, lanes: &mut Lanes);
}

/// The independent numbers of a block.
pub(super) struct Independent<'a> {
    pub streams: &'a [Stream],
    pub block: u64,
}

impl Uniforms for Independent<'_> {
    #[inline(always)]
    fn fill(&mut self, dimension: u32, lanes: &mut Lanes) {
        if let Some(stream) = self.streams.get(dimension as usize) {
            stream.fill(self.block, lanes);
        }
    }
}

/// What a stream of numbers is for, so that two uses of one seed share none.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Purpose {
    Draws = 0,
    /// Two sets of draws that contributions to the variance are found from.
    FirstSet = 1,
    SecondSet = 2,
    Hypercube = 3,
    /// Which stratum of a hypercube a draw takes.
    Permutation = 4,
}

/// A stream of 128 random bits for each counter.
#[derive(Debug, Clone, Copy)]
pub(super) struct Stream {
    key: [u32; 2],
    dimension: u32,
    purpose: u32,
}

impl Stream {
    pub fn new(seed: u64, purpose: Purpose, dimension: u32) -> Stream {
        Stream {
            key: [seed as u32, (seed >> 32) as u32],
            dimension,
            purpose: purpose as u32,
        }
    }

    /// The four words at the counter of these two halves.
    #[inline(always)]
    fn words(&self, low: u64, high: u64) -> [u64; 4] {
        // Words stand in 64 bits whose upper half is left as it comes: only the lower is multiplied.
        let mut c = [
            low,
            high,
            u64::from(self.dimension),
            u64::from(self.purpose),
        ];
        let mut key = self.key;
        for _ in 0..ROUNDS {
            let first = MULTIPLIERS[0].wrapping_mul(c[0] & LOW);
            let second = MULTIPLIERS[1].wrapping_mul(c[2] & LOW);
            c = [
                (second >> 32) ^ c[1] ^ u64::from(key[0]),
                second,
                (first >> 32) ^ c[3] ^ u64::from(key[1]),
                first,
            ];
            key = [key[0].wrapping_add(WEYL[0]), key[1].wrapping_add(WEYL[1])];
        }
        c
    }

    /// Uniform numbers of the draws `LANES * block ..`, all above 0 and below 1.
    #[inline(always)]
    pub fn fill(&self, block: u64, values: &mut Lanes) {
        let (front, back) = values.0.split_at_mut(HALF);
        let first = block.wrapping_mul(HALF as u64);
        // A block never crosses from one upper half to the next.
        let (low, high) = (first & LOW, first >> 32);
        for (k, (a, b)) in front.iter_mut().zip(back).enumerate() {
            let words = self.words(low + k as u64, high);
            *a = open_unit((words[0] & LOW) | (words[1] << 32));
            *b = open_unit((words[2] & LOW) | (words[3] << 32));
        }
    }

    /// A whole number below `limit` for each counter.
    pub fn below(&self, counter: u64, limit: u64) -> u64 {
        let words = self.words(counter & LOW, counter >> 32);
        let bits = (words[0] & LOW) | (words[1] << 32);
        ((u128::from(bits) * u128::from(limit)) >> 64) as u64
    }
}

/// The middle of one of 2^52 equal parts of the unit interval.
#[inline(always)]
fn open_unit(bits: u64) -> f64 {
    let from_one = f64::from_bits((bits >> 12) | (1023 << 52));
    (from_one - 1.0) + 0.5 / (1u64 << 52) as f64
}

#[cfg(test)]
mod tests {
    use super::*;

    fn words(key: [u32; 2], counter: [u32; 4]) -> [u32; 4] {
        let stream = Stream {
            key,
            dimension: counter[2],
            purpose: counter[3],
        };
        let halves = stream.words(u64::from(counter[0]), u64::from(counter[1]));
        halves.map(|word| word as u32)
    }

    /// Known answers published with the authors' Random123 library, philox4x32 of 7 rounds (MEMORY).
    #[test]
    fn philox_gives_its_published_answers() {
        assert_eq!(
            words([0, 0], [0; 4]),
            [0x5f6f_b709, 0x0d89_3f64, 0x4f12_1f81, 0x4f73_0a48]
        );
        assert_eq!(
            words([u32::MAX; 2], [u32::MAX; 4]),
            [0x5207_ddc2, 0x4516_5e59, 0x4d8e_e751, 0x8c52_f662]
        );
        assert_eq!(
            words(
                [0xa409_3822, 0x299f_31d0],
                [0x243f_6a88, 0x85a3_08d3, 0x1319_8a2e, 0x0370_7344]
            ),
            [0x4dfc_caba, 0x190a_87f0, 0xc473_62ba, 0xb6b5_242a]
        );
    }

    #[test]
    fn numbers_fill_the_open_unit_interval_evenly() {
        let stream = Stream::new(7, Purpose::Draws, 3);
        let (mut sum, mut squares, mut lanes) = (0.0, 0.0, Lanes::default());
        for block in 0..800 {
            stream.fill(block, &mut lanes);
            for value in lanes.0 {
                assert!(value > 0.0 && value < 1.0);
                sum += value;
                squares += value * value;
            }
        }
        let n = (800 * LANES) as f64;
        // Mean 1/2 and mean square 1/3, each within five of its standard errors.
        assert!((sum / n - 0.5).abs() < 5.0 * (1.0 / 12.0 / n).sqrt());
        assert!((squares / n - 1.0 / 3.0).abs() < 5.0 * (4.0 / 45.0 / n).sqrt());
        assert_eq!(open_unit(0), f64::EPSILON / 2.0);
        assert!(open_unit(u64::MAX) < 1.0);
    }
}
