//! What the ledger can do with its entries; each operation knows its own derivative.

use super::{Heading, Ledger, LedgerError, NodeRef, Term, too_large};
use crate::accounting::rounding::to_statistic;
use crate::accounting::trace::{Operation, Sign, Unit};
use rust_decimal::Decimal;
use std::collections::BTreeMap;

impl Ledger {
    /// Sum of signed terms, all in the unit of the heading; no terms give zero.
    pub fn sum(&mut self, heading: Heading, terms: &[Term]) -> Result<NodeRef, LedgerError> {
        let wanted = Unit::parse(heading.unit);
        let mut value = Decimal::ZERO;
        let mut slopes = BTreeMap::new();
        for Term(sign, node) in terms {
            let entry = self.entry(*node, &heading)?;
            unit_fits(&heading, &wanted, &entry.unit)?;
            let signed = if *sign == Sign::Plus { 1.0 } else { -1.0 };
            value = match sign {
                Sign::Plus => value.checked_add(entry.value),
                Sign::Minus => value.checked_sub(entry.value),
            }
            .ok_or_else(|| too_large(&heading))?;
            add_slopes(&mut slopes, &entry.slopes, signed);
        }
        let inputs = terms.iter().map(|term| term.1.0).collect();
        let signs = terms.iter().map(|term| term.0).collect();
        self.computed(heading, value, Operation::Sum, signs, inputs, slopes)
    }

    /// `a - b`.
    pub fn difference(
        &mut self,
        heading: Heading,
        a: NodeRef,
        b: NodeRef,
    ) -> Result<NodeRef, LedgerError> {
        self.sum(heading, &[Term(Sign::Plus, a), Term(Sign::Minus, b)])
    }

    pub fn product(
        &mut self,
        heading: Heading,
        factors: &[NodeRef],
    ) -> Result<NodeRef, LedgerError> {
        let mut value = Decimal::ONE;
        let mut unit = Unit::default();
        let mut slopes = BTreeMap::new();
        for (place, node) in factors.iter().enumerate() {
            let entry = self.entry(*node, &heading)?;
            value = value
                .checked_mul(entry.value)
                .ok_or_else(|| too_large(&heading))?;
            unit = unit.times(&entry.unit);
            let others = factors
                .iter()
                .enumerate()
                .filter(|(other, _)| *other != place);
            let slope = others
                .map(|(_, other)| to_statistic(self.value(*other)))
                .product();
            add_slopes(&mut slopes, &entry.slopes, slope);
        }
        unit_fits(&heading, &Unit::parse(heading.unit), &unit)?;
        let inputs = factors.iter().map(|node| node.0).collect();
        self.computed(
            heading,
            value,
            Operation::Product,
            Vec::new(),
            inputs,
            slopes,
        )
    }

    /// `a / b`.
    pub fn quotient(
        &mut self,
        heading: Heading,
        a: NodeRef,
        b: NodeRef,
    ) -> Result<NodeRef, LedgerError> {
        let (above, below) = (self.entry(a, &heading)?, self.entry(b, &heading)?);
        if below.value.is_zero() {
            return Err(LedgerError::DivisionByZero { id: heading.id });
        }
        unit_fits(
            &heading,
            &Unit::parse(heading.unit),
            &above.unit.per(&below.unit),
        )?;
        let value = above
            .value
            .checked_div(below.value)
            .ok_or_else(|| too_large(&heading))?;
        let divisor = to_statistic(below.value);
        let mut slopes = BTreeMap::new();
        add_slopes(&mut slopes, &above.slopes, 1.0 / divisor);
        add_slopes(&mut slopes, &below.slopes, -to_statistic(value) / divisor);
        self.computed(
            heading,
            value,
            Operation::Quotient,
            Vec::new(),
            vec![a.0, b.0],
            slopes,
        )
    }
}

impl Ledger {
    /// `node`, no lower than `lowest` and no higher than `highest`; at a bound, the bound's slopes.
    pub fn bounded(
        &mut self,
        heading: Heading,
        node: NodeRef,
        lowest: NodeRef,
        highest: NodeRef,
    ) -> Result<NodeRef, LedgerError> {
        let wanted = Unit::parse(heading.unit);
        for each in [node, lowest, highest] {
            unit_fits(&heading, &wanted, &self.entry(each, &heading)?.unit)?;
        }
        let (value, low, high) = (self.value(node), self.value(lowest), self.value(highest));
        let taken = if value < low {
            lowest
        } else if value > high {
            highest
        } else {
            node
        };
        let entry = self.entry(taken, &heading)?;
        let (value, slopes) = (entry.value, entry.slopes.clone());
        let inputs = vec![node.0, lowest.0, highest.0];
        self.computed(
            heading,
            value,
            Operation::Bounded,
            Vec::new(),
            inputs,
            slopes,
        )
    }
}

fn add_slopes(to: &mut BTreeMap<usize, f64>, from: &BTreeMap<usize, f64>, times: f64) {
    for (input, slope) in from {
        *to.entry(*input).or_insert(0.0) += slope * times;
    }
}

fn unit_fits(heading: &Heading, wanted: &Unit, found: &Unit) -> Result<(), LedgerError> {
    if wanted == found {
        return Ok(());
    }
    Err(LedgerError::Unit {
        id: heading.id.clone(),
        wanted: wanted.to_string(),
        found: found.to_string(),
    })
}
