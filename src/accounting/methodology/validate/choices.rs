//! Lists and names: citations, fuels, species, warming potentials, leakage.

use super::Check;
use crate::accounting::factor::Quantity;
use crate::accounting::methodology::{Design, FinitePopulation, KilnRule, Leakage, LeakageItem};
use crate::accounting::statement::kiln::calorific_value_problem;
use crate::accounting::statement::short_lived::{SHORT_LIVED, set_slug};
use crate::accounting::statement::species::STATED_SPECIES;
use rust_decimal::Decimal;
use std::collections::BTreeSet;

impl Check<'_> {
    pub(super) fn citations_and_answers(&mut self) {
        let citations = &self.methodology.citations;
        if citations.is_empty() || citations.iter().any(|text| text.trim().is_empty()) {
            self.say(
                "citations",
                "A methodology cites the published families and standards that it follows.",
            );
        }
        if self.methodology.minimum_answers_per_age_band == 0 {
            self.say(
                "minimum_answers_per_age_band",
                "At least one answer must be wanted in each age band.",
            );
        }
    }

    pub(super) fn fuels(&mut self) {
        let fuels = &self.methodology.fuels;
        if fuels.is_empty() {
            self.say("fuels", "The methodology has no rule for any fuel.");
        }
        let mut codes = BTreeSet::new();
        for fuel in fuels {
            let code = fuel.code.as_str();
            if !codes.insert(code) {
                self.say("fuels", format!("{code} has two rules."));
            }
            for (field, text) in [
                ("code", code),
                ("class", &fuel.class),
                ("char_class", &fuel.char_class),
            ] {
                if text.trim().is_empty() {
                    self.say(
                        format!("fuels.{code}.{field}"),
                        format!("The {field} of a fuel cannot be empty."),
                    );
                }
            }
            let place = format!("fuels.{code}.non_renewable_fraction");
            let fraction = &fuel.non_renewable_fraction;
            self.named(&place, fraction, Quantity::NonRenewableFraction);
            if let Some(kiln) = &fuel.made_from {
                self.kiln(&format!("fuels.{code}.made_from"), kiln);
            }
        }
    }

    fn kiln(&mut self, place: &str, kiln: &KilnRule) {
        let conversion = format!("{place}.conversion");
        self.named(&conversion, &kiln.conversion, Quantity::CharcoalConversion);
        let calorific = format!("{place}.calorific_value");
        let id = &kiln.calorific_value;
        let factor = self.of_quantity(&calorific, id, Quantity::NetCalorificValue);
        if let Some(problem) = factor.and_then(calorific_value_problem) {
            self.say(calorific, problem);
        }
    }

    pub(super) fn species(&mut self) {
        let mut seen = BTreeSet::new();
        for species in &self.methodology.species {
            if !STATED_SPECIES.contains(&species.as_str()) {
                let known = STATED_SPECIES.join(", ");
                self.say(
                    "species",
                    format!(
                        "{species} cannot be stated as a mass beside the CO2e; these can: {known}."
                    ),
                );
            }
            if !seen.insert(species) {
                self.say("species", format!("{species} is listed twice."));
            }
        }
    }

    /// Every listed potential belongs to a set that the methodology names.
    pub(super) fn warming_potentials(&mut self) {
        let methodology = self.methodology;
        let set = &methodology.gwp_set;
        if set.trim().is_empty() {
            self.say("gwp_set", "The set of warming potentials has no name.");
        }
        for factor in self.listed() {
            if factor.quantity != Quantity::GlobalWarmingPotential {
                continue;
            }
            let species = factor.species.as_deref().unwrap_or_default();
            let of = factor.gwp_set.as_deref();
            let short_lived = SHORT_LIVED.contains(&species);
            let fits = if short_lived {
                of.is_some_and(|of| methodology.short_lived_sets.iter().any(|own| own == of))
            } else {
                of == Some(set)
            };
            if !fits {
                let wanted = if short_lived {
                    "none of the sets of short-lived potentials".to_owned()
                } else {
                    format!("not {set}")
                };
                self.say(
                    "gwp_set",
                    format!(
                        "{} is of {}, {wanted}: sets are never mixed.",
                        factor.id(),
                        of.unwrap_or("no named set")
                    ),
                );
            }
        }
    }

    pub(super) fn short_lived_sets(&mut self) {
        let methodology = self.methodology;
        let mut slugs = BTreeSet::new();
        for set in &methodology.short_lived_sets {
            if !slugs.insert(set_slug(set)) {
                self.say(
                    "short_lived_sets",
                    format!("{set} stands twice, or is named like another set."),
                );
            }
            let answered = self.listed().any(|factor| {
                let species = factor.species.as_deref().unwrap_or_default();
                factor.quantity == Quantity::GlobalWarmingPotential
                    && factor.gwp_set.as_ref() == Some(set)
                    && SHORT_LIVED.contains(&species)
                    && methodology.species.iter().any(|stated| stated == species)
            });
            if !answered {
                self.say(
                    "short_lived_sets",
                    format!(
                        "No listed factor of the set {set} is a warming potential of a short-lived \
                         species that the methodology states."
                    ),
                );
            }
        }
    }

    pub(super) fn leakage(&mut self) {
        match &self.methodology.leakage {
            Leakage::Multiplier(id) => {
                self.named("leakage", id, Quantity::LeakageMultiplier);
            }
            Leakage::Items(items) => self.leakage_items(items),
        }
    }

    fn leakage_items(&mut self, items: &[LeakageItem]) {
        if items.is_empty() {
            self.say(
                "leakage",
                "Leakage has no item; a survey that found none is an item with a share of 0.",
            );
        }
        let mut codes = BTreeSet::new();
        let mut sum = Decimal::ZERO;
        for item in items {
            let place = format!("leakage.{}", item.code);
            let plain = |c: char| c.is_ascii_alphanumeric() || c == '_' || c == '-';
            if item.code.is_empty() || !item.code.chars().all(plain) {
                self.say(&place, "Codes of items use letters, digits, - and _.");
            }
            if !codes.insert(&item.code) {
                self.say(&place, "Two items bear this code.");
            }
            if item.title.trim().is_empty() {
                self.say(&place, "An item says in its title what leaks.");
            }
            let factor = self.named(&place, &item.share, Quantity::LeakageShare);
            sum += factor.map_or(Decimal::ZERO, |factor| factor.value);
        }
        if sum > Decimal::ONE {
            self.say(
                "leakage",
                format!(
                    "The shares add up to {}; more than the whole cannot leak.",
                    sum.normalize()
                ),
            );
        }
    }
}

impl Check<'_> {
    /// Sites drawn as clusters have no correction: one asked for beside them would do nothing.
    pub(super) fn designs(&mut self) {
        let designs = self.methodology.designs;
        let clustered = [designs.kitchens, designs.usage].map(|of| of == Design::ClusteredBySite);
        if designs.finite_population == FinitePopulation::Register && clustered == [true, true] {
            self.say(
                "designs.finite_population",
                "Sites drawn as clusters are not corrected for a finite population: the share of \
                 sites drawn says nothing of the units left out within them.",
            );
        }
    }
}
