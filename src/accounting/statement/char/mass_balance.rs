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
    let terms: Vec<Term> = project
        .burns
        .iter()
        .filter(|burnt| makes_char(&burnt.burn.device))
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
    let refusal = format!(
        "{} kg dry char went to soil, but the gasifiers' fuel of the period can have given {} kg \
         at most",
        found.round_dp(1).normalize(),
        most.round_dp(1).normalize()
    );
    draft.note(
        "char-above-yield",
        format!("{refusal}: no removal is claimed."),
    );
    Some(Some(refusal))
}

/// A device whose code names it a gasifier; only these leave char behind by design.
fn makes_char(device: &str) -> bool {
    device
        .split(|c: char| !c.is_ascii_alphanumeric())
        .any(|word| word == "gasifier")
}
