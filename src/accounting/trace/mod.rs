//! The trace: how every stated figure came to be, node by node.
//!
//! The nodes stand in topological order: what a node is computed from comes
//! before it. Each opens down to factors, conventions or evidence, and the
//! evidence names the raw rows.

mod ledger;
mod prov;
mod unit;

pub use ledger::{
    Estimate, Family, Heading, Improvement, Ledger, LedgerError, LedgerModel, NodeRef, Origin,
    Peculiarity, Survey, Term, Uncertainty,
};
pub use prov::prov_json;
pub use unit::Unit;

use crate::accounting::factor::FactorId;
use crate::accounting::inputs::EvidenceRole;
use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// All nodes of a statement, inputs before what is made of them.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, Default)]
#[serde(deny_unknown_fields)]
pub struct Trace {
    pub nodes: Vec<Node>,
}

impl Trace {
    pub fn node(&self, id: &str) -> Option<&Node> {
        self.nodes.iter().find(|node| node.id == id)
    }
}

/// One number of the account and where it comes from.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Node {
    /// Stable and path-like, e.g. `co2e/baseline/three_stone_fire/wood`.
    pub id: String,
    pub label: String,
    pub formula: Formula,
    pub unit: String,
    #[serde(with = "rust_decimal::serde::str")]
    pub value: Decimal,
    #[serde(with = "rust_decimal::serde::str")]
    pub standard_error: Decimal,
    /// Two-sided interval at the methodology's confidence.
    #[serde(with = "rust_decimal::serde::str")]
    pub lower: Decimal,
    #[serde(with = "rust_decimal::serde::str")]
    pub upper: Decimal,
    /// Of the Student t quantile behind the interval; absent = normal, or no doubt at all.
    #[serde(with = "rust_decimal::serde::str_option", default)]
    pub degrees_of_freedom: Option<Decimal>,
    pub inputs: Vec<String>,
    pub source: Source,
}

/// The named formula of a node and what it does with its inputs.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Formula {
    /// E.g. `dry-fuel-saved`.
    pub id: String,
    pub operation: Operation,
    /// Of a sum: the sign of each input, in order.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub signs: Vec<Sign>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Operation {
    Factor,
    Evidence,
    /// A choice or definition that rests on no measurement.
    Convention,
    Sum,
    Product,
    /// The first input over the second.
    Quotient,
    /// The first input, no lower than the second and no higher than the third.
    Bounded,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Sign {
    Plus,
    Minus,
}

/// Where a node's value enters the account.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "snake_case", deny_unknown_fields)]
pub enum Source {
    /// Computed from its inputs, or a convention.
    None,
    Factor {
        id: FactorId,
    },
    Evidence {
        role: EvidenceRole,
        /// Picks the raw rows: e.g. device, fuel, age_band, feedstock, fate.
        #[serde(rename = "where")]
        at: BTreeMap<String, String>,
        /// Households, answers, weighings or stoves behind the value.
        units: u64,
    },
}

/// How much of a figure's variance one input brings.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Share {
    pub input: String,
    /// The nodes of this input; a survey has several that vary together.
    pub nodes: Vec<String>,
    /// Fraction of the variance.
    #[serde(with = "rust_decimal::serde::str")]
    pub share: Decimal,
}
