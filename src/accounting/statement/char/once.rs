//! Char is counted once: the soil sink opens only when nothing else takes the same char.

use super::stored_id;
use crate::accounting::factor::{Factor, FactorId, Quantity};
use crate::accounting::inputs::CharLot;
use crate::accounting::methodology::{CharPlace, DisplacementRule, FuelMethod, ProjectEfficiency};
use crate::accounting::statement::draft::Draft;
use crate::accounting::trace::Ledger;

/// Proof that this account counts its char in the soil and nowhere else.
///
/// Only `open_sink` makes one, after it has seen that no factor and no test in use takes the
/// same char; without it no removal can be stated.
#[derive(Debug)]
pub struct SoilSink(());

/// A node that takes char, where, and in what words.
struct Taker {
    place: CharPlace,
    node: String,
    does: &'static str,
}

/// Counts once: refuses the statement when two places take the same char.
///
/// Outer `None`: refused. Inner `None`: the methodology counts char elsewhere or nowhere.
pub(in crate::accounting::statement) fn open_sink(
    draft: &mut Draft,
    lot: Option<&CharLot>,
    co2_factors: &[&Factor],
) -> Option<Option<SoilSink>> {
    let in_soil = draft.inputs.methodology.char_rule.counted_in == CharPlace::SoilSink;
    let mut takers = by_balance(co2_factors);
    takers.extend(by_energy(draft));
    takers.extend(lot.filter(|_| in_soil).map(|lot| Taker {
        place: CharPlace::SoilSink,
        node: stored_id(lot),
        does: "counts it as stored",
    }));
    let twice = pairs(&takers);
    if !twice.is_empty() {
        twice
            .into_iter()
            .for_each(|sentence| draft.gap("char-counted-twice", sentence));
        return None;
    }
    if in_soil {
        return Some(Some(SoilSink(())));
    }
    if lot.is_some() {
        draft.note(
            "char-not-counted-in-soil",
            "Char went to a durable use, but the methodology does not count it there: no removal \
             is stated."
                .to_owned(),
        );
    }
    Some(None)
}

/// A sentence for every two takers in different places, both nodes named.
fn pairs(takers: &[Taker]) -> Vec<String> {
    let mut sentences = Vec::new();
    for (at, one) in takers.iter().enumerate() {
        for other in takers.iter().skip(at + 1) {
            if one.place != other.place {
                sentences.push(format!(
                    "Char would be counted twice: {} {}, and {} {}. One of the two must go.",
                    one.node, one.does, other.node, other.does
                ));
            }
        }
    }
    sentences
}

/// CO2 factors in use that leave out the carbon of char.
fn by_balance(co2_factors: &[&Factor]) -> Vec<Taker> {
    co2_factors
        .iter()
        .filter(|factor| factor.char_treatment == Some(CharPlace::CarbonBalance))
        .map(|factor| Taker {
            place: CharPlace::CarbonBalance,
            node: Ledger::node_id_of(&factor.id()),
            does: "leaves the carbon of char out of the CO2",
        })
        .collect()
}

/// Efficiencies that the methodology lists or names, and tests, that credit the energy of char.
fn by_energy(draft: &Draft) -> Vec<Taker> {
    let methodology = &draft.inputs.methodology;
    let displacement = methodology.displacement.as_ref();
    let named = displacement.map(named_efficiencies).unwrap_or_default();
    let taker = |node: String, does: &'static str| Taker {
        place: CharPlace::EnergyCredit,
        node,
        does,
    };
    let mut takers: Vec<Taker> = Vec::new();
    for factor in &draft.inputs.factors {
        let id = factor.id();
        let in_use = methodology.factors.contains(&id) || named.contains(&&id);
        let credits = factor.quantity == Quantity::ThermalEfficiency
            && factor.char_treatment == Some(CharPlace::EnergyCredit);
        let node = Ledger::node_id_of(&id);
        if in_use && credits && !takers.iter().any(|known| known.node == node) {
            takers.push(taker(node, "credits the energy left in char"));
        }
    }
    // Tests record the char left over; its energy is credited where the methodology says so.
    let tested = match methodology.fuel_method {
        FuelMethod::KitchenTestIndependent | FuelMethod::KitchenTestPaired => false,
        FuelMethod::CookingTest => true,
        FuelMethod::ThermalEfficiency => displacement
            .and_then(|rule| rule.efficiency.as_ref())
            .is_some_and(|rule| rule.project == ProjectEfficiency::StoveTests),
    };
    if tested && methodology.char_rule.counted_in == CharPlace::EnergyCredit {
        takers.push(taker(
            "fuel/saved".to_owned(),
            "rests on tests that credit the energy left in char",
        ));
    }
    takers
}

fn named_efficiencies(rule: &DisplacementRule) -> Vec<&FactorId> {
    let Some(efficiency) = &rule.efficiency else {
        return Vec::new();
    };
    let project = match &efficiency.project {
        ProjectEfficiency::Cited(id) => Some(id),
        ProjectEfficiency::StoveTests => None,
    };
    std::iter::once(&efficiency.baseline)
        .chain(project)
        .collect()
}
