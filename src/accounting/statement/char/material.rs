//! What one feedstock's char is: its carbon, how long that lasts, and what of it grows back.

use super::laboratory;
use super::permanence::permanence;
use crate::accounting::factor::{FactorId, Quantity};
use crate::accounting::methodology::{CharCarbon, FuelRule};
use crate::accounting::statement::co2e::non_renewable;
use crate::accounting::statement::draft::Draft;
use crate::accounting::statement::lookup::Need;
use crate::accounting::trace::{Heading, NodeRef};
use rust_decimal::Decimal;

/// One feedstock's char in the ledger; every lot of it shares these.
#[derive(Debug, Clone, Copy)]
pub(super) struct Material {
    /// kg C/kg dry char.
    pub carbon: NodeRef,
    /// Fraction of the carbon that lasts.
    pub permanence: NodeRef,
    /// Fraction of the feedstock that grows back.
    pub renewable: NodeRef,
}

pub(super) fn material(draft: &mut Draft, feedstock: &str) -> Option<Material> {
    let inputs = draft.inputs;
    let Some(rule) = inputs
        .methodology
        .fuels
        .iter()
        .find(|rule| rule.code == feedstock)
    else {
        let sentence = format!("The methodology has no rule for the feedstock {feedstock}.");
        draft.gap("feedstock-without-rule", sentence);
        return None;
    };
    // All three are tried before giving up, so that all gaps are named at once.
    let from_laboratory = carbon_and_permanence(draft, feedstock, rule);
    let renewable = renewable_share(draft, feedstock, &rule.non_renewable_fraction);
    let (carbon, permanence) = from_laboratory?;
    Some(Material {
        carbon,
        permanence,
        renewable: renewable?,
    })
}

fn carbon_and_permanence(
    draft: &mut Draft,
    feedstock: &str,
    rule: &FuelRule,
) -> Option<(NodeRef, NodeRef)> {
    let by_laboratory = match draft.inputs.methodology.char_rule.carbon {
        CharCarbon::Cited => false,
        CharCarbon::LaboratoryElseCited => true,
    };
    let samples = laboratory::samples(draft, feedstock)?;
    // A single sample borrows the spread of the cited default.
    let needs_cited = !by_laboratory || samples.len() < 2;
    let cited = needs_cited.then(|| cited_carbon(draft, rule));
    let means = match (samples.is_empty(), cited) {
        (true, _) => None,
        // The gap is recorded; the permanence is still tried below.
        (false, Some(None)) => None,
        (false, spread) => {
            let spread = spread
                .flatten()
                .map_or(0.0, |node| draft.ledger.uncertainty(node).standard_error);
            Some(laboratory::enter(draft, feedstock, &samples, spread)?)
        }
    };
    if by_laboratory && samples.is_empty() {
        let sentence = format!(
            "The laboratory has analysed no {feedstock} char: its carbon is the cited default."
        );
        draft.note("char-carbon-unmeasured", sentence);
    }
    let permanence = permanence(draft, feedstock, &samples, means.as_ref());
    let carbon = match &means {
        Some(means) if by_laboratory => means.organic_carbon,
        _ => cited.flatten()?,
    };
    Some((carbon, permanence?))
}

/// The cited default of the feedstock's class.
fn cited_carbon(draft: &mut Draft, rule: &FuelRule) -> Option<NodeRef> {
    draft.required(&Need {
        quantity: Quantity::CharCarbonFraction,
        species: None,
        device: None,
        fuel: Some(&rule.char_class),
    })
}

/// `1 - fNRB`: only what grows back can store.
///
/// Char of the rest could count only where the project's CO2 from that fuel is counted in
/// full, the carbon left in char included. No factor says so: `char_treatment` tells where
/// char's carbon is known to be left out, not that all other carbon is in, and a factor found
/// by plume or hood leaves out whatever stayed behind. So the rest never counts.
fn renewable_share(draft: &mut Draft, feedstock: &str, fraction: &FactorId) -> Option<NodeRef> {
    let non_renewable = non_renewable(draft, fraction)?;
    let lost = draft.ledger.value(non_renewable);
    if lost > Decimal::ZERO {
        let sentence = format!(
            "{} % of the feedstock {feedstock} does not grow back ({fraction}): only the renewable \
             share of its char counts as stored, as nothing shows that the project's CO2 counts \
             the carbon of char.",
            (lost * Decimal::ONE_HUNDRED).round_dp(1).normalize()
        );
        draft.note("char-renewable-share-only", sentence);
    }
    let id = format!("char/renewable_share/{fraction}");
    if let Some(known) = draft.ledger.find(&id) {
        return Some(known);
    }
    let whole = draft.convention("one", "the whole", "1", Decimal::ONE)?;
    let heading = Heading::new(
        id,
        format!("share of the feedstock that grows back ({fraction})"),
        "renewable-share",
        "1",
    );
    let share = draft.ledger.difference(heading, whole, non_renewable);
    draft.keep(share)
}
