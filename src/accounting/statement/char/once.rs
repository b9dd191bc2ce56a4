//! Char is counted once: the soil sink opens only when nothing else takes the same char.

use super::stored_id;
use crate::accounting::factor::{Factor, Quantity};
use crate::accounting::inputs::CharLot;
use crate::accounting::methodology::CharPlace;
use crate::accounting::statement::draft::Draft;
use crate::accounting::trace::Ledger;

/// Proof that this account counts its char in the soil and nowhere else.
///
/// Only `open_sink` makes one, after it has seen that no factor in use takes the same
/// char; without it no removal can be stated.
#[derive(Debug)]
pub struct SoilSink(());

/// Counts once: refuses the soil sink when a factor in use already takes the char.
///
/// Outer `None`: refused. Inner `None`: the methodology counts char elsewhere or nowhere.
pub(super) fn open_sink(
    draft: &mut Draft,
    lot: Option<&CharLot>,
    co2_factors: &[&Factor],
) -> Option<Option<SoilSink>> {
    let rule = &draft.inputs.methodology.char_rule;
    if rule.counted_in != CharPlace::SoilSink {
        if lot.is_some() {
            draft.note(
                "char-not-counted-in-soil",
                "Char went to a durable use, but the methodology does not count it there: no \
                 removal is stated."
                    .to_owned(),
            );
        }
        return Some(None);
    }
    let Some(lot) = lot else {
        return Some(Some(SoilSink(())));
    };
    let listed = &draft.inputs.methodology.factors;
    let by_balance = co2_factors
        .iter()
        .copied()
        .filter(|factor| factor.char_treatment == Some(CharPlace::CarbonBalance))
        .map(|factor| (factor, "leaves the carbon of char out of the CO2"));
    let by_energy = draft
        .inputs
        .factors
        .iter()
        .filter(|factor| factor.quantity == Quantity::ThermalEfficiency)
        .filter(|factor| listed.contains(&factor.id()))
        .filter(|factor| factor.char_treatment == Some(CharPlace::EnergyCredit))
        .map(|factor| (factor, "credits the energy left in char"));
    let twice: Vec<String> = by_balance
        .chain(by_energy)
        .map(|(factor, does)| {
            format!(
                "Char would be counted twice: {} {does}, and {} counts it as stored. One of the \
                 two must go.",
                Ledger::node_id_of(&factor.id()),
                stored_id(lot)
            )
        })
        .collect();
    if twice.is_empty() {
        return Some(Some(SoilSink(())));
    }
    twice
        .into_iter()
        .for_each(|sentence| draft.gap("char-counted-twice", sentence));
    None
}
