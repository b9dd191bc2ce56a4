//! Makes the plan of a model: what is needed, in which order, in which lanes.

use super::marginal::within;
use super::model::{Node, Value};
use super::plan::{Inner, Plan, Step, Term};

/// Where a node's value is found while the plan is made.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Place {
    /// Not computed (yet, or at all).
    Nowhere,
    Constant(f64),
    Slot(usize),
}

pub(super) struct Planner<'a> {
    nodes: &'a [Node],
    inputs: usize,
    places: Vec<Place>,
    /// How often each node is still read.
    uses: Vec<usize>,
    /// The only sum that reads a node, and with which sign.
    sole_sum: Vec<Option<(usize, f64)>>,
    /// The slot that a sum is growing in.
    growing: Vec<Option<usize>>,
    free: Vec<usize>,
    slots: usize,
    steps: Vec<Step>,
    constants: Vec<(usize, f64)>,
}

impl<'a> Planner<'a> {
    pub fn new(nodes: &'a [Node], inputs: usize, outputs: &[Value]) -> Self {
        let mut planner = Planner {
            nodes,
            inputs,
            places: vec![Place::Nowhere; nodes.len()],
            uses: vec![0; nodes.len()],
            sole_sum: vec![None; nodes.len()],
            growing: vec![None; nodes.len()],
            free: Vec::new(),
            slots: inputs,
            steps: Vec::new(),
            constants: Vec::new(),
        };
        for (at, node) in nodes.iter().enumerate() {
            planner.places[at] = planner.folded(node).map_or(Place::Nowhere, Place::Constant);
        }
        planner.count_uses(outputs);
        planner
    }

    /// The value of a node that rests on constants alone.
    fn folded(&self, node: &Node) -> Option<f64> {
        let known = |value: &Value| match self.places[value.0] {
            Place::Constant(known) => Some(known),
            _ => None,
        };
        match node {
            Node::Constant(value) => Some(*value),
            Node::Input(_) => None,
            Node::Sum(terms) => terms
                .iter()
                .try_fold(0.0, |sum, (sign, term)| Some(sum + sign * known(term)?)),
            Node::Product(factors) => factors
                .iter()
                .try_fold(1.0, |product, factor| Some(product * known(factor)?)),
            Node::Quotient(above, below) => Some(known(above)? / known(below)?),
            Node::Bounded(value, lowest, highest) => {
                Some(within(known(value)?, known(lowest)?, known(highest)?))
            }
        }
    }

    fn count_uses(&mut self, outputs: &[Value]) {
        for output in outputs {
            // An output is read after all steps, so its slot is never given away.
            self.uses[output.0] += 2;
        }
        for at in (0..self.nodes.len()).rev() {
            if self.uses[at] == 0 || self.places[at] != Place::Nowhere {
                continue;
            }
            for operand in operands(&self.nodes[at]) {
                self.uses[operand.0] += 1;
                self.sole_sum[operand.0] = None;
            }
            if let Node::Sum(terms) = &self.nodes[at] {
                for (sign, term) in terms {
                    self.sole_sum[term.0] = (self.uses[term.0] == 1).then_some((at, *sign));
                }
            }
        }
    }

    pub fn plan(mut self, outputs: &[Value]) -> Plan {
        for at in 0..self.nodes.len() {
            if self.uses[at] == 0 || self.places[at] != Place::Nowhere {
                continue;
            }
            self.compute(at);
        }
        let dependence = outputs.iter().map(|output| self.dependence(*output));
        let dependence = dependence.collect();
        let outputs = outputs.iter().map(|output| self.slot_of(*output)).collect();
        Plan {
            steps: self.steps,
            slots: self.slots,
            constants: self.constants,
            outputs,
            dependence,
        }
    }

    fn compute(&mut self, at: usize) {
        let nodes = self.nodes;
        let sole = self.sole_sum[at].filter(|_| self.uses[at] == 1);
        let out = match &nodes[at] {
            Node::Constant(_) => return,
            Node::Input(input) => {
                // Inputs are drawn before all steps: nothing to be gained by adding them early.
                self.places[at] = Place::Slot(*input);
                return;
            }
            Node::Product(factors) => {
                let mut term = self.term(factors);
                if let Some((sum, sign)) = sole {
                    term.coefficient *= sign;
                    self.grow(sum, term);
                    self.release_operands(at);
                    return;
                }
                let out = self.take_slot();
                self.steps.push(Step::Multiply { out, term });
                out
            }
            Node::Sum(terms) => {
                for (sign, term) in terms {
                    // Terms of this sum alone were added when they were computed, and stand nowhere.
                    if let Place::Slot(slot) = self.places[term.0] {
                        self.grow(at, Term::of(*sign, slot));
                    }
                }
                match self.growing[at] {
                    Some(slot) => slot,
                    None => return,
                }
            }
            Node::Quotient(above, below) => {
                let (above, below) = (self.slot_of(*above), self.slot_of(*below));
                let out = self.take_slot();
                self.steps.push(Step::Divide { out, above, below });
                out
            }
            Node::Bounded(value, lowest, highest) => {
                let (value, lowest, highest) = (
                    self.slot_of(*value),
                    self.slot_of(*lowest),
                    self.slot_of(*highest),
                );
                let out = self.take_slot();
                self.steps.push(Step::Bound {
                    out,
                    value,
                    lowest,
                    highest,
                });
                out
            }
        };
        self.release_operands(at);
        match sole {
            Some((sum, sign)) => {
                self.grow(sum, Term::of(sign, out));
                self.free.push(out);
            }
            None => self.places[at] = Place::Slot(out),
        }
    }

