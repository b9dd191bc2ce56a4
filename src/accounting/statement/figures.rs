//! From the nodes of the ledger to the stated figures and the claims.

use super::char::CharAccount;
use super::co2e::Avoided;
use super::draft::Draft;
use super::for_information::ForInformation;
use super::fuel::{Kitchens, Saving};
use super::masses::SpeciesMass;
use super::use_rate::Use;
use super::{Figure, FigureKind, Simulation};
use crate::accounting::claim::{
    Basis, Bounds, Claim, ClaimError, Claimable, Claims, Reduction, Removal, claimable,
};
use crate::accounting::methodology::Approach;
use crate::accounting::rounding::{FIGURE_DIGITS, to_digits};
use crate::accounting::trace::NodeRef;

/// Inputs named beside a figure as bringing the most variance.
const SHOWN_SHARES: usize = 8;

const REDUCTIONS: &str = "reductions_co2e";
const REMOVALS: &str = "removals_co2";

/// The figures that claims are drawn from, and what people call them.
pub(super) const CLAIMED: [(&str, &str); 2] = [(REDUCTIONS, "reductions"), (REMOVALS, "removals")];

/// Everything that the account arrived at.
pub(super) struct Parts<'a> {
    pub days: Use,
    pub baseline: Kitchens<'a>,
    pub project: Kitchens<'a>,
    pub cooking_moved: Option<NodeRef>,
    pub saving: Saving,
    pub avoided: Avoided<'a>,
    pub species: Vec<SpeciesMass>,
    /// Short-lived species as CO2e, beside the claim.
    pub short_lived: Vec<ForInformation>,
    pub char: CharAccount,
}

/// The figures, in the order they are read.
pub(super) fn figures(draft: &mut Draft, parts: &Parts) -> Option<Vec<Figure>> {
    use FigureKind::*;
    let mut wanted = vec![
        (REDUCTIONS.to_owned(), parts.avoided.reductions, Reduction),
        (REMOVALS.to_owned(), parts.char.stored, Removal),
    ];
    wanted.extend(of_mass(&parts.avoided.co2e));
    wanted.push(("leakage_co2e".to_owned(), parts.avoided.leaked, Mass));
    let items = parts.avoided.leakage_items.iter();
    wanted.extend(items.map(|(code, node)| (format!("leakage_co2e_{code}"), *node, Mass)));
    let masses = parts.avoided.gases.iter().chain(&parts.species);
    wanted.extend(masses.flat_map(of_mass));
    wanted.extend([
        ("fuel_saved".to_owned(), parts.saving.total, Mass),
        (
            "fuel_saved_per_household_day".to_owned(),
            parts.saving.per_day,
            Mass,
        ),
    ]);
    for group in [&parts.baseline, &parts.project] {
        let arm = group.arm.id();
        wanted.push((format!("fuel_per_household_day_{arm}"), group.per_day, Mass));
        let per_adult = group.per_adult_day;
        wanted.extend(per_adult.map(|node| (format!("fuel_per_adult_day_{arm}"), node, Mass)));
    }
    wanted.extend([
        (
            "stoves_in_service_days".to_owned(),
            parts.days.stove_days,
            Activity,
        ),
        (
            "household_days_in_use".to_owned(),
            parts.days.household_days_in_use,
            Activity,
        ),
        ("use_rate".to_owned(), parts.days.rate, Activity),
    ]);
    let moved = parts.cooking_moved;
    wanted.extend(moved.map(|node| ("cooking_moved".to_owned(), node, Activity)));
    wanted.extend([
        ("char_weighed_dry".to_owned(), parts.char.weighed, Mass),
        ("char_to_soil_dry".to_owned(), parts.char.to_soil, Mass),
    ]);
    let mut figures: Vec<Figure> = Vec::new();
    for (id, node, kind) in wanted {
        figures.push(figure(draft, id, node, kind)?);
    }
    for beside in parts.avoided.all_co2.iter().chain(&parts.short_lived) {
        figures.push(beside.figure(draft)?);
    }
    Some(figures)
}

