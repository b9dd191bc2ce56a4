//! What is shown beside the account and can never be claimed.
//!
//! A claim is made of reductions and of removals. What stands here for information has no
//! way into either; this does not compile:
//!
//! ```compile_fail
//! use emberbook::accounting::claim::Reduction;
//! use emberbook::accounting::statement::ForInformation;
//! use rust_decimal::Decimal;
//! fn added(claim: Reduction, beside: ForInformation) -> Option<Reduction> {
//!     claim.checked_add(beside)
//! }
//! ```
//!
//! nor does this:
//!
//! ```compile_fail
//! use emberbook::accounting::claim::{Bounds, Claimable, ClaimError, claimable};
//! use emberbook::accounting::methodology::ClaimRule;
//! use emberbook::accounting::statement::ForInformation;
//! fn claimed(
//!     beside: ForInformation,
//!     bounds: Bounds,
//!     rule: &ClaimRule,
//! ) -> Result<Claimable, ClaimError> {
//!     claimable(beside, bounds, rule)
//! }
//! ```
//!
//! while what the account counts goes the same way:
//!
//! ```
//! use emberbook::accounting::claim::{Bounds, Claimable, ClaimError, Reduction, claimable};
//! use emberbook::accounting::methodology::ClaimRule;
//! use emberbook::accounting::statement::ForInformation;
//! use rust_decimal::Decimal;
//! fn added(claim: Reduction, other: Reduction, _beside: ForInformation) -> Option<Reduction> {
//!     claim.checked_add(other)
//! }
//! fn claimed(
//!     counted: Decimal,
//!     bounds: Bounds,
//!     rule: &ClaimRule,
//! ) -> Result<Claimable, ClaimError> {
//!     claimable(counted, bounds, rule)
//! }
//! ```

use super::draft::Draft;
use super::figures::figure;
use super::masses::SpeciesMass;
use super::{Figure, FigureKind};
use crate::accounting::trace::NodeRef;

/// A number that is told and not counted: its node cannot be taken out again.
#[derive(Debug, Clone)]
pub struct ForInformation {
    id: String,
    node: NodeRef,
}

impl ForInformation {
    /// A node under the id of the figure that it becomes.
    pub(super) fn new(id: String, node: NodeRef) -> Self {
        ForInformation { id, node }
    }

    /// All that is known of one species.
    pub(super) fn of_mass(mass: &SpeciesMass) -> Vec<Self> {
        let slug = &mass.slug;
        let whole = [
            ("baseline", mass.baseline),
            ("project", mass.project),
            ("avoided", mass.avoided),
        ];
        let percent = mass.percent.map(|node| ("percent", node));
        whole
            .into_iter()
            .chain(percent)
            .map(|(what, node)| Self::new(format!("{slug}_{what}"), node))
            .collect()
    }

    pub(super) fn figure(&self, draft: &mut Draft) -> Option<Figure> {
        figure(
            draft,
            self.id.clone(),
            self.node,
            FigureKind::ForInformation,
        )
    }
}
