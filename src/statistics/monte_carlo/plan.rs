//! The order in which a model is computed, in few and reused lanes.
//!
//! A term of one sum alone is added the moment it is known, and a product of that kind is never
//! written down: a sum over hundreds of cohorts needs room for one of them.

use super::marginal::within;
use super::model::{Group, Node, Value};
use super::planner::Planner;
use super::{LANES, Lanes};

/// One pass over the lanes.
#[derive(Debug, Clone)]
pub(super) enum Step {
    /// `out = start + coefficient * product of factors`; without a start, what `out` holds is it.
    Add {
        out: usize,
        start: Option<f64>,
        coefficient: f64,
        factors: Vec<usize>,
    },
    /// Two additions at once, of one factor each: `out = start + c * a + d * b`.
    AddTwo {
        out: usize,
        start: Option<f64>,
        terms: [(f64, usize); 2],
    },
    Multiply {
        out: usize,
        coefficient: f64,
        factors: Vec<usize>,
    },
    Divide {
        out: usize,
        above: usize,
        below: usize,
    },
    Bound {
        out: usize,
        value: usize,
        lowest: usize,
        highest: usize,
    },
}

/// The compiled operations of a model.
#[derive(Debug, Clone)]
pub(super) struct Plan {
    pub steps: Vec<Step>,
    pub slots: usize,
    /// Slots that hold a constant throughout.
    pub constants: Vec<(usize, f64)>,
    /// The slot of each output.
    pub outputs: Vec<usize>,
    /// Of each output: which inputs move it.
    pub dependence: Vec<Vec<bool>>,
}

/// The lanes of all slots; the inputs stand first.
#[derive(Debug)]
pub(super) struct Workspace {
    slots: Vec<Lanes>,
}

impl Workspace {
    pub fn slot(&self, slot: usize) -> Option<&Lanes> {
        self.slots.get(slot)
    }

    pub fn members_mut(&mut self, group: &Group) -> Option<&mut [Lanes]> {
        self.slots
            .get_mut(group.first_input..group.first_input + group.members)
    }
}

impl Plan {
    pub fn new(nodes: &[Node], inputs: usize, outputs: &[Value]) -> Plan {
        Planner::new(nodes, inputs, outputs).plan(outputs)
    }

    pub fn workspace(&self) -> Workspace {
        let mut slots = vec![Lanes::default(); self.slots];
        for (slot, value) in &self.constants {
            if let Some(lanes) = slots.get_mut(*slot) {
                lanes.0 = [*value; LANES];
            }
        }
        Workspace { slots }
    }

    /// Computes every step from the inputs that the workspace holds.
    #[inline(always)]
    pub fn compute(&self, workspace: &mut Workspace) {
        for step in &self.steps {
            let out = match step {
                Step::Add { out, .. }
                | Step::AddTwo { out, .. }
                | Step::Multiply { out, .. }
                | Step::Divide { out, .. }
                | Step::Bound { out, .. } => *out,
            };
            // The operands are never the slot that is written.
            let (before, rest) = workspace.slots.split_at_mut(out);
            let Some((written, after)) = rest.split_first_mut() else {
                continue;
            };
            let operands = Operands { before, after, out };
            step.compute(written, &operands);
        }
    }
}

/// All slots but the one that is written.
struct Operands<'a> {
    before: &'a [Lanes],
    after: &'a [Lanes],
    out: usize,
}

impl Operands<'_> {
    #[inline(always)]
    fn at(&self, slot: usize) -> &Lanes {
        if slot < self.out {
            &self.before[slot]
        } else {
            &self.after[slot - self.out - 1]
        }
    }
}

/// `out[k] = f(k)` for every lane.
macro_rules! each_lane {
    ($out:ident, $k:ident => $value:expr) => {
        for $k in 0..LANES {
            $out.0[$k] = $value;
        }
    };
}

