//! The ledger as a model that can be drawn: one draw of an input serves every place that uses it.

use super::{Block, Entry, Family, Ledger, LedgerError, NodeRef, Origin};
use crate::accounting::rounding::to_statistic;
use crate::accounting::trace::{Operation, Sign};
use crate::statistics::StatisticsError;
use crate::statistics::distribution::Shape;
use crate::statistics::monte_carlo::{Marginal, Model, ModelBuilder, Value};
use std::collections::BTreeSet;

/// Share of the variance from which on an input can explain anything.
const WORTH_NAMING: f64 = 0.05;
/// Part of its interval by which an input's arms may differ before it is called skewed.
const EVEN_ARMS: f64 = 0.1;
/// Degrees of freedom below which Student's t is far from the normal.
const FEW_DEGREES: f64 = 10.0;

/// A compiled model, and which input of the ledger each of its groups is.
#[derive(Debug, Clone)]
pub struct LedgerModel {
    pub model: Model,
    blocks: Vec<usize>,
}

/// What keeps straight-line propagation from following an input.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub enum Peculiarity {
    /// Its distribution reaches further to one side.
    Skewed { input: String },
    /// A share so near nothing or all that a symmetric interval would leave the range.
    NearBound { input: String },
    /// A survey of few units.
    FewDegrees { input: String },
    /// A value is cut off at a bound that its interval crosses.
    CutOff { label: String },
}

impl Ledger {
    /// The model whose outputs are `nodes`, in their order.
    pub fn model(&self, nodes: &[NodeRef]) -> Result<LedgerModel, LedgerError> {
        let mut builder = ModelBuilder::default();
        let mut blocks = Vec::new();
        let mut values: Vec<Option<Value>> = vec![None; self.entries.len()];
        for (at, block) in self.blocks.iter().enumerate() {
            let drawn = self.enter_block(&mut builder, block)?;
            if let Some(drawn) = drawn {
                blocks.push(at);
                for (member, value) in block.members.iter().zip(drawn) {
                    if let Some(place) = values.get_mut(*member) {
                        *place = Some(value);
                    }
                }
            }
        }
        for (at, entry) in self.entries.iter().enumerate() {
            let known = values.get(at).copied().flatten();
            let value = match known {
                Some(known) => known,
                None => compute(&mut builder, entry, &values),
            };
            if let Some(place) = values.get_mut(at) {
                *place = Some(value);
            }
        }
        let outputs: Option<Vec<Value>> = nodes
            .iter()
            .map(|node| values.get(node.0).copied().flatten())
            .collect();
        let outputs = outputs.ok_or_else(|| LedgerError::Name { id: String::new() })?;
        Ok(LedgerModel {
            model: builder.compile(&outputs),
            blocks,
        })
    }

    /// The drawn members of a block; none where nothing is in doubt.
    fn enter_block(
        &self,
        builder: &mut ModelBuilder,
        block: &Block,
    ) -> Result<Option<Vec<Value>>, LedgerError> {
        let refused = |reason: StatisticsError| LedgerError::Statistics {
            id: block.name.clone(),
            reason,
        };
        let variance = |at: usize| block.covariance.get(at).and_then(|line| line.get(at));
        if (0..block.members.len()).all(|at| variance(at).copied().unwrap_or(0.0) == 0.0) {
            return Ok(None);
        }
        let means: Vec<f64> = block
            .members
            .iter()
            .map(|member| to_statistic(self.value(NodeRef(*member))))
            .collect();
        let shape = block.members.first().and_then(|member| self.shape(*member));
        let drawn = match (shape, block.family, means.as_slice()) {
            (Some(shape), _, [stated]) => {
                let marginal = marginal(shape, *stated).map_err(refused)?;
                vec![builder.independent(marginal).map_err(refused)?]
            }
            (_, Family::Proportion, [mean]) => {
                let variance = variance(0).copied().unwrap_or(0.0);
                let marginal = Marginal::share(*mean, variance).map_err(refused)?;
                vec![builder.independent(marginal).map_err(refused)?]
            }
            _ => builder
                .joint(&means, &block.covariance, block.degrees_of_freedom)
                .map_err(refused)?,
        };
        Ok(Some(drawn))
    }

    fn shape(&self, entry: usize) -> Option<Shape> {
        self.entries.get(entry).and_then(|entry| entry.shape)
    }

    /// What the ranking of variances calls a group of the model, and the ids of its nodes.
    pub fn group(&self, model: &LedgerModel, group: usize) -> (String, Vec<String>) {
        let block = model.blocks.get(group).and_then(|at| self.blocks.get(*at));
        block.map_or_else(Default::default, |block| {
            let ids = block.members.iter();
            let ids = ids.map(|member| self.id(NodeRef(*member)).to_owned());
            (block.name.clone(), ids.collect())
        })
    }

