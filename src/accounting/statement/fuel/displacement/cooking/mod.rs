//! Controlled cooking tests: project stove over old device, dish by dish.
//!
//! Dishes are weighed alike; one that was cooked in one arm alone is left out.

mod consumption;

use super::{ProjectStove, calorific_value};
use crate::accounting::evidence::CookingTest;
use crate::accounting::inputs::Burn;
use crate::accounting::methodology::FuelRule;
use crate::accounting::statement::draft::Draft;
use crate::accounting::statement::fuel::{Arm, BurntFuel, rule_of};
use crate::accounting::trace::{Heading, NodeRef, Sign, Term};
use consumption::{consumption, note_welch};
use rust_decimal::Decimal;
use std::collections::{BTreeMap, BTreeSet};

/// The tests of one device with one fuel, by dish.
struct Tests<'a> {
    device: &'a str,
    fuel: &'a str,
    by_dish: BTreeMap<&'a str, Vec<&'a CookingTest>>,
}

/// kg dry fuel of the project stove per kg dry fuel of the old device, for the same food.
///
/// The mean over dishes, all weighed alike. The food is the same, so the ratio also holds
/// where the two fuels differ in energy.
pub(super) fn fuel_ratio<'a>(
    draft: &mut Draft<'a>,
    stove: &ProjectStove<'a>,
    burnt: &BurntFuel<'a>,
) -> Option<NodeRef> {
    let before = tests_of(draft, Arm::Baseline, &burnt.burn);
    let after = tests_of(draft, Arm::Project, &stove.burn);
    let (before, after) = (before?, after?);
    let dishes = common_dishes(draft, &before, &after)?;
    let mut ratios = Vec::new();
    for dish in &dishes {
        let (old, new) = (before.by_dish.get(dish)?, after.by_dish.get(dish)?);
        let of_old = consumption(draft, &before, dish, old);
        let of_new = consumption(draft, &after, dish, new);
        let (of_old, of_new) = (of_old?, of_new?);
        let heading = Heading::new(
            format!(
                "cooking_test/ratio/{}/{}/{dish}",
                burnt.burn.device, burnt.burn.fuel
            ),
            format!(
                "fuel of {} over fuel of {}, {dish}",
                after.device, before.device
            ),
            "specific-consumption-ratio",
            "1",
        );
        let ratio = draft.ledger.quotient(heading, of_new, of_old);
        ratios.push(draft.keep(ratio)?);
        note_welch(draft, dish, (&before, old), (&after, new));
    }
    let mean = mean_over_dishes(draft, &burnt.burn, &ratios)?;
    as_burnt(draft, stove, burnt, &before, &after, mean)
}

/// The tests of a device: those with its fuel, else those with the one other fuel tested.
fn tests_of<'a>(draft: &mut Draft<'a>, arm: Arm, burn: &Burn) -> Option<Tests<'a>> {
    let mut tests: Vec<&'a CookingTest> = draft
        .inputs
        .cooking_tests
        .iter()
        .filter(|test| test.device == burn.device)
        .collect();
    // The last bits of a sum must not tell in which order the rows came.
    tests.sort_by_key(|test| &test.test_code);
    let fuels: BTreeSet<&'a str> = tests.iter().map(|test| test.fuel.as_str()).collect();
    let mut listed = fuels.iter().copied();
    let fuel = match (
        listed.clone().find(|fuel| *fuel == burn.fuel),
        listed.next(),
    ) {
        (Some(own), _) => own,
        (None, Some(other)) if fuels.len() == 1 => other,
        (None, found) => {
            let sentence = match found {
                None => format!("No cooking test of {} ({}).", burn.device, arm.id()),
                Some(_) => format!(
                    "{} ({}) burns {}, but its cooking tests burnt several other fuels.",
                    burn.device,
                    arm.id(),
                    burn.fuel
                ),
            };
            draft.gap("no-cooking-test", sentence);
            return None;
        }
    };
    let mut by_dish: BTreeMap<&str, Vec<&CookingTest>> = BTreeMap::new();
    for test in tests.iter().filter(|test| test.fuel == fuel) {
        by_dish.entry(&test.dish).or_default().push(test);
    }
    Some(Tests {
        device: &tests.first()?.device,
        fuel,
        by_dish,
    })
}

