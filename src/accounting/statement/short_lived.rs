//! Short-lived species as CO2e, for information: what was avoided, by cited potentials.
//!
//! Their unit is a word of its own: the ledger refuses to add it to tonnes CO2e of the account.

use super::draft::Draft;
use super::for_information::ForInformation;
use super::lookup::{Found, Need};
use super::masses::SpeciesMass;
use crate::accounting::factor::{Factor, Quantity};
use crate::accounting::trace::{Heading, NodeRef, Sign, Term};

/// Species that warm or cool for days to years; CH4 has its place in the account.
pub(in crate::accounting) const SHORT_LIVED: [&str; 5] = ["BC", "OC", "CO", "NMVOC", "SO2"];

const UNIT: &str = "tCO2e short-lived";

/// Each set of the methodology: every stated species by its potential, and their sum.
pub(super) fn short_lived(
    draft: &mut Draft,
    species: &[SpeciesMass],
) -> Option<Vec<ForInformation>> {
    let sets = &draft.inputs.methodology.short_lived_sets;
    let told: Vec<Option<Vec<ForInformation>>> =
        sets.iter().map(|set| of_set(draft, set, species)).collect();
    let told: Vec<Vec<ForInformation>> = told.into_iter().collect::<Option<_>>()?;
    Some(told.into_iter().flatten().collect())
}

fn of_set(draft: &mut Draft, set: &str, species: &[SpeciesMass]) -> Option<Vec<ForInformation>> {
    let slug = set_slug(set);
    let mut told = Vec::new();
    let mut terms = Vec::new();
    let mut without_mass = Vec::new();
    let mut without_potential = Vec::new();
    for name in SHORT_LIVED {
        let mass = species.iter().find(|mass| mass.name == name);
        match (mass, potential(draft, name, set)?) {
            (Some(mass), Some(factor)) => {
                let node = as_co2e(draft, mass, factor, set, &slug)?;
                terms.push(Term(Sign::Plus, node));
                let id = format!("{}_avoided_co2e_{slug}", mass.slug);
                told.push(ForInformation::new(id, node));
            }
            (None, Some(_)) => without_mass.push(name),
            (Some(_), None) => without_potential.push(name),
            (None, None) => {}
        }
    }
    if terms.is_empty() {
        draft.gap(
            "short-lived-set-empty",
            format!(
                "No listed factor of the set {set} is a warming potential of a species that the \
                 methodology states."
            ),
        );
        return None;
    }
    say_what_is_left_out(draft, set, &without_mass, &without_potential);
    let heading = Heading::new(
        format!("short_lived/{slug}/all"),
        format!("short-lived species avoided, as CO2e by {set}, for information"),
        "short-lived-co2e-in-all",
        UNIT,
    );
    let all = draft.ledger.sum(heading, &terms);
    let all = draft.keep(all)?;
    told.push(ForInformation::new(format!("short_lived_co2e_{slug}"), all));
    Some(told)
}

/// Outer `None`: a gap. Inner `None`: the set has none for this species.
fn potential<'a>(draft: &mut Draft<'a>, name: &str, set: &str) -> Option<Option<&'a Factor>> {
    let need = Need {
        quantity: Quantity::GlobalWarmingPotential,
        species: Some(name),
        device: None,
        fuel: None,
    };
    match draft.look_up(&need, |factor| factor.gwp_set.as_deref() == Some(set)) {
        Found::One(factor) => Some(Some(factor)),
        Found::None => Some(None),
        Found::Several => None,
    }
}

fn as_co2e(
    draft: &mut Draft,
    mass: &SpeciesMass,
    factor: &Factor,
    set: &str,
    slug: &str,
) -> Option<NodeRef> {
    let potential = draft.enter(factor)?;
    let tonne = draft.tonne_per_kg("short_lived", "tCO2e short-lived/kg CO2e")?;
    let heading = Heading::new(
        format!("short_lived/{slug}/{}", mass.slug),
        format!("{} avoided, as CO2e by {set}, for information", mass.name),
        "short-lived-co2e",
        UNIT,
    );
    let product = draft
        .ledger
        .product(heading, &[mass.avoided, potential, tonne]);
    draft.keep(product)
}

fn say_what_is_left_out(
    draft: &mut Draft,
    set: &str,
    without_mass: &[&str],
    without_potential: &[&str],
) {
    if !without_mass.is_empty() {
        draft.note(
            "short-lived-without-mass",
            format!(
                "{set} also weighs {}, whose mass the methodology does not state.",
                without_mass.join(", ")
            ),
        );
    }
    if !without_potential.is_empty() {
        draft.note(
            "short-lived-without-potential",
            format!(
                "No listed factor of {set} weighs {}: stated as a mass alone.",
                without_potential.join(", ")
            ),
        );
    }
}

/// `AR5 GWP20 short-lived` as `ar5_gwp20_short_lived`.
pub(in crate::accounting) fn set_slug(set: &str) -> String {
    let words: Vec<String> = set
        .split(|c: char| !c.is_ascii_alphanumeric())
        .filter(|word| !word.is_empty())
        .map(str::to_lowercase)
        .collect();
    words.join("_")
}
