//! Specific fuel consumption: equivalent dry fuel per food cooked, and whether it differs.
//!
//! Equivalent dry fuel after the protocol (Controlled Cooking Test 2.0, Bailis 2004; MEMORY):
//! `wet * (1 - 1.12 M) - 1.5 * char`, the char term only where the methodology credits char
//! with its energy and so stores it nowhere. SC is the ratio of mean fuel to mean food.

use super::Tests;
use crate::accounting::cooking_test::specific_consumption;
use crate::accounting::evidence::CookingTest;
use crate::accounting::inputs::EvidenceRole;
use crate::accounting::methodology::CharPlace;
use crate::accounting::rounding::to_statistic;
use crate::accounting::statement::draft::Draft;
use crate::accounting::statement::fuel::difference::tested;
use crate::accounting::statement::fuel::sample;
use crate::accounting::stove_test::{CharEnergy, FUEL_PER_CHAR, FUEL_PER_WATER};
use crate::accounting::trace::{Heading, LedgerError, NodeRef, Sign, Term};
use crate::accounting::units::{WetBasisMoisture, WetMass};
use crate::statistics::compare::welch;
use rust_decimal::Decimal;
use std::collections::BTreeMap;

/// Tests of each device that the protocol wants (Controlled Cooking Test 2.0; SEEN).
const WANTED_TESTS: usize = 3;

/// SC: equivalent dry fuel over food, a ratio of two means that vary together.
pub(super) fn consumption(
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
    let measured = measured_means(draft, tests, dish, of_dish, &id)?;
    let food = measured[3];
    let words = format!("{dish} on {device} with {fuel}");
    let equivalent = equivalent_fuel(draft, measured, &id, &words)?;
    if draft.ledger.value(equivalent) <= Decimal::ZERO {
        draft.gap(
            "cooking-test-unusable",
            format!(
                "The cooking tests of {words} leave no fuel once char and water are taken off."
            ),
        );
        return None;
    }
    let heading = Heading::new(
        id,
        format!("specific fuel consumption, {words}"),
        "specific-fuel-consumption",
        "kg dry fuel/kg food",
    );
    let ratio = draft.ledger.quotient(heading, equivalent, food);
    draft.keep(ratio)
}

/// Dry fuel less what its own water took and, where it is credited, what is left in char.
fn equivalent_fuel(
    draft: &mut Draft,
    [dry, water, char, _]: [NodeRef; 4],
    id: &str,
    words: &str,
) -> Option<NodeRef> {
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
        format!("equivalent dry fuel per test, {words}"),
        "equivalent-dry-fuel",
        "kg dry fuel",
    );
    let equivalent = draft.ledger.sum(heading, &terms);
    draft.keep(equivalent)
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
pub(super) fn note_welch(
    draft: &mut Draft,
    dish: &str,
    (before, old): (&Tests, &[&CookingTest]),
    (after, new): (&Tests, &[&CookingTest]),
) {
    let char_energy = if credits_char(draft) {
        CharEnergy::Credited
    } else {
        CharEnergy::Ignored
    };
    let each = |tests: &[&CookingTest]| -> Vec<f64> {
        tests
            .iter()
            .filter_map(|test| specific_consumption(test, char_energy).ok())
            .map(to_statistic)
            .collect()
    };
    let found = tested(welch(&each(old), &each(new)));
    draft.note(
        "cooking-test-difference",
        format!(
            "{dish}, fuel per food on {} against {}, Welch's t test: {found}.",
            before.device, after.device
        ),
    );
}