/// Baseline, project, avoided and the percentage of one species.
fn of_mass(mass: &SpeciesMass) -> Vec<(String, NodeRef, FigureKind)> {
    let slug = &mass.slug;
    let mut figures = vec![
        (format!("{slug}_baseline"), mass.baseline, FigureKind::Mass),
        (format!("{slug}_project"), mass.project, FigureKind::Mass),
        (format!("{slug}_avoided"), mass.avoided, FigureKind::Mass),
    ];
    let percent = mass.percent;
    figures.extend(percent.map(|node| (format!("{slug}_percent"), node, FigureKind::Percent)));
    figures
}

pub(super) fn figure(
    draft: &mut Draft,
    id: String,
    node: NodeRef,
    kind: FigureKind,
) -> Option<Figure> {
    let interval = draft.ledger.interval(node);
    let (lower, upper) = draft.keep(interval)?;
    let ledger = &draft.ledger;
    Some(Figure {
        id,
        label: ledger.label(node).to_owned(),
        unit: ledger.unit(node).to_owned(),
        value: to_digits(ledger.value(node), FIGURE_DIGITS),
        lower: to_digits(lower, FIGURE_DIGITS),
        upper: to_digits(upper, FIGURE_DIGITS),
        confidence: draft.inputs.methodology.claim.confidence.normalize(),
        node: ledger.id(node).to_owned(),
        kind,
        shares: ledger.shares(node, SHOWN_SHARES),
    })
}

/// Reductions and removals: two claims, never one number.
pub(super) fn claims(
    draft: &mut Draft,
    parts: &Parts,
    simulation: Option<&Simulation>,
) -> Option<Claims> {
    let reductions = claim(draft, parts.avoided.reductions, REDUCTIONS, simulation)?;
    let mut removals = claim(draft, parts.char.stored, REMOVALS, simulation)?;
    if let Some(refusal) = &parts.char.refusal {
        removals = Claimable {
            tonnes: 0,
            basis: Basis::Refused,
            rule: format!("{refusal}, so nothing is claimed"),
        };
    }
    let stored = match &parts.char.sink {
        Some(sink) => Removal::stored(removals.tonnes, sink),
        None => {
            removals.basis = Basis::Refused;
            removals.rule =
                "the methodology does not count char in the soil, so nothing is claimed".to_owned();
            Removal::none()
        }
    };
    Some(Claims {
        reductions: Claim {
            figure: REDUCTIONS.to_owned(),
            unit: "tCO2e".to_owned(),
            tonnes: Reduction::of_tonnes(reductions.tonnes),
            basis: reductions.basis,
            rule: reductions.rule,
        },
        removals: Claim {
            figure: REMOVALS.to_owned(),
            unit: "tCO2".to_owned(),
            tonnes: stored,
            basis: removals.basis,
            rule: removals.rule,
        },
    })
}

/// What may be claimed, from the interval of the approach that the methodology names.
fn claim(
    draft: &mut Draft,
    node: NodeRef,
    figure: &str,
    simulation: Option<&Simulation>,
) -> Option<Claimable> {
    let (value, doubt) = (draft.ledger.value(node), draft.ledger.uncertainty(node));
    let rule = &draft.inputs.methodology.claim;
    let bounds = match draft.inputs.methodology.uncertainty.claim_from {
        Approach::Analytic => Bounds::propagated(value, doubt, rule),
        Approach::MonteCarlo => {
            let drawn = simulation.and_then(|simulation| simulation.figure(figure));
            Bounds::simulated(drawn, rule)
        }
    };
    match bounds.and_then(|bounds| claimable(value, bounds, rule)) {
        Ok(claimable) => Some(claimable),
        Err(error) => {
            let sentence = format!("Nothing can be claimed of {figure}: {error}.");
            let code = match error {
                ClaimError::NotSimulated => "nothing-simulated",
                ClaimError::TooLarge | ClaimError::Statistics(_) => "number-too-large",
            };
            draft.gap(code, sentence);
            None
        }
    }
}
