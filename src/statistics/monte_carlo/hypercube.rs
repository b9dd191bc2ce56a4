//! Latin hypercubes: fewer draws for the same error where the output is nearly a sum.
//!
//! Each replicate takes one draw from every one of its equal strata in every dimension
//! (McKay, Beckman, Conover 1979). The replicates are independent of each other, so their spread
//! is an honest error of what is averaged over them; within one there is none to be had.

use super::model::Model;
use super::plan::Workspace;
use super::run::Moments;
use super::run::{Quantile, Simulated, Summary, check, streams};
use super::select::quantiles;
use super::threads::{Loops, share_out, widest};
use super::uniform::{Independent, Purpose, Stream, Uniforms};
use super::{LANES, Lanes, Scratch};
use crate::statistics::StatisticsError;
use std::num::NonZero;

/// Fewest replicates that an error is taken from.
const REPLICATES: u64 = 25;
/// Most draws of one replicate; more draws make more replicates.
const REPLICATE_MAX: u64 = 8_192;

/// Draws the model by replicated Latin hypercubes; about `draws` in all, never more.
///
/// Every figure is the mean over the replicates, and its error comes from their spread.
pub fn hypercube(
    model: &Model,
    draws: u64,
    seed: u64,
    probabilities: &[f64],
    threads: NonZero<usize>,
) -> Result<Simulated, StatisticsError> {
    check(draws, probabilities)?;
    let size = (draws / REPLICATES).min(REPLICATE_MAX);
    let replicates = draws / size;
    let inside = streams(model, seed, Purpose::Hypercube);
    let strata = streams(model, seed, Purpose::Permutation);
    let mut found: Vec<Vec<One>> = vec![Vec::new(); replicates as usize];
    share_out(
        found.iter_mut().collect(),
        threads,
        || (model.plan.workspace(), Scratch::default()),
        |(workspace, scratch), number, into: &mut Vec<One>| {
            let number = number as u64;
            let mut values = vec![vec![0.0; size as usize]; model.outputs()];
            widest(Replicate {
                model,
                inside: &inside,
                strata: strata
                    .iter()
                    .map(|stream| permutation(stream, number, size))
                    .collect(),
                first_block: number * size.div_ceil(LANES as u64),
                workspace,
                scratch,
                values: &mut values,
            });
            into.extend(values.iter().map(|values| One::of(values, probabilities)));
        },
    );
    let outputs = (0..model.outputs())
        .map(|output| {
            let ones: Vec<&One> = found.iter().filter_map(|ones| ones.get(output)).collect();
            together(&ones, probabilities)
        })
        .collect();
    Ok(Simulated {
        draws: replicates * size,
        outputs,
    })
}

/// A random order of `0..size`, by exchanging.
fn permutation(stream: &Stream, replicate: u64, size: u64) -> Vec<u32> {
    let mut order: Vec<u32> = (0..size as u32).collect();
    for last in (1..size).rev() {
        let chosen = stream.below(replicate * size + last, last + 1);
        order.swap(last as usize, chosen as usize);
    }
    order
}

struct Replicate<'a> {
    model: &'a Model,
    inside: &'a [Stream],
    /// The stratum of each draw, by dimension.
    strata: Vec<Vec<u32>>,
    first_block: u64,
    workspace: &'a mut Workspace,
    scratch: &'a mut Scratch,
    values: &'a mut [Vec<f64>],
}

impl Loops for Replicate<'_> {
    #[inline(always)]
    fn run(self) {
        let size = self.strata.first().map_or(0, Vec::len);
        let width = 1.0 / size as f64;
        for block in 0..size.div_ceil(LANES) {
            let (from, to) = (block * LANES, size.min((block + 1) * LANES));
            let uniforms = Stratified {
                inside: Independent {
                    streams: self.inside,
                    block: self.first_block + block as u64,
                },
                strata: &self.strata,
                from,
                to,
                width,
            };
            self.model.draw(self.workspace, self.scratch, uniforms);
            for (values, slot) in self.values.iter_mut().zip(&self.model.plan.outputs) {
                if let (Some(values), Some(lanes)) =
                    (values.get_mut(from..to), self.workspace.slot(*slot))
                {
                    values.copy_from_slice(&lanes.0[..to - from]);
                }
            }
        }
    }
}

/// The numbers of a block, each inside the stratum of its draw.
struct Stratified<'a> {
    inside: Independent<'a>,
    strata: &'a [Vec<u32>],
    from: usize,
    to: usize,
    width: f64,
}

impl Uniforms for Stratified<'_> {
    #[inline(always)]
    fn fill(&mut self, dimension: u32, lanes: &mut Lanes) {
        self.inside.fill(dimension, lanes);
        let strata = self.strata.get(dimension as usize);
        let strata = strata.and_then(|strata| strata.get(self.from..self.to));
        for (value, stratum) in lanes.0.iter_mut().zip(strata.into_iter().flatten()) {
            *value = (f64::from(*stratum) + *value) * self.width;
        }
    }
}

/// What one replicate says of one output.
#[derive(Debug, Clone)]
struct One {
    moments: Moments,
    quantiles: Vec<f64>,
}

impl One {
    fn of(values: &[f64], probabilities: &[f64]) -> One {
        let mut moments = Moments::default();
        moments.take(values);
        let quantiles = quantiles([values].into_iter(), probabilities);
        One {
            moments,
            quantiles: quantiles.iter().map(|quantile| quantile.value).collect(),
        }
    }
}

fn together(ones: &[&One], probabilities: &[f64]) -> Summary {
    let averaged = |pick: &dyn Fn(&One) -> f64| {
        let mut over = Moments::default();
        over.take(&ones.iter().map(|one| pick(one)).collect::<Vec<_>>());
        (over.mean(), (over.variance() / over.count as f64).sqrt())
    };
    let (mean, mean_error) = averaged(&|one| one.moments.mean());
    let (variance, _) = averaged(&|one| one.moments.variance());
    let quantile = |(at, probability): (usize, &f64)| {
        let pick = move |one: &One| one.quantiles.get(at).copied().unwrap_or(f64::NAN);
        let (value, standard_error) = averaged(&pick);
        Quantile {
            probability: *probability,
            value,
            standard_error,
        }
    };
    Summary {
        mean,
        mean_error,
        standard_deviation: variance.sqrt(),
        quantiles: probabilities.iter().enumerate().map(quantile).collect(),
        not_finite: ones.iter().map(|one| one.moments.not_finite).sum(),
    }
}
