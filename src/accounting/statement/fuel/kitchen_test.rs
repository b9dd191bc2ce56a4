//! Kitchen tests: both groups as weighed, apart from each other or before and after.

use super::difference::tested;
use super::group::Group;
use super::{Arm, BurntFuel, Groups, Kitchens, all_fuels, sample};
use crate::accounting::inputs::{Burn, KitchenHousehold};
use crate::accounting::methodology::{FuelPer, FuelRule};
use crate::accounting::statement::draft::Draft;
use crate::accounting::trace::{Heading, NodeRef, Sign, Term};
use crate::statistics::compare;
use std::collections::BTreeSet;

/// The means of one group: a node for each burn, and one for standard adults.
pub(super) struct Means<'a> {
    arm: Arm,
    burns: Vec<(&'a Burn, &'a FuelRule, NodeRef)>,
    adults: NodeRef,
}

impl<'a> Means<'a> {
    pub fn new(group: Group<'a>, nodes: &[NodeRef]) -> Option<Self> {
        let (adults, per_burn) = nodes.split_last()?;
        let burns = group.burns.into_iter().zip(per_burn);
        Some(Means {
            arm: group.arm,
            burns: burns
                .map(|((burn, rule), node)| (burn, rule, *node))
                .collect(),
            adults: *adults,
        })
    }
}

/// Both groups as independent samples.
pub(super) fn independent<'a>(draft: &mut Draft<'a>) -> Option<Groups<'a>> {
    held_by_the_test(draft);
    let baseline = draft.inputs.baseline_kitchens.iter().collect();
    let baseline = sampled(draft, Arm::Baseline, baseline);
    let project = draft.inputs.project_kitchens.iter().collect();
    let project = sampled(draft, Arm::Project, project);
    finished(draft, baseline?, project?)
}

fn sampled<'a>(
    draft: &mut Draft<'a>,
    arm: Arm,
    households: Vec<&'a KitchenHousehold>,
) -> Option<Means<'a>> {
    let group = Group::read(draft, arm, arm.role(), households)?;
    let name = format!("{} kitchen tests", arm.id());
    let nodes = sample::kitchens(draft, &name, &[&group])?;
    Means::new(group, nodes.first()?)
}

/// The same kitchens before and after: both means in one survey, with what they share.
pub(super) fn paired<'a>(draft: &mut Draft<'a>) -> Option<Groups<'a>> {
    held_by_the_test(draft);
    let inputs = draft.inputs;
    let codes = |kitchens: &'a [KitchenHousehold]| -> BTreeSet<&'a str> {
        kitchens
            .iter()
            .map(|kitchen| kitchen.household.as_str())
            .collect()
    };
    let (before, after) = (
        codes(&inputs.baseline_kitchens),
        codes(&inputs.project_kitchens),
    );
    for (alone, other, group) in [(&before, &after, "baseline"), (&after, &before, "project")] {
        let alone: Vec<&str> = alone.difference(other).copied().collect();
        if !alone.is_empty() {
            draft.note(
                "kitchen-without-pair",
                format!(
                    "These kitchens were weighed in the {group} group alone and are left out of \
                     the pairs: {}.",
                    alone.join(", ")
                ),
            );
        }
    }
    let both: BTreeSet<&str> = before.intersection(&after).copied().collect();
    if both.len() < 2 {
        draft.gap(
            "too-few-pairs",
            format!(
                "{} kitchens were weighed both before and after; two at least are needed to know \
                 a spread.",
                both.len()
            ),
        );
        return None;
    }
    let of_pairs = |kitchens: &'a [KitchenHousehold]| -> Vec<&'a KitchenHousehold> {
        let paired = |kitchen: &&KitchenHousehold| both.contains(kitchen.household.as_str());
        kitchens.iter().filter(paired).collect()
    };
    let baseline = of_pairs(&inputs.baseline_kitchens);
    let baseline = Group::read(draft, Arm::Baseline, Arm::Baseline.role(), baseline);
    let project = of_pairs(&inputs.project_kitchens);
    let project = Group::read(draft, Arm::Project, Arm::Project.role(), project);
    let (baseline, project) = (baseline?, project?);
    note_paired(draft, &baseline, &project);
    let nodes = sample::kitchens(draft, "paired kitchen tests", &[&baseline, &project])?;
    let (of_baseline, of_project) = nodes.first().zip(nodes.get(1))?;
    let before = Means::new(baseline, of_baseline)?;
    let after = Means::new(project, of_project)?;
    finished(draft, before, after)
}

