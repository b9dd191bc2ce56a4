//! How much of each output's variance each group of inputs brings: Sobol' indices.
//!
//! Two independent sets of draws A and B, and for each group the set AB that is A with the group
//! taken from B. The first-order index is the part of the variance that goes when the group alone
//! becomes known (Saltelli et al. 2010, Computer Physics Communications 181: mean of
//! `B (AB - A)`), the total one what stays when all others become known (Jansen 1999: half the mean of
//! `(A - AB)^2`). Cost: `draws * (groups + 2)` evaluations of the model.

use super::model::Model;
use super::plan::Workspace;
use super::run::streams;
use super::threads::{Loops, share_out, widest};
use super::uniform::{Independent, Purpose, Stream};
use super::{LANES, Scratch};
use std::num::NonZero;

/// Contribution of one group of inputs to the variance of one output.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Contribution {
    /// The group, in the order in which the model's groups were made.
    pub group: usize,
    pub first_order: f64,
    pub first_order_error: f64,
    pub total: f64,
    pub total_error: f64,
}

/// Contributions to all outputs.
#[derive(Debug, Clone, PartialEq)]
pub struct Contributions {
    /// Draws of each set.
    pub draws: u64,
    /// Evaluations of the model that they cost.
    pub evaluations: u64,
    /// Of each output, every group that it depends on; empty where the output does not vary.
    pub outputs: Vec<Vec<Contribution>>,
}

/// Finds the contributions from two sets of `draws` (rounded up to whole blocks of 128).
pub fn contributions(
    model: &Model,
    draws: u64,
    seed: u64,
    threads: NonZero<usize>,
) -> Contributions {
    let blocks = (draws as usize).div_ceil(LANES).max(1);
    let sets = model.groups() + 2;
    let outputs = model.outputs();
    // By block, then set (A, B, then AB of each group), then output, then draw.
    let mut held = vec![0.0; blocks * sets * outputs * LANES];
    let first = streams(model, seed, Purpose::FirstSet);
    let second = streams(model, seed, Purpose::SecondSet);
    let pieces = held.chunks_mut((sets * outputs * LANES).max(1)).collect();
    share_out(
        pieces,
        threads,
        || Rooms {
            a: model.plan.workspace(),
            b: model.plan.workspace(),
            scratch: Scratch::default(),
        },
        |rooms, number, piece: &mut [f64]| {
            widest(Block {
                model,
                streams: [&first, &second],
                number: number as u64,
                rooms,
                piece,
            });
        },
    );
    let ranked = |output: usize| {
        let set = |set: usize| -> Vec<f64> {
            let from = |block: usize| ((block * sets + set) * outputs + output) * LANES;
            let parts = (0..blocks).filter_map(|block| held.get(from(block)..from(block) + LANES));
            parts.flatten().copied().collect()
        };
        let (a, b) = (set(0), set(1));
        (0..model.groups())
            .filter(|group| model.depends(output, *group))
            .filter_map(|group| contribution(group, &a, &b, &set(group + 2)))
            .collect()
    };
    Contributions {
        draws: (blocks * LANES) as u64,
        evaluations: (blocks * LANES * sets) as u64,
        outputs: (0..outputs).map(ranked).collect(),
    }
}

struct Rooms {
    a: Workspace,
    b: Workspace,
    scratch: Scratch,
}

struct Block<'a> {
    model: &'a Model,
    streams: [&'a [Stream]; 2],
    number: u64,
    rooms: &'a mut Rooms,
    piece: &'a mut [f64],
}

impl Loops for Block<'_> {
    #[inline(always)]
    fn run(self) {
        let Rooms { a, b, scratch } = self.rooms;
        let outputs = self.model.outputs();
        let mut sets = self.piece.chunks_exact_mut((outputs * LANES).max(1));
        for (room, streams) in [(&mut *a, self.streams[0]), (&mut *b, self.streams[1])] {
            let block = self.number;
            self.model
                .draw(room, scratch, Independent { streams, block });
            if let Some(set) = sets.next() {
                keep(self.model, room, set);
            }
        }
        for group in &self.model.groups {
            exchange(group, a, b);
            self.model.plan.compute(a);
            if let Some(set) = sets.next() {
                keep(self.model, a, set);
            }
            exchange(group, a, b);
        }
    }
}

#[inline(always)]
fn exchange(group: &super::model::Group, a: &mut Workspace, b: &mut Workspace) {
    if let (Some(a), Some(b)) = (a.members_mut(group), b.members_mut(group)) {
        a.swap_with_slice(b);
    }
}

#[inline(always)]
fn keep(model: &Model, room: &Workspace, set: &mut [f64]) {
    for (values, slot) in set.chunks_exact_mut(LANES).zip(&model.plan.outputs) {
        if let Some(lanes) = room.slot(*slot) {
            values.copy_from_slice(&lanes.0);
        }
    }
}

/// None where the output does not vary, or is no finite number.
fn contribution(group: usize, a: &[f64], b: &[f64], ab: &[f64]) -> Option<Contribution> {
    let finite = |(a, b, ab): &(f64, f64, f64)| a.is_finite() && b.is_finite() && ab.is_finite();
    let rows: Vec<(f64, f64, f64)> = a
        .iter()
        .zip(b)
        .zip(ab)
        .map(|((a, b), ab)| (*a, *b, *ab))
        .filter(finite)
        .collect();
    let n = rows.len() as f64;
    let mean = rows.iter().map(|(a, b, _)| a + b).sum::<f64>() / (2.0 * n);
    // Of each row: its part of the variance, of the first order and of the total.
    let parts: Vec<[f64; 3]> = rows
        .iter()
        .map(|(a, b, ab)| {
            let (from_a, from_b) = (a - mean, b - mean);
            [
                0.5 * (from_a * from_a + from_b * from_b),
                from_b * (ab - a),
                0.5 * (a - ab) * (a - ab),
            ]
        })
        .collect();
    let sum = |at: usize| parts.iter().map(|part| part[at]).sum::<f64>();
    let variance = sum(0);
    if !(variance > 0.0 && n > 1.0) {
        return None;
    }
    // A ratio of two means: its error is that of the residuals.
    let index = |at: usize| {
        let index = sum(at) / variance;
        let residual = |part: &[f64; 3]| (part[at] - index * part[0]).powi(2);
        let error = parts.iter().map(residual).sum::<f64>().sqrt() / variance;
        (index, error)
    };
    let ((first_order, first_order_error), (total, total_error)) = (index(1), index(2));
    Some(Contribution {
        group,
        first_order,
        first_order_error,
        total,
        total_error,
    })
}
