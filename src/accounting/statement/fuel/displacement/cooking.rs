//! Controlled cooking tests: fuel per food cooked, dish by dish, project stove over old device.
//!
//! Equivalent dry fuel after the protocol (Controlled Cooking Test 2.0, Bailis 2004; MEMORY):
//! `wet * (1 - 1.12 M) - 1.5 * char`, the char term only where the methodology credits char
//! with its energy and stores it nowhere. SC is the ratio of mean equivalent fuel to mean food.

use super::{ProjectStove, calorific_value};
use crate::accounting::evidence::CookingTest;
use crate::accounting::inputs::{Burn, EvidenceRole};
use crate::accounting::methodology::CharPlace;
use crate::accounting::rounding::to_statistic;
use crate::accounting::statement::draft::Draft;
use crate::accounting::statement::fuel::{Arm, BurntFuel, rule_of, sample};
use crate::accounting::trace::{Heading, LedgerError, NodeRef, Sign, Term};
use crate::accounting::units::{WetBasisMoisture, WetMass};
use crate::statistics::difference::welch;
use rust_decimal::Decimal;
use std::collections::{BTreeMap, BTreeSet};

/// Dry fuel that evaporates one kg of the fuel's own water, kg (protocol; MEMORY).
const FUEL_PER_WATER: Decimal = Decimal::from_parts(12, 0, 0, false, 2);
/// Dry fuel with the energy of one kg of char, kg (protocol; MEMORY).
const FUEL_PER_CHAR: Decimal = Decimal::from_parts(15, 0, 0, false, 1);
/// Tests of each device that the protocol wants (Controlled Cooking Test 2.0; SEEN).
const WANTED_TESTS: usize = 3;

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

/// SC: equivalent dry fuel over food, a ratio of two means that vary together.
fn consumption(
    draft: &mut Draft,
    tests: &Tests,
    dish: &str,
    of_dish: &[&CookingTest],
) -> Option<NodeRef> {
    let (device, fuel) = (tests.device, tests.fuel);
    let id = format!("cooking_test/{device}/{fuel}/{dish}");
    if let Some(known) = draft.ledger.find(&id) {
        return Some(known);
    }
    let [dry, water, char, food] = measured_means(draft, tests, dish, of_dish, &id)?;
    let words = format!("{dish} on {device} with {fuel}");
    let per_water = draft.convention(
        "dry_fuel_per_water",
        "dry fuel that evaporates the fuel's own water (cooking test protocol)",
        "kg dry fuel/kg water",
        FUEL_PER_WATER,
    )?;
    let heading = Heading::new(
        format!("{id}/fuel_for_water"),
        format!("dry fuel spent on the fuel's own water, {words}"),
        "fuel-for-own-water",
        "kg dry fuel",
    );
    let for_water = draft.ledger.product(heading, &[water, per_water]);
    let mut terms = vec![
        Term(Sign::Plus, dry),
        Term(Sign::Minus, draft.keep(for_water)?),
    ];
    if credits_char(draft) {
        let per_char = draft.convention(
            "dry_fuel_per_char",
            "dry fuel with the energy of the char left over (cooking test protocol)",
            "kg dry fuel/kg dry char",
            FUEL_PER_CHAR,
        )?;
        let heading = Heading::new(
            format!("{id}/fuel_in_char"),
            format!("dry fuel whose energy is left in char, {words}"),
            "fuel-left-in-char",
            "kg dry fuel",
        );
        let in_char = draft.ledger.product(heading, &[char, per_char]);
        terms.push(Term(Sign::Minus, draft.keep(in_char)?));
    }
    let heading = Heading::new(
        format!("{id}/equivalent_dry_fuel"),
        format!("equivalent dry fuel, {words}"),
        "equivalent-dry-fuel",
        "kg dry fuel",
    );
    let equivalent = draft.ledger.sum(heading, &terms);
    let equivalent = draft.keep(equivalent)?;
    let heading = Heading::new(
        id,
        format!("specific fuel consumption, {words}"),
        "specific-fuel-consumption",
        "kg dry fuel/kg food",
    );
    let ratio = draft.ledger.quotient(heading, equivalent, food);
    draft.keep(ratio)
}

/// Only where the methodology credits char with its energy is it taken off the fuel.
fn credits_char(draft: &Draft) -> bool {
    draft.inputs.methodology.char_rule.counted_in == CharPlace::EnergyCredit
}

/// Means of dry fuel, water in the fuel, char left over and food.
fn measured_means(
    draft: &mut Draft,
    tests: &Tests,
    dish: &str,
    of_dish: &[&CookingTest],
    id: &str,
) -> Option<[NodeRef; 4]> {
    let words = format!("{dish} on {}", tests.device);
    if of_dish.len() < 2 {
        let sentence = format!(
            "There is one cooking test of {words}; two at least are needed to know a spread."
        );
        draft.gap("too-few-cooking-tests", sentence);
        return None;
    }
    if of_dish.len() < WANTED_TESTS {
        draft.note(
            "few-cooking-tests",
            format!(
                "There are {} cooking tests of {words}; the protocol wants {WANTED_TESTS}.",
                of_dish.len()
            ),
        );
    }
    let mut columns: [Vec<Decimal>; 4] = Default::default();
    for test in of_dish {
        let measured = draft.keep(measured(test))?;
        columns
            .iter_mut()
            .zip(measured)
            .for_each(|(column, value)| column.push(value));
    }
    let kinds = [
        ("dry_fuel", "dry fuel", "kg dry fuel"),
        ("water", "water in the fuel", "kg water"),
        ("char", "dry char left over", "kg dry char"),
        ("food", "food cooked", "kg food"),
    ];
    let at = [
        ("device", tests.device),
        ("fuel", tests.fuel),
        ("dish", dish),
    ];
    let at: BTreeMap<String, String> = at
        .into_iter()
        .map(|(name, value)| (name.to_owned(), value.to_owned()))
        .collect();
    let heading = |(slug, kind, unit): (&str, &str, &'static str)| {
        let label = format!("{kind} per test, {words} with {}", tests.fuel);
        let heading = Heading::new(format!("{id}/{slug}"), label, "mean-of-cooking-tests", unit);
        (heading, at.clone())
    };
    let named = sample::Named {
        name: format!(
            "cooking tests, {words} with {} ({})",
            tests.fuel,
            of_dish.len()
        ),
        role: EvidenceRole::CookingTests,
        headings: kinds.into_iter().map(heading).collect(),
    };
    let columns: Vec<&[Decimal]> = columns.iter().map(Vec::as_slice).collect();
    <[NodeRef; 4]>::try_from(sample::simple(draft, named, &columns)?).ok()
}