fn common_dishes<'a>(
    draft: &mut Draft,
    before: &Tests<'a>,
    after: &Tests<'a>,
) -> Option<Vec<&'a str>> {
    for (own, other) in [(before, after), (after, before)] {
        let alone: Vec<&str> = own
            .by_dish
            .keys()
            .filter(|dish| !other.by_dish.contains_key(*dish))
            .copied()
            .collect();
        if !alone.is_empty() {
            draft.note(
                "dish-in-one-arm",
                format!(
                    "Cooked on {} but not on {}, so left out: {}.",
                    own.device,
                    other.device,
                    alone.join(", ")
                ),
            );
        }
    }
    let both: Vec<&str> = before
        .by_dish
        .keys()
        .filter(|dish| after.by_dish.contains_key(*dish))
        .copied()
        .collect();
    if both.is_empty() {
        draft.gap(
            "no-common-dish",
            format!(
                "No dish was cooked both on {} and on {}.",
                before.device, after.device
            ),
        );
        return None;
    }
    Some(both)
}

fn mean_over_dishes(draft: &mut Draft, burn: &Burn, ratios: &[NodeRef]) -> Option<NodeRef> {
    let id = format!("cooking_test/ratio/{}/{}", burn.device, burn.fuel);
    let terms: Vec<Term> = ratios.iter().map(|node| Term(Sign::Plus, *node)).collect();
    let heading = Heading::new(
        format!("{id}/sum"),
        format!("fuel ratios of all dishes added up, {}", burn.device),
        "sum-over-dishes",
        "1",
    );
    let sum = draft.ledger.sum(heading, &terms);
    let sum = draft.keep(sum)?;
    let dishes = draft.convention(
        &format!("dishes/{}/{}", burn.device, burn.fuel),
        "dishes cooked on both devices, all weighed alike",
        "1",
        Decimal::from(ratios.len()),
    )?;
    let heading = Heading::new(
        id,
        format!(
            "project fuel for the same food, per kg dry {} in {}",
            burn.fuel, burn.device
        ),
        "mean-over-dishes",
        "1",
    );
    let mean = draft.ledger.quotient(heading, sum, dishes);
    draft.keep(mean)
}

/// The ratio for the fuels that households burn, where the tests burnt others: by energy per
/// food, which the fuel does not change.
fn as_burnt<'a>(
    draft: &mut Draft<'a>,
    stove: &ProjectStove<'a>,
    burnt: &BurntFuel<'a>,
    before: &Tests,
    after: &Tests,
    ratio: NodeRef,
) -> Option<NodeRef> {
    let id = format!(
        "cooking_test/ratio/{}/{}",
        burnt.burn.device, burnt.burn.fuel
    );
    let mut ratio = ratio;
    if after.fuel != stove.burn.fuel {
        let (tested, own) = energies(draft, Arm::Project, after, &stove.burn, stove.rule)?;
        ratio = by_energy(draft, &format!("{id}/project_fuel"), ratio, (tested, own))?;
    }
    if before.fuel != burnt.burn.fuel {
        let (tested, own) = energies(draft, Arm::Baseline, before, &burnt.burn, burnt.rule)?;
        ratio = by_energy(draft, &format!("{id}/baseline_fuel"), ratio, (own, tested))?;
    }
    Some(ratio)
}

/// Calorific values of the fuel of the tests and of the fuel that is burnt.
fn energies(
    draft: &mut Draft,
    arm: Arm,
    tests: &Tests,
    burn: &Burn,
    rule: &FuelRule,
) -> Option<(NodeRef, NodeRef)> {
    draft.note(
        "cooking-test-of-other-fuel",
        format!(
            "{} was tested with {}, but burns {}: carried over by energy per food.",
            burn.device, tests.fuel, burn.fuel
        ),
    );
    let tested = rule_of(draft, arm, tests.device, tests.fuel);
    let tested = tested.and_then(|rule| calorific_value(draft, &burn.device, rule));
    let own = calorific_value(draft, &burn.device, rule);
    Some((tested?, own?))
}

fn by_energy(
    draft: &mut Draft,
    id: &str,
    ratio: NodeRef,
    (above, below): (NodeRef, NodeRef),
) -> Option<NodeRef> {
    let heading = Heading::new(
        format!("{id}/energy"),
        "energy of one dry fuel per energy of the other",
        "energy-ratio",
        "1",
    );
    let energy = draft.ledger.quotient(heading, above, below);
    let energy = draft.keep(energy)?;
    let heading = Heading::new(
        id,
        "project fuel for the same food, carried over to the fuel that is burnt",
        "ratio-by-energy",
        "1",
    );
    let product = draft.ledger.product(heading, &[ratio, energy]);
    draft.keep(product)
}
