//! The ledger that a statement is computed in.
//!
//! Values are exact decimals under checked arithmetic. Beside its value every
//! entry carries its slope in each uncertain input (forward-mode derivatives:
//! each operation knows its own rule, so no derivative is written by hand), and
//! the variance of any entry is `g' S g` with the covariance of the inputs that
//! one survey measured together. A factor is one input wherever it is used.

use super::{Operation, Sign, Source, Unit};
use crate::accounting::inputs::EvidenceRole;
use crate::statistics::StatisticsError;
use crate::statistics::distribution::Shape;
use crate::statistics::quantile::two_sided;
use rust_decimal::Decimal;
use std::collections::BTreeMap;

mod closing;
mod entering;
mod improvement;
mod operations;
mod simulation;

pub use improvement::Improvement;
pub use simulation::{LedgerModel, Peculiarity};

/// A computation that the ledger refuses.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum LedgerError {
    #[error("{id}: a number is too large to be computed with")]
    TooLarge { id: String },
    #[error("{id}: the inputs give {found}, the formula wants {wanted}")]
    Unit {
        id: String,
        wanted: String,
        found: String,
    },
    #[error("{id}: two different nodes would bear this name")]
    Name { id: String },
    #[error("{id}: division by zero")]
    DivisionByZero { id: String },
    #[error("{id}: the covariance does not fit the estimates")]
    Covariance { id: String },
    #[error("{id}: {reason}")]
    Statistics { id: String, reason: StatisticsError },
}

/// Name, words, formula and unit that a new entry is to have.
#[derive(Debug, Clone)]
pub struct Heading {
    pub id: String,
    pub label: String,
    pub formula: &'static str,
    /// The unit that must come out.
    pub unit: &'static str,
}

impl Heading {
    pub fn new(
        id: impl Into<String>,
        label: impl Into<String>,
        formula: &'static str,
        unit: &'static str,
    ) -> Self {
        Heading {
            id: id.into(),
            label: label.into(),
            formula,
            unit,
        }
    }
}

/// An entry of one ledger.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct NodeRef(usize);

/// A signed term of a sum.
#[derive(Debug, Clone, Copy)]
pub struct Term(pub Sign, pub NodeRef);

/// Values estimated together from the same sampled units.
#[derive(Debug, Clone)]
pub struct Survey {
    /// What the ranking of variances calls it.
    pub name: String,
    pub role: EvidenceRole,
    /// Households or answers.
    pub units: u64,
    pub degrees_of_freedom: f64,
    /// How the true values may lie around the estimates.
    pub family: Family,
    pub estimates: Vec<Estimate>,
    /// Covariance of the estimates, in their order.
    pub covariance: Vec<Vec<f64>>,
}

/// The distribution that a survey's estimates are drawn from in a simulation.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Family {
    /// Means: Student's t, jointly with the covariance.
    StudentT,
    /// One share, bounded by nothing and all: a beta distribution.
    Proportion,
}

#[derive(Debug, Clone)]
pub struct Estimate {
    pub heading: Heading,
    pub value: Decimal,
    pub at: BTreeMap<String, String>,
}

/// Standard error and the degrees of freedom it is known with (infinite: normal).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Uncertainty {
    pub standard_error: f64,
    pub degrees_of_freedom: f64,
}

struct Entry {
    heading: Heading,
    value: Decimal,
    /// Shown as given: records, factors and conventions are not rounded.
    as_given: bool,
    unit: Unit,
    unit_text: String,
    operation: Operation,
    signs: Vec<Sign>,
    inputs: Vec<usize>,
    source: Source,
    /// Of a factor or an assumption: its own distribution.
    shape: Option<Shape>,
    /// Slope in each uncertain input, by its place in `Ledger::places`.
    slopes: BTreeMap<usize, f64>,
}

/// Uncertain inputs that vary together, apart from all others.
struct Block {
    name: String,
    members: Vec<usize>,
    covariance: Vec<Vec<f64>>,
    degrees_of_freedom: f64,
    family: Family,
    origin: Origin,
}

/// What a doubt stands on, and so how it can be made smaller.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Origin {
    Factor,
    Assumption,
    Survey(EvidenceRole),
}

/// The account under construction.
pub struct Ledger {
    confidence: f64,
    entries: Vec<Entry>,
    names: BTreeMap<String, usize>,
    blocks: Vec<Block>,
    /// Block and member of each uncertain input.
    places: Vec<(usize, usize)>,
}

impl Ledger {
    /// `confidence` of the intervals, between 0 and 1.
    pub fn new(confidence: f64) -> Result<Self, StatisticsError> {
        two_sided(confidence, f64::INFINITY)?;
        Ok(Ledger {
            confidence,
            entries: Vec::new(),
            names: BTreeMap::new(),
            blocks: Vec::new(),
            places: Vec::new(),
        })
    }

    /// The entry of this name, if there is one.
    pub fn find(&self, id: &str) -> Option<NodeRef> {
        self.names.get(id).copied().map(NodeRef)
    }

    pub fn id(&self, node: NodeRef) -> &str {
        self.entries
            .get(node.0)
            .map_or("", |entry| entry.heading.id.as_str())
    }

    pub fn label(&self, node: NodeRef) -> &str {
        self.entries
            .get(node.0)
            .map_or("", |entry| entry.heading.label.as_str())
    }

    pub fn unit(&self, node: NodeRef) -> &str {
        self.entries
            .get(node.0)
            .map_or("", |entry| entry.unit_text.as_str())
    }

    pub fn value(&self, node: NodeRef) -> Decimal {
        self.entries
            .get(node.0)
            .map_or(Decimal::ZERO, |entry| entry.value)
    }

    fn entry(&self, node: NodeRef, heading: &Heading) -> Result<&Entry, LedgerError> {
        self.entries.get(node.0).ok_or_else(|| LedgerError::Name {
            id: heading.id.clone(),
        })
    }

    fn computed(
        &mut self,
        heading: Heading,
        value: Decimal,
        operation: Operation,
        signs: Vec<Sign>,
        inputs: Vec<usize>,
        slopes: BTreeMap<usize, f64>,
    ) -> Result<NodeRef, LedgerError> {
        if self.names.contains_key(&heading.id) {
            return Err(LedgerError::Name { id: heading.id });
        }
        let at = self.entries.len();
        self.names.insert(heading.id.clone(), at);
        self.entries.push(Entry {
            unit: Unit::parse(heading.unit),
            unit_text: heading.unit.to_owned(),
            heading,
            value,
            as_given: false,
            operation,
            signs,
            inputs,
            source: Source::None,
            shape: None,
            slopes,
        });
        Ok(NodeRef(at))
    }
}

fn too_large(heading: &Heading) -> LedgerError {
    LedgerError::TooLarge {
        id: heading.id.clone(),
    }
}

#[cfg(test)]
mod simulation_tests;
#[cfg(test)]
mod tests;