/// Dry fuel, water in it, char and food of one test, kg.
fn measured(test: &CookingTest) -> Result<[Decimal; 4], LedgerError> {
    let refused = || LedgerError::TooLarge {
        id: format!("cooking test {}", test.test_code),
    };
    if test.food_kg <= Decimal::ZERO {
        return Err(LedgerError::DivisionByZero {
            id: format!("food of cooking test {}", test.test_code),
        });
    }
    let dry = WetBasisMoisture::from_fraction(test.moisture_wb)
        .and_then(|moisture| WetMass::from_kg(test.fuel_wet_kg).dried(moisture))
        .map_err(|_| refused())?
        .kg();
    let water = test.fuel_wet_kg.checked_sub(dry).ok_or_else(refused)?;
    Ok([dry, water, test.char_left_kg, test.food_kg])
}

/// Whether the two devices differ on this dish: Welch's test of each test's own consumption.
fn note_welch(
    draft: &mut Draft,
    dish: &str,
    (before, old): (&Tests, &[&CookingTest]),
    (after, new): (&Tests, &[&CookingTest]),
) {
    let credit = credits_char(draft);
    let each = |tests: &[&CookingTest]| -> Vec<f64> {
        tests
            .iter()
            .filter_map(|test| specific_consumption(test, credit))
            .map(to_statistic)
            .collect()
    };
    let found = match welch(&each(old), &each(new)) {
        Ok(found) => format!(
            "t = {:.3}, {:.2} degrees of freedom, two-sided p = {:.4}",
            found.t, found.degrees_of_freedom, found.probability
        ),
        Err(reason) => format!("no test: {reason}"),
    };
    draft.note(
        "cooking-test-difference",
        format!(
            "{dish}, fuel per food on {} against {}, Welch's t test: {found}.",
            before.device, after.device
        ),
    );
}

/// Equivalent dry fuel over food of one test.
fn specific_consumption(test: &CookingTest, credit_char: bool) -> Option<Decimal> {
    let [dry, water, char, food] = measured(test).ok()?;
    let in_char = if credit_char {
        char.checked_mul(FUEL_PER_CHAR)?
    } else {
        Decimal::ZERO
    };
    dry.checked_sub(water.checked_mul(FUEL_PER_WATER)?)?
        .checked_sub(in_char)?
        .checked_div(food)
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

/// The ratio for the fuels that households burn, where tests burnt others: by energy per food.
fn as_burnt<'a>(
    draft: &mut Draft<'a>,
    stove: &ProjectStove<'a>,
    burnt: &BurntFuel<'a>,
    before: &Tests,
    after: &Tests,
    ratio: NodeRef,
) -> Option<NodeRef> {
    let (mut above, mut below) = (vec![ratio], Vec::new());
    let pairs = [
        (after, &stove.burn, stove.rule, true),
        (before, &burnt.burn, burnt.rule, false),
    ];
    for (tests, burn, rule, of_project) in pairs {
        if tests.fuel == burn.fuel {
            continue;
        }
        let arm = if of_project {
            Arm::Project
        } else {
            Arm::Baseline
        };
        let tested = rule_of(draft, arm, tests.device, tests.fuel)?;
        let tested = calorific_value(draft, &burn.device, tested);
        let own = calorific_value(draft, &burn.device, rule);
        let (tested, own) = (tested?, own?);
        let (up, down) = if of_project {
            (tested, own)
        } else {
            (own, tested)
        };
        above.push(up);
        below.push(down);
        draft.note(
            "cooking-test-of-other-fuel",
            format!(
                "{} was tested with {}, but burns {}: carried over by energy per food.",
                burn.device, tests.fuel, burn.fuel
            ),
        );
    }
    let mut result = ratio;
    for (place, (up, down)) in above.into_iter().skip(1).zip(below).enumerate() {
        let id = format!(
            "cooking_test/energy/{}/{}/{place}",
            burnt.burn.device, burnt.burn.fuel
        );
        let heading = Heading::new(
            id.clone(),
            "energy of one fuel per energy of the other, both dry",
            "energy-ratio",
            "1",
        );
        let energy = draft.ledger.quotient(heading, up, down);
        let energy = draft.keep(energy)?;
        let heading = Heading::new(
            format!("{id}/ratio"),
            "project fuel for the same food, carried over to the fuel that is burnt",
            "ratio-by-energy",
            "1",
        );
        let product = draft.ledger.product(heading, &[result, energy]);
        result = draft.keep(product)?;
    }
    Some(result)
}
