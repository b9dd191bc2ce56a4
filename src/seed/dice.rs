//! Random whole numbers from a number, a purpose and an index.

use rand_chacha::ChaCha20Rng;
use rand_chacha::rand_core::{Rng, SeedableRng};

/// What the numbers are drawn for; each purpose has streams of its own.
#[derive(Debug, Clone, Copy)]
pub(super) enum Purpose {
    Household = 1,
    BaselineChoice = 2,
    BaselineKitchen = 3,
    ProjectChoice = 4,
    ProjectKitchen = 5,
    SurveyDay = 6,
    SurveyChoice = 7,
    SurveyAnswer = 8,
    WeighingChoice = 9,
    Weighing = 10,
    AskedChoice = 11,
    Asked = 12,
    Cooking = 13,
    StoveBench = 14,
    CharSample = 15,
    ReadChoice = 16,
    Read = 17,
}

pub(super) struct Dice(ChaCha20Rng);

impl Dice {
    /// `index` counts households, or years times bands; it stays below 2^48.
    pub(super) fn new(number: u64, purpose: Purpose, index: u64) -> Self {
        let mut key = [0_u8; 32];
        for (place, byte) in key.iter_mut().zip(number.to_le_bytes()) {
            *place = byte;
        }
        let mut generator = ChaCha20Rng::from_seed(key);
        generator.set_stream(((purpose as u64) << 48) | index);
        Dice(generator)
    }

    /// Evenly from `0..size`; 0 for an empty range. The bias is below `size / 2^64`.
    pub(super) fn below(&mut self, size: u64) -> u64 {
        let scaled = (u128::from(self.0.next_u64()) * u128::from(size)) >> 64;
        u64::try_from(scaled).unwrap_or_default()
    }

    /// Evenly from `low..=high`.
    pub(super) fn between(&mut self, low: u64, high: u64) -> u64 {
        low + self.below(high.saturating_sub(low) + 1)
    }

    /// True `per_mille` times in a thousand.
    pub(super) fn chance(&mut self, per_mille: u64) -> bool {
        self.below(1000) < per_mille
    }

    /// The place of the weight that was hit.
    pub(super) fn weighted(&mut self, weights: &[u64]) -> usize {
        let mut left = self.below(weights.iter().sum());
        for (place, weight) in weights.iter().enumerate() {
            if left < *weight {
                return place;
            }
            left -= weight;
        }
        0
    }

    /// Bell-shaped around `mean`: a sum of twelve even draws, cut at `low` and `high`.
    pub(super) fn bell(&mut self, mean: u64, deviation: u64, low: u64, high: u64) -> u64 {
        const EVEN: u64 = 1_000_000;
        let sum: u64 = (0..12).map(|_| self.below(EVEN + 1)).sum();
        let (sum, centre) = (i128::from(sum), i128::from(6 * EVEN));
        let shift = i128::from(deviation) * (sum - centre) / i128::from(EVEN);
        let drawn = u64::try_from((i128::from(mean) + shift).max(0)).unwrap_or(high);
        drawn.clamp(low, high)
    }

    /// Puts the items into an even random order.
    pub(super) fn shuffle<T>(&mut self, items: &mut [T]) {
        for place in (1..items.len()).rev() {
            let size = u64::try_from(place + 1).unwrap_or(u64::MAX);
            items.swap(place, usize::try_from(self.below(size)).unwrap_or_default());
        }
    }
}

/// A simple random sample of a population that passes by once: selection sampling
/// (Knuth, The Art of Computer Programming, volume 2, section 3.4.2, Algorithm S).
pub(super) struct Selection {
    dice: Dice,
    to_come: u64,
    to_take: u64,
}

impl Selection {
    /// Takes `wanted` of `population`, or all where there are fewer.
    pub(super) fn new(dice: Dice, population: u64, wanted: u64) -> Self {
        Selection {
            dice,
            to_come: population,
            to_take: wanted.min(population),
        }
    }

    /// Whether the next member is taken.
    pub(super) fn takes_next(&mut self) -> bool {
        let taken = self.dice.below(self.to_come) < self.to_take;
        self.to_come = self.to_come.saturating_sub(1);
        if taken {
            self.to_take -= 1;
        }
        taken
    }
}
