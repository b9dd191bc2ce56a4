//! What a methodology still lacks or contradicts, in words, before anything is stated by it.
//!
//! The same rules that a statement follows are asked here of the methodology alone: each need
//! of each fuel in each device that its factors know has one usable answer, and no two of its
//! choices exclude each other. Evidence can still be missing when a statement is made.

mod char;
mod choices;
mod claim;
mod displacement;
mod named;
mod needs;
#[cfg(test)]
mod tests;

use super::{Leakage, Methodology};
use crate::accounting::factor::Factor;
use serde::{Deserialize, Serialize};
use std::collections::BTreeSet;
use utoipa::ToSchema;

/// One thing that keeps a methodology from being used.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Shortcoming {
    /// Path in the methodology, e.g. `claim.confidence`.
    pub place: String,
    pub sentence: String,
}

/// Everything that `methodology` lacks over the `factors` that are known; empty when it can be
/// used. Factors that it does not list are not looked at.
pub fn validate(methodology: &Methodology, factors: &[Factor]) -> Vec<Shortcoming> {
    let ids: BTreeSet<_> = methodology.factors.iter().collect();
    let mut check = Check {
        methodology,
        listed: factors
            .iter()
            .filter(|factor| ids.contains(&factor.id()))
            .collect(),
        found: Vec::new(),
    };
    check.sizes();
    if !check.found.is_empty() {
        return check.found;
    }
    check.citations_and_answers();
    check.listed_factors();
    check.fuels();
    check.species();
    check.warming_potentials();
    check.short_lived_sets();
    check.leakage();
    check.displacement();
    check.designs();
    check.char_rule();
    check.claim();
    check.uncertainty();
    check.needs();
    check.found
}

/// A check under way.
struct Check<'m> {
    methodology: &'m Methodology,
    /// The listed factors that are known, in the order they are known in.
    listed: Vec<&'m Factor>,
    found: Vec<Shortcoming>,
}

impl<'m> Check<'m> {
    /// Says what is wrong; once, however often it is met.
    fn say(&mut self, place: impl Into<String>, sentence: impl Into<String>) {
        let shortcoming = Shortcoming {
            place: place.into(),
            sentence: sentence.into(),
        };
        if !self.found.contains(&shortcoming) {
            self.found.push(shortcoming);
        }
    }

    fn listed(&self) -> impl Iterator<Item = &'m Factor> + use<'m> {
        self.listed.clone().into_iter()
    }

    /// Lists that no methodology needs so long would keep the check busy for nothing.
    fn sizes(&mut self) {
        let methodology = self.methodology;
        let items = match &methodology.leakage {
            Leakage::Multiplier(_) => 0,
            Leakage::Items(items) => items.len(),
        };
        for (place, length, most) in [
            ("factors", methodology.factors.len(), 2_000),
            ("fuels", methodology.fuels.len(), 100),
            ("species", methodology.species.len(), 50),
            ("short_lived_sets", methodology.short_lived_sets.len(), 50),
            ("leakage", items, 100),
        ] {
            if length > most {
                let sentence = format!("{length} entries are more than the {most} that are read.");
                self.say(place, sentence);
            }
        }
    }
}
