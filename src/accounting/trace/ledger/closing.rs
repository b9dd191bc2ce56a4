//! Reading the ledger: slopes, variance and its shares, intervals, and the trace it becomes.

use super::{Ledger, LedgerError, NodeRef, Uncertainty, too_large};
use crate::accounting::rounding::{NODE_DIGITS, from_statistic, to_digits, to_statistic};
use crate::accounting::trace::{Formula, Node, Share, Trace};
use crate::statistics::distribution::{Shape, central_interval};
use crate::statistics::estimate::{VariancePart, effective_degrees_of_freedom};
use crate::statistics::quantile::two_sided;
use rust_decimal::Decimal;
use std::collections::BTreeMap;

impl Ledger {
    /// Slope of `node` in each uncertain input, by the input's name.
    pub fn slopes(&self, node: NodeRef) -> BTreeMap<&str, f64> {
        let Some(entry) = self.entries.get(node.0) else {
            return BTreeMap::new();
        };
        let named = |(input, slope): (&usize, &f64)| {
            let (block, member) = self.places.get(*input)?;
            let at = self.blocks.get(*block)?.members.get(*member)?;
            Some((self.id(NodeRef(*at)), *slope))
        };
        entry.slopes.iter().filter_map(named).collect()
    }

    /// Standard error of `node` and its Welch-Satterthwaite degrees of freedom.
    pub fn uncertainty(&self, node: NodeRef) -> Uncertainty {
        let parts: Vec<VariancePart> = self
            .variance_by_block(node)
            .into_values()
            .map(|(part, _)| part)
            .collect();
        let variance: f64 = parts.iter().map(|part| part.variance).sum();
        Uncertainty {
            standard_error: variance.sqrt(),
            degrees_of_freedom: effective_degrees_of_freedom(&parts),
        }
    }

    /// What each input brings to the variance of `node`, the largest first, `most` at the most.
    ///
    /// Estimates of one survey stand together: they rest on the same households.
    pub fn shares(&self, node: NodeRef, most: usize) -> Vec<Share> {
        let blocks = self.variance_by_block(node);
        let total: f64 = blocks.values().map(|(part, _)| part.variance).sum();
        let share_of = |(block, (part, members)): (&usize, &(VariancePart, Vec<usize>))| {
            let name = self.blocks.get(*block).map(|block| block.name.clone())?;
            let nodes = members
                .iter()
                .map(|at| self.id(NodeRef(*at)).to_owned())
                .collect();
            let share = from_statistic(part.variance / total)?
                .round_dp(4)
                .normalize();
            (!share.is_zero()).then_some(Share {
                input: name,
                nodes,
                share,
            })
        };
        let mut shares: Vec<Share> = blocks.iter().filter_map(share_of).collect();
        shares.sort_by(|a, b| b.share.cmp(&a.share).then_with(|| a.nodes.cmp(&b.nodes)));
        shares.truncate(most);
        shares
    }

    /// `g' S g` of each block that `node` depends on, and which of its members it uses.
    pub(super) fn variance_by_block(
        &self,
        node: NodeRef,
    ) -> BTreeMap<usize, (VariancePart, Vec<usize>)> {
        let mut slopes: BTreeMap<usize, Vec<(usize, f64)>> = BTreeMap::new();
        let entry_slopes = self.entries.get(node.0).map(|entry| &entry.slopes);
        for (input, slope) in entry_slopes.into_iter().flatten() {
            if let Some((block, member)) = self.places.get(*input) {
                slopes.entry(*block).or_default().push((*member, *slope));
            }
        }
        let mut parts = BTreeMap::new();
        for (at, slopes) in slopes {
            let Some(block) = self.blocks.get(at) else {
                continue;
            };
            let mut variance = 0.0;
            for (i, g) in &slopes {
                for (j, h) in &slopes {
                    let shared = block.covariance.get(*i).and_then(|line| line.get(*j));
                    variance += g * h * shared.copied().unwrap_or(0.0);
                }
            }
            let members = slopes
                .iter()
                .filter_map(|(member, _)| block.members.get(*member).copied());
            let part = VariancePart {
                variance: variance.max(0.0),
                degrees_of_freedom: block.degrees_of_freedom,
            };
            parts.insert(at, (part, members.collect()));
        }
        parts
    }

    /// Closes the account: every entry as a node, rounded, with its interval.
    pub fn close(self) -> Result<Trace, LedgerError> {
        let nodes = (0..self.entries.len()).map(|at| self.node(NodeRef(at)));
        Ok(Trace {
            nodes: nodes.collect::<Result<_, _>>()?,
        })
    }

    /// Lower and upper end of the two-sided interval of `node`, unrounded.
    ///
    /// A factor has the interval of its own distribution, which may be askew; what is
    /// computed has that of the propagated standard error.
    pub fn interval(&self, node: NodeRef) -> Result<(Decimal, Decimal), LedgerError> {
        let id = || self.id(node).to_owned();
        if let Some(shape) = self.entries.get(node.0).and_then(|entry| entry.shape)
            && shape != Shape::Exact
        {
            let stated = to_statistic(self.value(node));
            let (lower, upper) = central_interval(shape, stated, self.confidence)
                .map_err(|reason| LedgerError::Statistics { id: id(), reason })?;
            let ends = from_statistic(lower).zip(from_statistic(upper));
            return ends.ok_or_else(|| LedgerError::TooLarge { id: id() });
        }
        let Uncertainty {
            standard_error,
            degrees_of_freedom,
        } = self.uncertainty(node);
        let value = self.value(node);
        let quantile = two_sided(self.confidence, degrees_of_freedom)
            .map_err(|reason| LedgerError::Statistics { id: id(), reason })?;
        let half = from_statistic(quantile * standard_error)
            .ok_or_else(|| LedgerError::TooLarge { id: id() })?;
        let ends = value.checked_sub(half).zip(value.checked_add(half));
        ends.ok_or_else(|| LedgerError::TooLarge { id: id() })
    }

    fn node(&self, node: NodeRef) -> Result<Node, LedgerError> {
        let gone = || LedgerError::Name { id: String::new() };
        let entry = self.entries.get(node.0).ok_or_else(gone)?;
        let (lower, upper) = self.interval(node)?;
        let doubt = self.uncertainty(node);
        let too_large = || too_large(&entry.heading);
        let error = from_statistic(doubt.standard_error).ok_or_else(too_large)?;
        let shown = |value| {
            let exact = entry.as_given && error.is_zero();
            if exact {
                value
            } else {
                to_digits(value, NODE_DIGITS)
            }
        };
        Ok(Node {
            id: entry.heading.id.clone(),
            label: entry.heading.label.clone(),
            formula: Formula {
                id: entry.heading.formula.to_owned(),
                operation: entry.operation,
                signs: entry.signs.clone(),
            },
            unit: entry.unit_text.clone(),
            value: if entry.as_given {
                entry.value
            } else {
                shown(entry.value)
            },
            standard_error: to_digits(error, NODE_DIGITS),
            lower: shown(lower),
            upper: shown(upper),
            degrees_of_freedom: from_statistic(doubt.degrees_of_freedom)
                .map(|df| to_digits(df, NODE_DIGITS)),
            inputs: entry
                .inputs
                .iter()
                .map(|at| self.id(NodeRef(*at)).to_owned())
                .collect(),
            source: entry.source.clone(),
        })
    }
}