/// Whether the kitchens burn less than before: the paired t test of each kitchen's dry fuel a day.
fn note_paired(draft: &mut Draft, before: &Group, after: &Group) {
    let pairs: Vec<(f64, f64)> = before.fuel_a_day().zip(after.fuel_a_day()).collect();
    let found = tested(compare::paired(&pairs));
    draft.note(
        "kitchen-test-difference",
        format!(
            "Dry fuel a day of {} kitchens, before less after, paired t test: {found}.",
            pairs.len()
        ),
    );
}

/// Says where intensity of use is, so that nobody multiplies by it again.
fn held_by_the_test(draft: &mut Draft) {
    draft.note(
        "intensity-of-use",
        "Intensity of use is applied once, by the project kitchen tests: they weigh all that a \
         using household burns, old stoves included, so neither days of use per week nor the \
         share of meals multiplies the saving."
            .to_owned(),
    );
}

fn finished<'a>(draft: &mut Draft, baseline: Means<'a>, project: Means<'a>) -> Option<Groups<'a>> {
    let (baseline, project) = match draft.inputs.methodology.fuel_per {
        FuelPer::Household => (
            per_household(draft, baseline),
            per_household(draft, project),
        ),
        FuelPer::StandardAdult => {
            let adults = project.adults;
            let baseline = per_standard_adult(draft, baseline, adults);
            (baseline, per_standard_adult(draft, project, adults))
        }
    };
    Some(Groups {
        baseline: baseline?,
        project: project?,
        cooking_moved: None,
    })
}

/// A group as it was weighed.
pub(super) fn per_household<'a>(draft: &mut Draft, means: Means<'a>) -> Option<Kitchens<'a>> {
    let arm = means.arm;
    let burns: Vec<BurntFuel> = means
        .burns
        .into_iter()
        .map(|(burn, rule, per_day)| BurntFuel {
            arm,
            burn: burn.clone(),
            rule,
            per_day,
        })
        .collect();
    let per_day = all_fuels(draft, arm, &burns)?;
    let per_adult_day = if draft.ledger.value(means.adults).is_zero() {
        None
    } else {
        let ratio = draft
            .ledger
            .quotient(adult_day_heading(arm), per_day, means.adults);
        Some(draft.keep(ratio)?)
    };
    Some(Kitchens {
        arm,
        burns,
        per_day,
        per_adult_day,
    })
}

fn adult_day_heading(arm: Arm) -> Heading {
    Heading::new(
        format!("fuel/{}/per_adult_day", arm.id()),
        format!("dry fuel per standard adult and day, {}", arm.id()),
        "dry-fuel-per-adult-day",
        "kg dry fuel/standard adult/day",
    )
}

/// A group's fuel per standard adult and day, in a household as large as the project's.
///
/// `ratio estimator of the group * mean standard adults of the project group`.
fn per_standard_adult<'a>(
    draft: &mut Draft,
    means: Means<'a>,
    project_adults: NodeRef,
) -> Option<Kitchens<'a>> {
    let arm = means.arm;
    if draft.ledger.value(means.adults).is_zero() {
        draft.gap(
            "no-standard-adults",
            format!(
                "Fuel is wanted per standard adult, but no people were counted in the {} group.",
                arm.id()
            ),
        );
        return None;
    }
    let mut burns = Vec::new();
    let mut ratios = Vec::new();
    for (burn, rule, node) in means.burns {
        let (id, words) = (draft.ledger.id(node).to_owned(), &burn.fuel);
        let heading = Heading::new(
            format!("{id}/per_adult_day"),
            format!(
                "dry {words} in {} per standard adult and day, {}",
                burn.device,
                arm.id()
            ),
            "dry-fuel-per-adult-day",
            "kg dry fuel/standard adult/day",
        );
        let ratio = draft.ledger.quotient(heading, node, means.adults);
        let ratio = draft.keep(ratio)?;
        ratios.push(Term(Sign::Plus, ratio));
        let heading = Heading::new(
            format!("{id}/at_project_size"),
            format!(
                "dry {words} in {} per household-day, {}, with the standard adults of a project \
                 household",
                burn.device,
                arm.id()
            ),
            "dry-fuel-at-project-size",
            "kg dry fuel/household-day",
        );
        let per_day = draft.ledger.product(heading, &[ratio, project_adults]);
        burns.push(BurntFuel {
            arm,
            burn: burn.clone(),
            rule,
            per_day: draft.keep(per_day)?,
        });
    }
    let per_adult_day = draft.ledger.sum(adult_day_heading(arm), &ratios);
    let per_adult_day = draft.keep(per_adult_day)?;
    Some(Kitchens {
        arm,
        per_day: all_fuels(draft, arm, &burns)?,
        burns,
        per_adult_day: Some(per_adult_day),
    })
}
