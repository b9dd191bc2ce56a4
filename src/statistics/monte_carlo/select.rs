//! Order statistics: exact, in one pass over more values than are kept.

use super::run::Quantile;

/// Standard deviations of a rank that the brackets of a pilot leave on either side.
const BRACKET_WIDTH: f64 = 8.0;

/// A finite number as a whole number of the same order.
fn to_key(value: f64) -> u64 {
    let bits = value.to_bits();
    if bits >> 63 == 1 {
        !bits
    } else {
        bits | (1 << 63)
    }
}

fn from_key(key: u64) -> f64 {
    f64::from_bits(if key >> 63 == 1 {
        key & !(1 << 63)
    } else {
        !key
    })
}

/// Where the quantile of one probability lies among `n` ordered values.
#[derive(Debug, Clone, Copy)]
struct Ranks {
    /// The two values that the quantile lies between, and how far on.
    at: usize,
    next: usize,
    onward: f64,
    /// One standard deviation of the rank below and above, and what they are apart in those.
    below: usize,
    above: usize,
    deviations: f64,
}

impl Ranks {
    /// Linear between order statistics in the middle of their parts of the probability (Hyndman
    /// and Fan 1996, definition 5), which leaves no bias where the draws are stratified. The number
    /// of draws below a quantile is binomial, so its rank is known within `sqrt(n p (1 - p))`.
    fn of(n: usize, probability: f64) -> Ranks {
        let last = n.saturating_sub(1);
        let place = (n as f64 * probability - 0.5).clamp(0.0, last as f64);
        let at = (place as usize).min(last);
        let deviation = (n as f64 * probability * (1.0 - probability)).sqrt();
        let below = (place - deviation).max(0.0) as usize;
        let above = ((place + deviation) as usize + 1).min(last);
        Ranks {
            at,
            next: (at + 1).min(last),
            onward: place - at as f64,
            below,
            above,
            deviations: if deviation > 0.0 {
                (above - below) as f64 / deviation
            } else {
                0.0
            },
        }
    }

    fn all(self) -> [usize; 4] {
        [self.below, self.at, self.next, self.above]
    }

    fn quantile(
        self,
        probability: f64,
        value_of: impl Fn(usize) -> Option<f64>,
    ) -> Option<Quantile> {
        let (at, next) = (value_of(self.at)?, value_of(self.next)?);
        let spread = value_of(self.above)? - value_of(self.below)?;
        Some(Quantile {
            probability,
            value: at + self.onward * (next - at),
            standard_error: if self.deviations > 0.0 {
                spread / self.deviations
            } else {
                0.0
            },
        })
    }
}

/// Parts of equal width between the least and the largest value.
const BUCKETS: usize = 4_096;

/// Buckets that keep the order of the values, whatever those are: all in one at worst.
#[derive(Debug, Clone, Copy)]
struct Buckets {
    least: f64,
    per_unit: f64,
}

impl Buckets {
    fn between(least: f64, largest: f64) -> Buckets {
        let per_unit = (BUCKETS - 1) as f64 / (largest - least);
        Buckets {
            least,
            per_unit: if per_unit.is_finite() { per_unit } else { 0.0 },
        }
    }

    #[inline(always)]
    fn of(&self, value: f64) -> usize {
        // A conversion saturates, and what is not a number becomes zero.
        (((value - self.least) * self.per_unit) as u32 as usize).min(BUCKETS - 1)
    }
}

/// Quantiles of the finite ones among values that are all at hand, in parts.
///
/// The values are counted in buckets, and only the buckets that a wanted rank falls into are
/// looked at more closely.
pub(super) fn quantiles<'a>(
    parts: impl Iterator<Item = &'a [f64]> + Clone,
    probabilities: &[f64],
) -> Vec<Quantile> {
    let finite = || parts.clone().flatten().filter(|value| value.is_finite());
    let (least, largest) = finite().fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), v| {
        (
            if *v < low { *v } else { low },
            if *v > high { *v } else { high },
        )
    });
    let buckets = Buckets::between(least, largest);
    let mut counts = vec![0usize; BUCKETS];
    for value in finite() {
        counts[buckets.of(*value)] += 1;
    }
    let count = counts.iter().sum();
    let mut ranks: Vec<usize> = probabilities
        .iter()
        .flat_map(|p| Ranks::of(count, *p).all())
        .collect();
    ranks.sort_unstable();
    ranks.dedup();
    let wanted = Wanted::of(&counts, &ranks);
    let mut keys: Vec<u64> = finite()
        .filter(|value| wanted.buckets[buckets.of(**value)])
        .map(|value| to_key(*value))
        .collect();
    place(&mut keys, 0, &wanted.places);
    let value_of = |rank: usize| {
        let place = wanted.places.get(ranks.binary_search(&rank).ok()?)?;
        keys.get(*place).map(|key| from_key(*key))
    };
    probabilities
        .iter()
        .map(|p| {
            let unknown = Quantile {
                probability: *p,
                value: f64::NAN,
                standard_error: f64::NAN,
            };
            Ranks::of(count, *p)
                .quantile(*p, value_of)
                .unwrap_or(unknown)
        })
        .collect()
}

/// The buckets that ranks fall into.
struct Wanted {
    buckets: Vec<bool>,
    /// Of each rank that there is: its place among the values of these buckets.
    places: Vec<usize>,
}

