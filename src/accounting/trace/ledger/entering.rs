//! What enters the ledger from outside: factors, records, surveys, conventions, assumptions.

use super::{Block, Estimate, Family, Heading, Ledger, LedgerError, NodeRef, Origin, Survey};
use crate::accounting::factor::{Factor, FactorId, Spread};
use crate::accounting::inputs::EvidenceRole;
use crate::accounting::rounding::to_statistic;
use crate::accounting::trace::{Operation, Source};
use crate::statistics::distribution::{Shape, moments};
use rust_decimal::Decimal;
use std::collections::BTreeMap;

impl Ledger {
    /// Name of the entry that a factor has, or would have.
    pub fn node_id_of(factor: &FactorId) -> String {
        format!("factor/{factor}")
    }

    /// A factor, with `unit` as the formulas read it. Asked for again, it is the same entry.
    pub fn factor(&mut self, factor: &Factor, unit: &'static str) -> Result<NodeRef, LedgerError> {
        let id = Self::node_id_of(&factor.id());
        self.factor_as(id, factor_label(factor), factor, unit)
    }

    /// A factor that each of several things draws anew, e.g. how far one material lies from a
    /// line through many; `of` names the thing.
    pub fn factor_apart(
        &mut self,
        factor: &Factor,
        unit: &'static str,
        of: &str,
    ) -> Result<NodeRef, LedgerError> {
        let id = format!("{}/{of}", Self::node_id_of(&factor.id()));
        let label = format!("{}, {of}", factor_label(factor));
        self.factor_as(id, label, factor, unit)
    }

    fn factor_as(
        &mut self,
        id: String,
        label: String,
        factor: &Factor,
        unit: &'static str,
    ) -> Result<NodeRef, LedgerError> {
        if let Some(known) = self.find(&id) {
            return Ok(known);
        }
        let heading = Heading::new(id, label, "factor", unit);
        let shape = shape_of(factor);
        let doubt = spread_of(shape, factor.value, &heading.id)?;
        let source = Source::Factor { id: factor.id() };
        let name = heading.label.clone();
        let node = self.given(heading, factor.value, Operation::Factor, source)?;
        if let Some(entry) = self.entries.get_mut(node.0) {
            entry.unit_text.clone_from(&factor.unit);
            entry.shape = Some(shape);
        }
        self.doubt(Block {
            name,
            members: vec![node.0],
            covariance: vec![vec![doubt * doubt]],
            degrees_of_freedom: f64::INFINITY,
            family: Family::StudentT,
            origin: Origin::Factor,
        });
        Ok(node)
    }

    /// A count or sum of the records, which no sampling stands behind.
    pub fn record(
        &mut self,
        heading: Heading,
        value: Decimal,
        role: EvidenceRole,
        at: BTreeMap<String, String>,
        units: u64,
    ) -> Result<NodeRef, LedgerError> {
        self.given(
            heading,
            value,
            Operation::Evidence,
            Source::Evidence { role, at, units },
        )
    }

    /// The estimates of one survey, in their order.
    pub fn survey(&mut self, survey: Survey) -> Result<Vec<NodeRef>, LedgerError> {
        let Survey {
            name,
            role,
            units,
            degrees_of_freedom,
            family,
            estimates,
            covariance,
        } = survey;
        let size = estimates.len();
        if covariance.len() != size || covariance.iter().any(|line| line.len() != size) {
            return Err(LedgerError::Covariance { id: name });
        }
        let mut nodes = Vec::with_capacity(size);
        for Estimate { heading, value, at } in estimates {
            let source = Source::Evidence { role, at, units };
            let node = self.given(heading, value, Operation::Evidence, source)?;
            if let Some(entry) = self.entries.get_mut(node.0) {
                entry.as_given = false;
            }
            nodes.push(node);
        }
        self.doubt(Block {
            name,
            members: nodes.iter().map(|node| node.0).collect(),
            covariance,
            degrees_of_freedom,
            family,
            origin: Origin::Survey(role),
        });
        Ok(nodes)
    }

