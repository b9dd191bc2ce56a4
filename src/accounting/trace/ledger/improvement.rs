//! How much narrower an interval would be if one input were known better.

use super::{Ledger, LedgerError, NodeRef, Origin};
use crate::statistics::estimate::{VariancePart, effective_degrees_of_freedom};
use crate::statistics::quantile::two_sided;

/// One input known better: a sample of twice its size, or a factor known half as widely.
#[derive(Debug, Clone, PartialEq)]
pub struct Improvement {
    /// What the ranking of variances calls the input.
    pub input: String,
    pub origin: Origin,
    /// Half-width of the two-sided interval, in the unit of the node.
    pub half_width: f64,
    pub half_width_then: f64,
}

impl Ledger {
    /// What each input of `node` could bring, the largest gain first.
    ///
    /// A sample of twice the size halves the variance of its estimates, and `n - 1` degrees of
    /// freedom become `2 n - 1`; a factor known half as widely has a quarter of its variance.
    pub fn improvements(&self, node: NodeRef) -> Result<Vec<Improvement>, LedgerError> {
        let parts = self.variance_by_block(node);
        let now: Vec<VariancePart> = parts.values().map(|(part, _)| *part).collect();
        let half_width = self.half_width(node, &now)?;
        let mut found = Vec::new();
        for (at, block) in parts.keys().enumerate() {
            let Some(block) = self.blocks.get(*block) else {
                continue;
            };
            let mut then = now.clone();
            if let Some(part) = then.get_mut(at) {
                match block.origin {
                    Origin::Survey(_) => {
                        part.variance /= 2.0;
                        part.degrees_of_freedom = 2.0 * part.degrees_of_freedom + 1.0;
                    }
                    Origin::Factor | Origin::Assumption => part.variance /= 4.0,
                }
            }
            found.push(Improvement {
                input: block.name.clone(),
                origin: block.origin,
                half_width,
                half_width_then: self.half_width(node, &then)?,
            });
        }
        found.sort_by(|a, b| a.half_width_then.total_cmp(&b.half_width_then));
        Ok(found)
    }

    fn half_width(&self, node: NodeRef, parts: &[VariancePart]) -> Result<f64, LedgerError> {
        let variance: f64 = parts.iter().map(|part| part.variance).sum();
        let quantile = two_sided(self.confidence, effective_degrees_of_freedom(parts));
        let quantile = quantile.map_err(|reason| LedgerError::Statistics {
            id: self.id(node).to_owned(),
            reason,
        })?;
        Ok(quantile * variance.sqrt())
    }
}