impl Wanted {
    /// `ranks` ascend.
    fn of(counts: &[usize], ranks: &[usize]) -> Wanted {
        let mut found = Wanted {
            buckets: vec![false; counts.len()],
            places: Vec::with_capacity(ranks.len()),
        };
        let mut ranks = ranks.iter().peekable();
        // Values in the buckets so far, and those of them that nobody wants.
        let (mut passed, mut left_out) = (0, 0);
        for (count, wanted) in counts.iter().zip(&mut found.buckets) {
            passed += count;
            while let Some(rank) = ranks.next_if(|rank| **rank < passed) {
                *wanted = true;
                found.places.push(rank - left_out);
            }
            if !*wanted {
                left_out += count;
            }
        }
        found
    }
}

/// Brings the keys of all `ranks` to their places; `offset` is the rank of the first key.
fn place(keys: &mut [u64], offset: usize, ranks: &[usize]) {
    let (before, rest) = ranks.split_at(ranks.len() / 2);
    let Some((middle, after)) = rest.split_first() else {
        return;
    };
    let (lower, _, upper) = keys.select_nth_unstable(middle - offset);
    place(lower, offset, before);
    place(upper, middle + 1, after);
}

/// Gathers the values around one quantile as they pass by.
#[derive(Debug, Clone)]
pub(super) struct Bracket {
    probability: f64,
    low: f64,
    high: f64,
    below: usize,
    inside: Vec<f64>,
}

impl Bracket {
    /// Around a quantile of `pilot`; `width` times as wide as should do.
    pub fn of<'a>(
        pilot: impl Iterator<Item = &'a [f64]> + Clone,
        probability: f64,
        width: f64,
    ) -> Bracket {
        let n = pilot.clone().flatten().filter(|value| value.is_finite());
        let n = n.count() as f64;
        let reach =
            width * (BRACKET_WIDTH * (probability * (1.0 - probability) / n).sqrt() + 8.0 / n);
        let (low, high) = (probability - reach, probability + reach);
        let inner: Vec<f64> = [low, high]
            .into_iter()
            .filter(|p| *p > 0.0 && *p < 1.0)
            .collect();
        let mut found = quantiles(pilot, &inner).into_iter().map(|q| q.value);
        let mut end = |p: f64, otherwise: f64| {
            let inner = p > 0.0 && p < 1.0;
            let value = if inner { found.next() } else { None };
            value.filter(|value| value.is_finite()).unwrap_or(otherwise)
        };
        Bracket {
            probability,
            low: end(low, f64::NEG_INFINITY),
            high: end(high, f64::INFINITY),
            below: 0,
            inside: Vec::new(),
        }
    }

    pub fn take(&mut self, value: f64) {
        if value < self.low {
            self.below += 1;
        } else if value <= self.high {
            self.inside.push(value);
        }
    }

    /// The quantile among `n` values; none when it lies outside the bracket.
    pub fn quantile(&self, n: usize) -> Option<Quantile> {
        let mut inside = self.inside.clone();
        inside.sort_unstable_by(f64::total_cmp);
        let value_of = |rank: usize| inside.get(rank.checked_sub(self.below)?).copied();
        Ranks::of(n, self.probability).quantile(self.probability, value_of)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn keys_keep_the_order_and_come_back() {
        let values = [-1e300, -2.5, -0.0, 0.0, 1e-300, 7.0];
        let keys = values.map(to_key);
        assert!(keys.windows(2).all(|pair| pair[0] < pair[1]));
        assert_eq!(keys.map(from_key), values);
    }

    /// Definition 5 by hand: of 1, 2, 3, 4 the quartiles are 1.5, 2.5, 3.5.
    #[test]
    fn quantiles_lie_between_order_statistics() {
        let found = quantiles(
            [&[3.0, 1.0][..], &[f64::NAN, 4.0, 2.0]].into_iter(),
            &[0.25, 0.5, 0.75],
        );
        let values: Vec<f64> = found.iter().map(|q| q.value).collect();
        assert_eq!(values, [1.5, 2.5, 3.5]);
        assert!(quantiles([].into_iter(), &[0.5])[0].value.is_nan());
    }

    /// Against a full sort: in equal parts, all in one bucket but for one far away, of one value
    /// alone, with infinities and what is not a number among them.
    #[test]
    fn the_values_of_a_full_sort_are_found() {
        let even: Vec<f64> = (0..10_007u64)
            .map(|i| ((i * 7919) % 10_007) as f64)
            .collect();
        let mut far = even.clone();
        far[77] = -1e300;
        far[78] = 1e300;
        let mut mixed = even.clone();
        mixed[5] = f64::INFINITY;
        mixed[6] = f64::NAN;
        mixed[7] = f64::NEG_INFINITY;
        for values in [even, far, mixed, vec![3.25; 1_000], vec![-1.0, 2.0]] {
            let mut sorted: Vec<f64> = values.iter().copied().filter(|v| v.is_finite()).collect();
            sorted.sort_unstable_by(f64::total_cmp);
            for p in [0.0001, 0.05, 0.5, 0.95, 0.9999] {
                let (front, back) = values.split_at(values.len() / 3);
                let found = quantiles([front, back].into_iter(), &[p, 0.5])[0];
                let wanted =
                    Ranks::of(sorted.len(), p).quantile(p, |rank| sorted.get(rank).copied());
                assert_eq!(Some(found), wanted);
            }
        }
    }

    #[test]
    fn a_bracket_finds_what_a_full_sort_finds() {
        let value = |i: u64| ((i * 7919) % 10_007) as f64;
        let all: Vec<f64> = (0..10_007).map(value).collect();
        for p in [0.001, 0.05, 0.5, 0.95] {
            let mut bracket = Bracket::of([&all[..2_000]].into_iter(), p, 1.0);
            all.iter().for_each(|value| bracket.take(*value));
            assert!(bracket.inside.len() < all.len());
            assert_eq!(
                bracket.quantile(all.len()),
                Some(quantiles([&all[..]].into_iter(), &[p])[0])
            );
        }
    }
}
