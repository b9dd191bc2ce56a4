//! From dry char to the CO2 that it keeps out of the air.

use super::material::Material;
use super::{lot_id, stored_id};
use crate::accounting::inputs::CharLot;
use crate::accounting::statement::draft::Draft;
use crate::accounting::trace::{Heading, NodeRef};
use rust_decimal::Decimal;

/// `dry char * carbon fraction * permanence * renewable share * 44/12`.
pub(super) fn stored_carbon(
    draft: &mut Draft,
    lot: &CharLot,
    material: Material,
    dry: NodeRef,
    words: &str,
) -> Option<NodeRef> {
    let Material {
        carbon,
        permanence,
        renewable,
    } = material;
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

/// Char of this fate, or under this rule, is shown and counts zero.
pub(super) fn nothing_stored(
    draft: &mut Draft,
    lot: &CharLot,
    dry: NodeRef,
    words: &str,
) -> Option<NodeRef> {
    let zero = draft.convention(
        "char_not_stored",
        "char of this fate, or under this rule, counts as nothing stored",
        "kg CO2/kg dry char",
        Decimal::ZERO,
    )?;
    let heading = Heading::new(
        stored_id(lot),
        format!("CO2 stored by {words}: counts zero"),
        "char-counts-zero",
        "kg CO2",
    );
    let nothing = draft.ledger.product(heading, &[dry, zero]);
    draft.keep(nothing)
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
