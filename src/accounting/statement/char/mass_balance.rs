//! The mass balance: char to soil against the fuel that can have given it.

use crate::accounting::factor::Quantity;
use crate::accounting::statement::co2e::of_quantity;
use crate::accounting::statement::draft::Draft;
use crate::accounting::statement::fuel::Kitchens;
use crate::accounting::trace::{Heading, NodeRef, Sign, Term};

/// Mass balance: char to soil cannot exceed what the gasifiers' fuel can have given.
///
/// Outer `None`: a gap. Inner `None`: believable.
pub(super) fn check_yield(
    draft: &mut Draft,
    project: &Kitchens,
    days_in_use: NodeRef,
    to_soil: NodeRef,
) -> Option<Option<String>> {
    let id = &draft.inputs.methodology.char_rule.yield_bound;
    let factor = draft.named_factor(id, "char yield bound")?;
    let bound = of_quantity(draft, factor, Quantity::CharYieldBound)?;
    let stove = draft.inputs.methodology.displacement.as_ref();
    let stove = stove.map(|rule| rule.project_device.as_str());
    let terms: Vec<Term> = project
        .burns
        .iter()
        .filter(|burnt| makes_char(&burnt.burn.device, stove))
        .map(|burnt| Term(Sign::Plus, burnt.per_day))
        .collect();
    let heading = Heading::new(
        "char/gasifier_fuel_per_household_day",
        "dry fuel of the gasifiers per household-day",
        "gasifier-fuel-per-household-day",
        "kg dry fuel/household-day",
    );
    let per_day = draft.ledger.sum(heading, &terms);
    let per_day = draft.keep(per_day)?;
    let heading = Heading::new(
        "char/largest_believable",
        "most dry char that the gasifiers' fuel of the period can have given",
        "char-yield-bound",
        "kg dry char",
    );
    let most = draft
        .ledger
        .product(heading, &[per_day, days_in_use, bound]);
    let most = draft.keep(most)?;
    let (found, most) = (draft.ledger.value(to_soil), draft.ledger.value(most));
    if found <= most {
        return Some(None);
    }
    if terms.is_empty() {
        let refusal = format!(
            "{} kg dry char went to soil, but the project group burnt nothing in a device that \
             its code names a gasifier",
            found.round_dp(1).normalize()
        );
        return Some(Some(refused(draft, refusal)));
    }
    let refusal = format!(
        "{} kg dry char went to soil, but the gasifiers' fuel of the period can have given {} kg \
         at most",
        found.round_dp(1).normalize(),
        most.round_dp(1).normalize()
    );
    Some(Some(refused(draft, refusal)))
}

fn refused(draft: &mut Draft, refusal: String) -> String {
    let sentence = format!("{refusal}: no removal is claimed.");
    draft.note("char-above-yield", sentence);
    refusal
}

/// Whether a device leaves char behind by design: the project stove that the methodology names,
/// or one whose code says so.
///
/// Kitchens are recorded by device code alone. A stove that goes unrecognised lowers the bound,
/// so a mistake refuses a claim and never makes one.
fn makes_char(device: &str, project_stove: Option<&str>) -> bool {
    let says_so = |word: &str| {
        let word = word.to_ascii_lowercase();
        ["gasifier", "gasifiers", "microgasifier", "tlud"].contains(&word.as_str())
    };
    project_stove == Some(device)
        || device
            .split(|c: char| !c.is_ascii_alphanumeric())
            .any(says_so)
}

#[cfg(test)]
mod tests {
    use super::makes_char;

    #[test]
    fn gasifiers_are_known_by_their_code_or_named_by_the_methodology() {
        for device in ["gasifier", "gasifier-2", "forced_draught_gasifier", "TLUD"] {
            assert!(makes_char(device, None), "{device}");
        }
        for device in ["three_stone_fire", "charcoal_stove", "degasifierless", ""] {
            assert!(!makes_char(device, None), "{device}");
        }
        assert!(makes_char("drum_stove", Some("drum_stove")));
        assert!(!makes_char("drum_stove", Some("drum")));
    }
}
