//! Plain sampling: every draw independent of all others.

use super::model::Model;
use super::plan::Workspace;
use super::select::{Bracket, quantiles};
use super::threads::{Loops, share_out, widest};
use super::uniform::{Independent, Purpose, Stream};
use super::{LANES, Scratch};
use crate::statistics::StatisticsError;
use std::num::NonZero;

/// Draws that a thread takes at a time.
pub(super) const CHUNK: usize = 32 * LANES;
/// Values of outputs that are held at a time: 32 MiB. What is more passes by.
const HELD_MAX: usize = 1 << 22;

/// Fewest and most draws that may be asked for.
pub(super) const DRAWS: std::ops::RangeInclusive<u64> = 1_000..=10_000_000;

/// A quantile of an output.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Quantile {
    pub probability: f64,
    pub value: f64,
    /// Half the distance between the order statistics one standard deviation of the rank away;
    /// of a hypercube, from the spread of its replicates.
    pub standard_error: f64,
}

/// What the draws say of one output; not a number where no draw was finite.
#[derive(Debug, Clone, PartialEq)]
pub struct Summary {
    pub mean: f64,
    pub mean_error: f64,
    pub standard_deviation: f64,
    /// In the order of the probabilities asked for.
    pub quantiles: Vec<Quantile>,
    /// Draws left out because they came to no finite number.
    pub not_finite: u64,
}

/// A simulated model.
#[derive(Debug, Clone, PartialEq)]
pub struct Simulated {
    pub draws: u64,
    /// One for each output.
    pub outputs: Vec<Summary>,
}

/// Draws the model `draws` times, 1,000 to 10,000,000.
///
/// Memory stays flat: up to about four million values (draws times outputs) are held at once.
/// Beyond that quantiles are still exact: the first draws say between which values each of them
/// must lie, all others are counted, and only those between are kept.
pub fn simulate(
    model: &Model,
    draws: u64,
    seed: u64,
    probabilities: &[f64],
    threads: NonZero<usize>,
) -> Result<Simulated, StatisticsError> {
    check(draws, probabilities)?;
    let mut width = 1.0;
    loop {
        let mut pass = Pass::new(model, draws, seed, threads);
        if let Some(outputs) = pass.run(probabilities, width) {
            return Ok(Simulated { draws, outputs });
        }
        // A bracket missed its quantile: chance, or a pilot that knew too little.
        width *= 4.0;
    }
}

pub(super) fn check(draws: u64, probabilities: &[f64]) -> Result<(), StatisticsError> {
    if !DRAWS.contains(&draws) {
        return Err(StatisticsError::Draws(draws));
    }
    match probabilities.iter().find(|p| !(**p > 0.0 && **p < 1.0)) {
        Some(outside) => Err(StatisticsError::Probability(*outside)),
        None => Ok(()),
    }
}

/// One pass over all draws, in waves that fit the memory.
struct Pass<'a> {
    model: &'a Model,
    draws: usize,
    streams: Vec<Stream>,
    threads: NonZero<usize>,
    outputs: usize,
    /// By chunk, then output, then draw.
    held: Vec<f64>,
}

impl<'a> Pass<'a> {
    fn new(model: &'a Model, draws: u64, seed: u64, threads: NonZero<usize>) -> Self {
        Pass {
            model,
            draws: draws as usize,
            streams: streams(model, seed, Purpose::Draws),
            threads,
            outputs: model.outputs(),
            held: Vec::new(),
        }
    }

    /// None when a bracket missed its quantile.
    fn run(&mut self, probabilities: &[f64], width: f64) -> Option<Vec<Summary>> {
        let chunks = self.draws.div_ceil(CHUNK);
        let wave = (HELD_MAX / CHUNK / self.outputs.max(1)).max(16).min(chunks);
        self.held = vec![0.0; wave * CHUNK * self.outputs];
        let mut tallies: Vec<Tally> = vec![Tally::default(); self.outputs];
        for first in (0..chunks).step_by(wave) {
            let last = (first + wave).min(chunks);
            self.draw(first, last);
            let only = chunks <= wave;
            let (pass, opening) = (&*self, first == 0);
            share_out(
                tallies.iter_mut().collect(),
                self.threads,
                || (),
                |(), output, tally: &mut Tally| {
                    let parts = pass.parts(output, first, last);
                    if opening && !only {
                        tally.open(parts.clone(), probabilities, width);
                    }
                    tally.take(parts.clone());
                    if only {
                        tally.settled = Some(quantiles(parts, probabilities));
                    }
                },
            );
        }
        tallies.into_iter().map(Tally::summary).collect()
    }