impl Step {
    #[inline(always)]
    fn compute(&self, out: &mut Lanes, operands: &Operands) {
        match self {
            Step::Add {
                start,
                coefficient,
                factors,
                ..
            } => add(out, *start, *coefficient, factors, operands),
            Step::AddTwo { start, terms, .. } => {
                let [(c, a), (d, b)] = *terms;
                let (a, b) = (operands.at(a), operands.at(b));
                match *start {
                    Some(start) => each_lane!(out, k => start + c * a.0[k] + d * b.0[k]),
                    None => each_lane!(out, k => out.0[k] + c * a.0[k] + d * b.0[k]),
                }
            }
            Step::Multiply {
                coefficient,
                factors,
                ..
            } => multiply(out, *coefficient, factors, operands),
            Step::Divide { above, below, .. } => {
                let (above, below) = (operands.at(*above), operands.at(*below));
                each_lane!(out, k => above.0[k] / below.0[k]);
            }
            Step::Bound {
                value,
                lowest,
                highest,
                ..
            } => {
                let (value, lowest, highest) = (
                    operands.at(*value),
                    operands.at(*lowest),
                    operands.at(*highest),
                );
                each_lane!(out, k => within(value.0[k], lowest.0[k], highest.0[k]));
            }
        }
    }
}

#[inline(always)]
fn add(out: &mut Lanes, start: Option<f64>, c: f64, factors: &[usize], operands: &Operands) {
    let at = |slot: &usize| operands.at(*slot);
    match (factors, start) {
        ([a], Some(start)) => {
            let a = at(a);
            each_lane!(out, k => start + c * a.0[k]);
        }
        ([a], None) => {
            let a = at(a);
            each_lane!(out, k => out.0[k] + c * a.0[k]);
        }
        ([a, b], Some(start)) => {
            let (a, b) = (at(a), at(b));
            each_lane!(out, k => start + c * a.0[k] * b.0[k]);
        }
        ([a, b], None) => {
            let (a, b) = (at(a), at(b));
            each_lane!(out, k => out.0[k] + c * a.0[k] * b.0[k]);
        }
        ([a, b, d], None) => {
            let (a, b, d) = (at(a), at(b), at(d));
            each_lane!(out, k => out.0[k] + c * a.0[k] * b.0[k] * d.0[k]);
        }
        ([a, b, d, e], None) => {
            let (a, b, d, e) = (at(a), at(b), at(d), at(e));
            each_lane!(out, k => out.0[k] + c * a.0[k] * b.0[k] * d.0[k] * e.0[k]);
        }
        (factors, start) => {
            let mut product = Lanes::default();
            multiply(&mut product, c, factors, operands);
            match start {
                Some(start) => each_lane!(out, k => start + product.0[k]),
                None => each_lane!(out, k => out.0[k] + product.0[k]),
            }
        }
    }
}

#[inline(always)]
fn multiply(out: &mut Lanes, c: f64, factors: &[usize], operands: &Operands) {
    let at = |slot: &usize| operands.at(*slot);
    let (first, rest) = factors.split_at(factors.len().min(4));
    match first {
        [] => each_lane!(out, k => {
            let _ = k;
            c
        }),
        [a] => {
            let a = at(a);
            each_lane!(out, k => c * a.0[k]);
        }
        [a, b] => {
            let (a, b) = (at(a), at(b));
            each_lane!(out, k => c * a.0[k] * b.0[k]);
        }
        [a, b, d] => {
            let (a, b, d) = (at(a), at(b), at(d));
            each_lane!(out, k => c * a.0[k] * b.0[k] * d.0[k]);
        }
        [a, b, d, e, ..] => {
            let (a, b, d, e) = (at(a), at(b), at(d), at(e));
            each_lane!(out, k => c * a.0[k] * b.0[k] * d.0[k] * e.0[k]);
        }
    }
    for factor in rest {
        let factor = at(factor);
        each_lane!(out, k => out.0[k] * factor.0[k]);
    }
}