    /// Says that an estimate rests on rows of another role than its survey: where the same
    /// units were measured before and after, one survey has rows of two roles.
    pub fn rests_on(&mut self, node: NodeRef, other: EvidenceRole) {
        if let Some(entry) = self.entries.get_mut(node.0)
            && let Source::Evidence { role, .. } = &mut entry.source
        {
            *role = other;
        }
    }

    /// A convention without doubt. Asked for again with the same value, it is the same entry.
    pub fn constant(&mut self, heading: Heading, value: Decimal) -> Result<NodeRef, LedgerError> {
        if let Some(known) = self.find(&heading.id)
            && self.value(known) == value
        {
            return Ok(known);
        }
        self.given(heading, value, Operation::Convention, Source::None)
    }

    /// A value assumed for want of a better one, with the doubt that this brings.
    pub fn assumption(
        &mut self,
        heading: Heading,
        value: Decimal,
        shape: Shape,
    ) -> Result<NodeRef, LedgerError> {
        let doubt = spread_of(shape, value, &heading.id)?;
        let name = heading.label.clone();
        let node = self.given(heading, value, Operation::Convention, Source::None)?;
        if let Some(entry) = self.entries.get_mut(node.0) {
            entry.shape = Some(shape);
        }
        self.doubt(Block {
            name,
            members: vec![node.0],
            covariance: vec![vec![doubt * doubt]],
            degrees_of_freedom: f64::INFINITY,
            family: Family::StudentT,
            origin: Origin::Assumption,
        });
        Ok(node)
    }

    fn given(
        &mut self,
        heading: Heading,
        value: Decimal,
        operation: Operation,
        source: Source,
    ) -> Result<NodeRef, LedgerError> {
        let node = self.computed(
            heading,
            value,
            operation,
            Vec::new(),
            Vec::new(),
            BTreeMap::new(),
        )?;
        if let Some(entry) = self.entries.get_mut(node.0) {
            entry.as_given = true;
            entry.source = source;
            entry.value = value.normalize();
        }
        Ok(node)
    }

    /// Makes the members of `block` uncertain inputs that vary together.
    fn doubt(&mut self, block: Block) {
        let place = self.blocks.len();
        for (member, node) in block.members.iter().enumerate() {
            let input = self.places.len();
            self.places.push((place, member));
            if let Some(entry) = self.entries.get_mut(*node) {
                entry.slopes = BTreeMap::from([(input, 1.0)]);
            }
        }
        self.blocks.push(block);
    }
}

/// The distribution of a factor, from its stated spread.
fn shape_of(factor: &Factor) -> Shape {
    let number = |value: &Decimal| to_statistic(*value);
    match &factor.spread {
        Spread::Exact => Shape::Exact,
        Spread::Normal { standard_deviation } => Shape::Normal {
            standard_deviation: number(standard_deviation),
        },
        Spread::TruncatedNormal {
            standard_deviation,
            lower,
            upper,
        } => Shape::TruncatedNormal {
            standard_deviation: number(standard_deviation),
            lower: number(lower),
            upper: number(upper),
        },
        Spread::Lognormal {
            lower,
            upper,
            confidence,
        } => Shape::Lognormal {
            lower: number(lower),
            upper: number(upper),
            confidence: number(confidence),
        },
        Spread::Triangular { lower, upper } => Shape::Triangular {
            lower: number(lower),
            upper: number(upper),
        },
        Spread::Uniform { lower, upper } => Shape::Uniform {
            lower: number(lower),
            upper: number(upper),
        },
    }
}

/// Standard deviation of a distribution around its stated value.
fn spread_of(shape: Shape, stated: Decimal, id: &str) -> Result<f64, LedgerError> {
    moments(shape, to_statistic(stated))
        .map(|found| found.standard_deviation)
        .map_err(|reason| LedgerError::Statistics {
            id: id.to_owned(),
            reason,
        })
}

fn factor_label(factor: &Factor) -> String {
    let about = [&factor.species, &factor.fuel, &factor.device];
    let about: Vec<&str> = about.into_iter().flatten().map(String::as_str).collect();
    let of = if about.is_empty() {
        String::new()
    } else {
        format!(" of {}", about.join(", "))
    };
    format!("{}{of} ({})", factor.quantity.words(), factor.id())
}
