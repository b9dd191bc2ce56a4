//! Factors that the rules name by their id: listed, known, and of the quantity wanted.

use super::Check;
use crate::accounting::factor::{Factor, FactorId, Quantity};
use crate::accounting::statement::lookup::usable_unit;
use std::collections::BTreeSet;

impl<'m> Check<'m> {
    /// Each factor of the list exists and stands there once.
    pub(super) fn listed_factors(&mut self) {
        let listed = &self.methodology.factors;
        if listed.is_empty() {
            self.say("factors", "The methodology lists no factor.");
        }
        let known: BTreeSet<FactorId> = self.listed().map(Factor::id).collect();
        let mut seen = BTreeSet::new();
        for id in listed {
            if !seen.insert(id) {
                self.say("factors", format!("{id} is listed twice."));
            }
            if !known.contains(id) {
                self.say("factors", format!("There is no factor {id}."));
            }
        }
    }

    /// The factor of this id, where it can be used as the `quantity` that its place wants.
    pub(super) fn named(
        &mut self,
        place: &str,
        id: &FactorId,
        quantity: Quantity,
    ) -> Option<&'m Factor> {
        let factor = self.of_quantity(place, id, quantity)?;
        match usable_unit(factor) {
            Ok(_) => Some(factor),
            Err(unusable) => {
                self.say(place, unusable.sentence);
                None
            }
        }
    }

    /// As [`Check::named`], whatever the factor's unit.
    pub(super) fn of_quantity(
        &mut self,
        place: &str,
        id: &FactorId,
        quantity: Quantity,
    ) -> Option<&'m Factor> {
        if !self.methodology.factors.contains(id) {
            self.say(
                place,
                format!("{id} is named here, but does not stand in the list of factors."),
            );
            return None;
        }
        // An id that is listed and not known has been said of the list.
        let factor = self.listed().find(|factor| factor.id() == *id)?;
        if factor.quantity != quantity {
            self.say(
                place,
                format!(
                    "{id} is named as the {}, but it is a {}.",
                    quantity.words(),
                    factor.quantity.words()
                ),
            );
            return None;
        }
        Some(factor)
    }
}