    /// Why the drawn interval of `node` may part from the propagated one, as the data tell it.
    pub fn peculiarities(&self, node: NodeRef) -> BTreeSet<Peculiarity> {
        let mut found = self.cut_off(node);
        let parts = self.variance_by_block(node);
        let total: f64 = parts.values().map(|(part, _)| part.variance).sum();
        for (at, (part, _)) in &parts {
            let Some(block) = self.blocks.get(*at) else {
                continue;
            };
            if part.variance < WORTH_NAMING * total {
                continue;
            }
            let input = block.name.clone();
            match (block.origin, block.family) {
                (Origin::Factor | Origin::Assumption, _) => {
                    if block.members.iter().any(|member| self.is_skewed(*member)) {
                        found.insert(Peculiarity::Skewed { input });
                    }
                }
                (Origin::Survey(_), Family::Proportion) => {
                    if block.members.iter().any(|member| self.nears_bound(*member)) {
                        found.insert(Peculiarity::NearBound { input });
                    }
                }
                (Origin::Survey(_), Family::StudentT) => {
                    if block.degrees_of_freedom < FEW_DEGREES {
                        found.insert(Peculiarity::FewDegrees { input });
                    }
                }
            }
        }
        found
    }

    fn arms(&self, entry: usize) -> Option<(f64, f64, f64)> {
        let (lower, upper) = self.interval(NodeRef(entry)).ok()?;
        let value = to_statistic(self.value(NodeRef(entry)));
        Some((to_statistic(lower), value, to_statistic(upper)))
    }

    fn is_skewed(&self, entry: usize) -> bool {
        self.arms(entry).is_some_and(|(lower, value, upper)| {
            ((upper - value) - (value - lower)).abs() > EVEN_ARMS * (upper - lower)
        })
    }

    /// Two standard errors from the share lies nothing, or all.
    fn nears_bound(&self, entry: usize) -> bool {
        let node = NodeRef(entry);
        let (share, reach) = (
            to_statistic(self.value(node)),
            2.0 * self.uncertainty(node).standard_error,
        );
        share - reach < 0.0 || share + reach > 1.0
    }

    /// Bounded entries below `node` whose interval crosses a bound.
    fn cut_off(&self, node: NodeRef) -> BTreeSet<Peculiarity> {
        let (mut open, mut seen) = (vec![node.0], BTreeSet::new());
        let mut found = BTreeSet::new();
        while let Some(at) = open.pop() {
            let Some(entry) = self.entries.get(at).filter(|_| seen.insert(at)) else {
                continue;
            };
            open.extend(&entry.inputs);
            let (Operation::Bounded, [value, lowest, highest]) =
                (entry.operation, entry.inputs.as_slice())
            else {
                continue;
            };
            let bound = |at: usize| to_statistic(self.value(NodeRef(at)));
            let crosses = self
                .arms(*value)
                .is_some_and(|(lower, _, upper)| lower < bound(*lowest) || upper > bound(*highest));
            if crosses {
                let label = entry.heading.label.clone();
                found.insert(Peculiarity::CutOff { label });
            }
        }
        found
    }
}

fn compute(builder: &mut ModelBuilder, entry: &Entry, values: &[Option<Value>]) -> Value {
    let inputs: Option<Vec<Value>> = entry
        .inputs
        .iter()
        .map(|input| values.get(*input).copied().flatten())
        .collect();
    match (entry.operation, inputs.as_deref()) {
        (Operation::Sum, Some(inputs)) => {
            let signed = |(sign, value): (&Sign, &Value)| {
                let sign = if *sign == Sign::Plus { 1.0 } else { -1.0 };
                (sign, *value)
            };
            let terms: Vec<(f64, Value)> = entry.signs.iter().zip(inputs).map(signed).collect();
            builder.sum(&terms)
        }
        (Operation::Product, Some(inputs)) => builder.product(inputs),
        (Operation::Quotient, Some([above, below])) => builder.quotient(*above, *below),
        (Operation::Bounded, Some([value, lowest, highest])) => {
            builder.bounded(*value, *lowest, *highest)
        }
        _ => builder.constant(to_statistic(entry.value)),
    }
}

/// The distribution that a factor is drawn from. A lognormal's stated value is its median.
fn marginal(shape: Shape, stated: f64) -> Result<Marginal, StatisticsError> {
    Ok(match shape {
        Shape::Exact => Marginal::Uniform {
            lower: stated,
            upper: stated,
        },
        Shape::Normal { standard_deviation } => Marginal::Normal {
            mean: stated,
            standard_deviation,
        },
        Shape::TruncatedNormal {
            standard_deviation,
            lower,
            upper,
        } => Marginal::TruncatedNormal {
            centre: stated,
            standard_deviation,
            lower,
            upper,
        },
        Shape::Lognormal {
            lower,
            upper,
            confidence,
        } => Marginal::lognormal(stated, lower, upper, confidence)?,
        Shape::Triangular { lower, upper } => Marginal::Triangular {
            lower,
            mode: stated,
            upper,
        },
        Shape::Uniform { lower, upper } => Marginal::Uniform { lower, upper },
    })
}
