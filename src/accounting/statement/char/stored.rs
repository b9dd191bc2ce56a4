//! From dry char to the CO2 that it keeps out of the air.

use super::{lot_id, stored_id};
use crate::accounting::factor::{FactorId, Quantity};
use crate::accounting::inputs::CharLot;
use crate::accounting::methodology::Permanence;
use crate::accounting::statement::co2e::{non_renewable, of_quantity};
use crate::accounting::statement::draft::Draft;
use crate::accounting::statement::lookup::Need;
use crate::accounting::trace::{Heading, NodeRef};
use rust_decimal::Decimal;

/// `dry char * carbon fraction * permanence * renewable share * 44/12`.
pub(super) fn stored_carbon(
    draft: &mut Draft,
    lot: &CharLot,
    dry: NodeRef,
    words: &str,
) -> Option<NodeRef> {
    let inputs = draft.inputs;
    let Some(rule) = inputs
        .methodology
        .fuels
        .iter()
        .find(|rule| rule.code == lot.feedstock)
    else {
        let sentence = format!(
            "The methodology has no rule for the feedstock {}.",
            lot.feedstock
        );
        draft.gap("feedstock-without-rule", sentence);
        return None;
    };
    let carbon = draft.required(&Need {
        quantity: Quantity::CharCarbonFraction,
        species: None,
        device: None,
        fuel: Some(&rule.char_class),
    });
    let permanence = match &inputs.methodology.char_rule.permanence {
        Permanence::Factor(id) => id,
        Permanence::HydrogenToCarbon(rule) => &rule.unmeasured,
    };
    let permanence = draft.named_factor(permanence, "permanence");
    let permanence =
        permanence.and_then(|factor| of_quantity(draft, factor, Quantity::CharPermanence));
    let renewable = renewable_share(draft, &rule.non_renewable_fraction);
    let (carbon, permanence, renewable) = (carbon?, permanence?, renewable?);
    let heading = Heading::new(
        format!("{}/durable_carbon", lot_id(lot)),
        format!("durable carbon of {words}"),
        "durable-char-carbon",
        "kg C",
    );
    let durable = draft
        .ledger
        .product(heading, &[dry, carbon, permanence, renewable]);
    let durable = draft.keep(durable)?;
    let ratio = co2_per_carbon(draft)?;
    let heading = Heading::new(
        stored_id(lot),
        format!("CO2 stored by {words}"),
        "char-carbon-stored",
        "kg CO2",
    );
    let stored = draft.ledger.product(heading, &[durable, ratio]);
    draft.keep(stored)
}

/// `1 - fNRB`: only what grows back can store.
fn renewable_share(draft: &mut Draft, fraction: &FactorId) -> Option<NodeRef> {
    let id = format!("char/renewable_share/{fraction}");
    if let Some(known) = draft.ledger.find(&id) {
        return Some(known);
    }
    let whole = draft.convention("one", "the whole", "1", Decimal::ONE)?;
    let non_renewable = non_renewable(draft, fraction)?;
    let heading = Heading::new(
        id,
        format!("share of the feedstock that grows back ({fraction})"),
        "renewable-share",
        "1",
    );
    let share = draft.ledger.difference(heading, whole, non_renewable);
    draft.keep(share)
}

/// 44/12, the trade's convention (44.009/12.011 would be 0.07 % less).
fn co2_per_carbon(draft: &mut Draft) -> Option<NodeRef> {
    if let Some(known) = draft.ledger.find("convention/co2_per_carbon") {
        return Some(known);
    }
    let molecule = draft.convention(
        "molar_mass_co2",
        "molar mass of CO2, by convention",
        "kg CO2/kmol",
        Decimal::from(44),
    )?;
    let atom = draft.convention(
        "molar_mass_carbon",
        "molar mass of carbon, by convention",
        "kg C/kmol",
        Decimal::from(12),
    )?;
    let heading = Heading::new(
        "convention/co2_per_carbon",
        "CO2 from carbon, 44/12",
        "co2-per-carbon",
        "kg CO2/kg C",
    );
    let ratio = draft.ledger.quotient(heading, molecule, atom);
    draft.keep(ratio)
}
