//! Leakage: what the programme moves elsewhere, taken off the gross reductions.

use super::co2e::of_quantity;
use super::draft::Draft;
use crate::accounting::factor::{FactorId, Quantity};
use crate::accounting::methodology::{Leakage, LeakageItem};
use crate::accounting::trace::{Heading, NodeRef, Sign, Term};
use rust_decimal::Decimal;

/// Reductions after leakage, and what leaked.
pub(super) struct AfterLeakage {
    /// tCO2e.
    pub reductions: NodeRef,
    /// tCO2e, all of it.
    pub leaked: NodeRef,
    /// tCO2e by the code of the item; none where a multiplier stands for all.
    pub items: Vec<(String, NodeRef)>,
}

/// `gross * multiplier`, or `gross * (1 - sum of the shares)`.
pub(super) fn after_leakage(draft: &mut Draft, gross: Option<NodeRef>) -> Option<AfterLeakage> {
    let inputs = draft.inputs;
    match &inputs.methodology.leakage {
        Leakage::Multiplier(id) => {
            // The factor is looked up even without a gross figure, so that all gaps are named.
            let kept = multiplier(draft, id);
            net(draft, gross?, kept?, Vec::new())
        }
        Leakage::Items(items) => itemised(draft, gross, items),
    }
}

fn multiplier(draft: &mut Draft, id: &FactorId) -> Option<NodeRef> {
    let factor = draft.named_factor(id, "leakage multiplier")?;
    of_quantity(draft, factor, Quantity::LeakageMultiplier)
}

fn itemised(
    draft: &mut Draft,
    gross: Option<NodeRef>,
    items: &[LeakageItem],
) -> Option<AfterLeakage> {
    let shares: Vec<Option<NodeRef>> = items.iter().map(|item| share(draft, item)).collect();
    let shares: Vec<NodeRef> = shares.into_iter().collect::<Option<_>>()?;
    let whole = draft.convention("one", "the whole", "1", Decimal::ONE)?;
    let taken = shares.iter().map(|share| Term(Sign::Minus, *share));
    let terms: Vec<Term> = std::iter::once(Term(Sign::Plus, whole))
        .chain(taken)
        .collect();
    let heading = Heading::new(
        "leakage/share_kept",
        "share of the gross reductions that leakage leaves",
        "leakage-share-kept",
        "1",
    );
    let kept = draft.ledger.sum(heading, &terms);
    let kept = draft.keep(kept)?;
    let left = draft.ledger.value(kept);
    if left < Decimal::ZERO {
        draft.gap(
            "leakage-above-one",
            format!(
                "The shares of leakage add up to {}; more than the whole cannot leak.",
                (Decimal::ONE - left).normalize()
            ),
        );
        return None;
    }
    let gross = gross?;
    let mut leaked = Vec::new();
    for (item, share) in items.iter().zip(shares) {
        let heading = Heading::new(
            format!("leakage/item/{}", item.code),
            format!("leakage: {}", item.title),
            "leakage-of-item",
            "tCO2e",
        );
        let product = draft.ledger.product(heading, &[gross, share]);
        leaked.push((item.code.clone(), draft.keep(product)?));
    }
    net(draft, gross, kept, leaked)
}

fn share(draft: &mut Draft, item: &LeakageItem) -> Option<NodeRef> {
    let what = format!("leakage share of {}", item.code);
    let factor = draft.named_factor(&item.share, &what)?;
    of_quantity(draft, factor, Quantity::LeakageShare)
}

fn net(
    draft: &mut Draft,
    gross: NodeRef,
    kept: NodeRef,
    items: Vec<(String, NodeRef)>,
) -> Option<AfterLeakage> {
    let heading = Heading::new(
        "co2e/reductions",
        "emission reductions, after leakage",
        "co2e-reductions",
        "tCO2e",
    );
    let reductions = draft.ledger.product(heading, &[gross, kept]);
    let reductions = draft.keep(reductions)?;
    let heading = Heading::new(
        "leakage/all",
        "leakage, taken off the gross reductions",
        "leakage",
        "tCO2e",
    );
    let leaked = draft.ledger.difference(heading, gross, reductions);
    Some(AfterLeakage {
        reductions,
        leaked: draft.keep(leaked)?,
        items,
    })
}