    /// The constants of a product, the slots of the rest, and the sum that it takes along.
    fn term(&mut self, factors: &[Value]) -> Term {
        let mut term = Term {
            coefficient: 1.0,
            factors: Vec::with_capacity(factors.len()),
            inner: None,
        };
        for factor in factors {
            match self.places[factor.0] {
                Place::Constant(known) => term.coefficient *= known,
                Place::Slot(slot) => {
                    // There is room for one.
                    let inner = match term.inner {
                        None => self.taken_along(*factor, slot),
                        Some(_) => None,
                    };
                    match inner {
                        Some(inner) => term.inner = Some(inner),
                        None => term.factors.push(slot),
                    }
                }
                Place::Nowhere => {}
            }
        }
        term
    }

    /// The sum of two that the step before has made for this factor alone: it need not be written.
    fn taken_along(&mut self, factor: Value, slot: usize) -> Option<Inner> {
        let Some(Step::Sum {
            out,
            start: Some(0.0),
            terms,
        }) = self.steps.last()
        else {
            return None;
        };
        let [first, second] = terms.as_slice() else {
            return None;
        };
        let (plain, other) = if first.coefficient == 1.0 {
            (first, second)
        } else {
            (second, first)
        };
        let (&[plain_slot], &[other_slot]) = (&plain.factors[..], &other.factors[..]) else {
            return None;
        };
        let alone = *out == slot && self.uses[factor.0] == 1 && plain.coefficient == 1.0;
        if !alone || plain.inner.is_some() || other.inner.is_some() {
            return None;
        }
        let inner = Inner {
            plain: plain_slot,
            coefficient: other.coefficient,
            other: other_slot,
        };
        self.steps.pop();
        Some(inner)
    }

    /// Adds to a sum; its constants come with the first addition.
    fn grow(&mut self, sum: usize, term: Term) {
        if let (Some(slot), Some(Step::Sum { out, terms, .. })) =
            (self.growing[sum], self.steps.last_mut())
            && *out == slot
        {
            terms.push(term);
            return;
        }
        let (out, start) = match self.growing[sum] {
            Some(slot) => (slot, None),
            None => {
                let slot = self.take_slot();
                self.growing[sum] = Some(slot);
                (slot, Some(self.constants_of(sum)))
            }
        };
        self.steps.push(Step::Sum {
            out,
            start,
            terms: vec![term],
        });
    }

    fn constants_of(&self, sum: usize) -> f64 {
        let Node::Sum(terms) = &self.nodes[sum] else {
            return 0.0;
        };
        terms
            .iter()
            .map(|(sign, term)| match self.places[term.0] {
                Place::Constant(known) => sign * known,
                _ => 0.0,
            })
            .sum()
    }

    fn slot_of(&mut self, value: Value) -> usize {
        match self.places[value.0] {
            Place::Slot(slot) => slot,
            Place::Constant(known) => {
                if let Some((slot, _)) = self
                    .constants
                    .iter()
                    .find(|(_, held)| held.to_bits() == known.to_bits())
                {
                    return *slot;
                }
                // A slot of its own: a reused one would lose the constant.
                let slot = self.slots;
                self.slots += 1;
                self.constants.push((slot, known));
                slot
            }
            Place::Nowhere => 0,
        }
    }

    fn take_slot(&mut self) -> usize {
        self.free.pop().unwrap_or_else(|| {
            self.slots += 1;
            self.slots - 1
        })
    }

    fn release_operands(&mut self, at: usize) {
        for operand in operands(&self.nodes[at]) {
            self.uses[operand.0] -= 1;
            if let Place::Slot(slot) = self.places[operand.0]
                && self.uses[operand.0] == 0
                && slot >= self.inputs
                && !self.free.contains(&slot)
            {
                self.free.push(slot);
            }
        }
    }

    fn dependence(&self, output: Value) -> Vec<bool> {
        let mut moves = vec![false; self.inputs];
        let mut seen = vec![false; self.nodes.len()];
        let mut open = vec![output];
        while let Some(value) = open.pop() {
            if std::mem::replace(&mut seen[value.0], true) {
                continue;
            }
            match &self.nodes[value.0] {
                Node::Input(input) => moves[*input] = true,
                node => open.extend(operands(node)),
            }
        }
        moves
    }
}

fn operands(node: &Node) -> Vec<Value> {
    match node {
        Node::Constant(_) | Node::Input(_) => Vec::new(),
        Node::Sum(terms) => terms.iter().map(|(_, term)| *term).collect(),
        Node::Product(factors) => factors.clone(),
        Node::Quotient(above, below) => vec![*above, *below],
        Node::Bounded(value, lowest, highest) => vec![*value, *lowest, *highest],
    }
}