    /// Draws the chunks `first..last` into what is held.
    fn draw(&mut self, first: usize, last: usize) {
        let (model, streams, outputs) = (self.model, &self.streams, self.outputs);
        let draws = self.draws;
        let pieces: Vec<&mut [f64]> = self
            .held
            .chunks_mut((CHUNK * outputs).max(1))
            .take(last - first)
            .collect();
        share_out(
            pieces,
            self.threads,
            || (model.plan.workspace(), Scratch::default()),
            |(workspace, scratch), number, piece| {
                widest(Chunk {
                    model,
                    streams,
                    first_block: ((first + number) * (CHUNK / LANES)) as u64,
                    blocks: draws
                        .saturating_sub((first + number) * CHUNK)
                        .div_ceil(LANES)
                        .min(CHUNK / LANES),
                    workspace,
                    scratch,
                    piece,
                });
            },
        );
    }

    /// The values of one output in the chunks held, in the order of the draws.
    fn parts(
        &self,
        output: usize,
        first: usize,
        last: usize,
    ) -> impl Iterator<Item = &[f64]> + Clone {
        (first..last).filter_map(move |chunk| {
            let from = ((chunk - first) * self.outputs + output) * CHUNK;
            let count = CHUNK.min(self.draws - chunk * CHUNK);
            self.held.get(from..from + count)
        })
    }
}

pub(super) fn streams(model: &Model, seed: u64, purpose: Purpose) -> Vec<Stream> {
    (0..model.dimensions())
        .map(|dimension| Stream::new(seed, purpose, dimension))
        .collect()
}

/// The draws of one chunk.
struct Chunk<'a> {
    model: &'a Model,
    streams: &'a [Stream],
    first_block: u64,
    blocks: usize,
    workspace: &'a mut Workspace,
    scratch: &'a mut Scratch,
    /// By output, then draw.
    piece: &'a mut [f64],
}

impl Loops for Chunk<'_> {
    #[inline(always)]
    fn run(self) {
        for block in 0..self.blocks.min(CHUNK / LANES) {
            let uniforms = Independent {
                streams: self.streams,
                block: self.first_block + block as u64,
            };
            self.model.draw(self.workspace, self.scratch, uniforms);
            let outputs = self.piece.chunks_exact_mut(CHUNK);
            for (values, slot) in outputs.zip(&self.model.plan.outputs) {
                let values = values.get_mut(block * LANES..(block + 1) * LANES);
                if let (Some(values), Some(lanes)) = (values, self.workspace.slot(*slot)) {
                    values.copy_from_slice(&lanes.0);
                }
            }
        }
    }
}

/// What is known of one output so far.
#[derive(Debug, Clone, Default)]
struct Tally {
    moments: Moments,
    brackets: Vec<Bracket>,
    settled: Option<Vec<Quantile>>,
}

impl Tally {
    fn open<'a>(
        &mut self,
        pilot: impl Iterator<Item = &'a [f64]> + Clone,
        probabilities: &[f64],
        width: f64,
    ) {
        self.brackets = probabilities
            .iter()
            .map(|p| Bracket::of(pilot.clone(), *p, width))
            .collect();
    }

    fn take<'a>(&mut self, parts: impl Iterator<Item = &'a [f64]>) {
        for part in parts {
            self.moments.take(part);
            for bracket in &mut self.brackets {
                for value in part.iter().filter(|value| value.is_finite()) {
                    bracket.take(*value);
                }
            }
        }
    }

    fn summary(self) -> Option<Summary> {
        let count = self.moments.count;
        let quantiles = match self.settled {
            Some(settled) => settled,
            None => {
                let found = self.brackets.iter();
                found
                    .map(|bracket| bracket.quantile(count as usize))
                    .collect::<Option<_>>()?
            }
        };
        let variance = self.moments.variance();
        Some(Summary {
            mean: self.moments.mean(),
            mean_error: (variance / count as f64).sqrt(),
            standard_deviation: variance.sqrt(),
            quantiles,
            not_finite: self.moments.not_finite,
        })
    }
}

/// Sums of finite values around the first of them, so that no digits are lost.
#[derive(Debug, Clone, Default)]
pub(super) struct Moments {
    pub count: u64,
    pub not_finite: u64,
    shift: f64,
    sum: f64,
    squares: f64,
}

impl Moments {
    pub fn take(&mut self, values: &[f64]) {
        for value in values {
            if !value.is_finite() {
                self.not_finite += 1;
                continue;
            }
            if self.count == 0 {
                self.shift = *value;
            }
            self.count += 1;
            let apart = value - self.shift;
            self.sum += apart;
            self.squares += apart * apart;
        }
    }

    pub fn mean(&self) -> f64 {
        self.shift + self.sum / self.count as f64
    }

    pub fn variance(&self) -> f64 {
        let n = self.count as f64;
        ((self.squares - self.sum * self.sum / n) / (n - 1.0)).max(0.0)
    }
}
