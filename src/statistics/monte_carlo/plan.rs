//! The order in which a model is computed, in few and reused lanes.
//!
//! A term of one sum alone is added the moment it is known, and a product of that kind is never
//! written down: a sum over hundreds of cohorts needs room for one of them.

use super::marginal::within;
use super::model::{Group, Node, Value};
use super::planner::Planner;
use super::{LANES, Lanes};

/// Lanes that are taken through all terms of a sum at once: few enough to stay in registers, and
/// for the same part of every slot to stay in the nearest cache.
const TILE: usize = 32;
type Tile = [f64; TILE];

/// One pass over the lanes.
#[derive(Debug, Clone)]
pub(super) enum Step {
    /// `out = start + terms`, one after the other; without a start, what `out` holds comes first.
    Sum {
        out: usize,
        start: Option<f64>,
        terms: Vec<Term>,
    },
    Multiply {
        out: usize,
        term: Term,
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

/// `coefficient * product of factors * inner`.
#[derive(Debug, Clone)]
pub(super) struct Term {
    pub coefficient: f64,
    pub factors: Vec<usize>,
    pub inner: Option<Inner>,
}

/// `a + c * b`: a factor that nothing else needs.
#[derive(Debug, Clone, Copy)]
pub(super) struct Inner {
    pub plain: usize,
    pub coefficient: f64,
    pub other: usize,
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
            for tile in 0..LANES / TILE {
                let (out, values) = step.compute(&Slots {
                    slots: &workspace.slots,
                    tile,
                });
                let written = workspace.slots.get_mut(out);
                let written = written.and_then(|lanes| lanes.0.as_chunks_mut().0.get_mut(tile));
                if let Some(written) = written {
                    *written = values;
                }
            }
        }
    }
}

/// The same tile of all slots.
struct Slots<'a> {
    slots: &'a [Lanes],
    tile: usize,
}

impl Slots<'_> {
    #[inline(always)]
    fn at(&self, slot: usize) -> &Tile {
        &self.slots[slot].0.as_chunks().0[self.tile]
    }
}

impl Step {
    /// The slot that is written, and the values.
    #[inline(always)]
    fn compute(&self, slots: &Slots) -> (usize, Tile) {
        let mut values = [0.0; TILE];
        let out = match self {
            Step::Sum { out, start, terms } => {
                values = start.map_or_else(|| *slots.at(*out), |start| [start; TILE]);
                for term in terms {
                    term.each(slots, &mut values, |sum, value| sum + value);
                }
                out
            }
            Step::Multiply { out, term } => {
                term.each(slots, &mut values, |_, value| value);
                out
            }
            Step::Divide { out, above, below } => {
                let (above, below) = (slots.at(*above), slots.at(*below));
                for k in 0..TILE {
                    values[k] = above[k] / below[k];
                }
                out
            }
            Step::Bound {
                out,
                value,
                lowest,
                highest,
            } => {
                let (value, lowest, highest) =
                    (slots.at(*value), slots.at(*lowest), slots.at(*highest));
                for k in 0..TILE {
                    values[k] = within(value[k], lowest[k], highest[k]);
                }
                out
            }
        };
        (*out, values)
    }
}

impl Term {
    pub fn of(coefficient: f64, slot: usize) -> Term {
        Term {
            coefficient,
            factors: vec![slot],
            inner: None,
        }
    }

    /// `into = take(into, term)` for every lane of the tile.
    #[inline(always)]
    fn each(&self, slots: &Slots, into: &mut Tile, take: impl Fn(f64, f64) -> f64 + Copy) {
        let c = self.coefficient;
        let at = |slot: &usize| slots.at(*slot);
        macro_rules! each {
            ($k:ident => $value:expr) => {
                for $k in 0..TILE {
                    into[$k] = take(into[$k], $value);
                }
            };
        }
        match (self.factors.as_slice(), &self.inner) {
            ([a], None) => {
                let a = at(a);
                each!(k => c * a[k]);
            }
            ([a, b], None) => {
                let (a, b) = (at(a), at(b));
                each!(k => c * a[k] * b[k]);
            }
            ([a, b, d], None) => {
                let (a, b, d) = (at(a), at(b), at(d));
                each!(k => c * a[k] * b[k] * d[k]);
            }
            ([a, b, d, e], None) => {
                let (a, b, d, e) = (at(a), at(b), at(d), at(e));
                each!(k => c * a[k] * b[k] * d[k] * e[k]);
            }
            ([a, b, d], Some(inner)) => {
                let (a, b, d) = (at(a), at(b), at(d));
                let (x, y) = (slots.at(inner.plain), slots.at(inner.other));
                if inner.coefficient == -1.0 {
                    // The same bits with one multiplication less.
                    each!(k => c * a[k] * b[k] * d[k] * (x[k] - y[k]));
                } else {
                    each!(k => c * a[k] * b[k] * d[k] * (x[k] + inner.coefficient * y[k]));
                }
            }
            (factors, inner) => {
                let mut product = [c; TILE];
                for factor in factors {
                    let factor = at(factor);
                    for k in 0..TILE {
                        product[k] *= factor[k];
                    }
                }
                if let Some(inner) = inner {
                    let (x, y) = (slots.at(inner.plain), slots.at(inner.other));
                    for k in 0..TILE {
                        product[k] *= x[k] + inner.coefficient * y[k];
                    }
                }
                each!(k => product[k]);
            }
        }
    }
}
