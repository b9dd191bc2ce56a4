//! Laws that every method keeps.

use super::*;
use crate::accounting::statement::tests::replay::nodes_that_follow;
use proptest::prelude::*;

/// The example programme under each method.
fn every_method() -> Vec<(&'static str, StatementInputs)> {
    let mut paired = example();
    paired.methodology.fuel_method = FuelMethod::KitchenTestPaired;
    for kitchen in &mut paired.project_kitchens {
        kitchen.household = kitchen.household.replace('p', "b");
    }
    let mut per_adult = example();
    per_adult.methodology.fuel_per = FuelPer::StandardAdult;
    let mut by_stove_tests = by_efficiencies();
    let rule = rule(&mut by_stove_tests).efficiency.as_mut().unwrap();
    rule.project = ProjectEfficiency::StoveTests;
    rule.ageing = Ageing::MeasuredByAge;
    by_stove_tests.stove_tests = ["0.61", "0.67", "0.70", "0.79"]
        .iter()
        .enumerate()
        .map(|(at, kg)| stove_test(&format!("w{at}"), u32::from(at > 1), kg))
        .collect();
    vec![
        ("independent", example()),
        ("paired", paired),
        ("per adult", per_adult),
        ("cooking tests", by_cooking_tests()),
        ("cited efficiencies", by_efficiencies()),
        ("stove tests", by_stove_tests),
    ]
}

fn all_kitchens(inputs: &mut StatementInputs) -> impl Iterator<Item = &mut KitchenHousehold> {
    inputs
        .baseline_kitchens
        .iter_mut()
        .chain(&mut inputs.project_kitchens)
}

fn same(found: Decimal, expected: Decimal) -> bool {
    (found - expected).abs() <= expected.abs() * decimal("0.000001") + decimal("0.000001")
}

const TOTALS: [&str; 4] = [
    "fuel/saved",
    "co2e/reductions",
    "pm25/avoided",
    "bc/avoided",
];

proptest! {
    #![proptest_config(ProptestConfig::with_cases(12))]

    #[test]
    fn masses_times_k_save_k_times_as_much(thousandths in 1u32..100_000) {
        let times = Decimal::new(i64::from(thousandths), 3);
        for (name, inputs) in every_method() {
            let mut scaled = inputs.clone();
            for kitchen in all_kitchens(&mut scaled) {
                kitchen.dry_kg.values_mut().for_each(|kg| *kg *= times);
            }
            scaled.char_lots.clear();
            let (one, other) = (stated(&inputs), stated(&scaled));
            for id in TOTALS {
                prop_assert!(same(node(&other, id), node(&one, id) * times), "{} {}", name, id);
            }
        }
    }

    #[test]
    fn two_parts_of_a_period_add_up_to_the_whole(days in prop::array::uniform2(0u64..50_000)) {
        for (name, whole) in every_method() {
            let (mut first, mut second) = (whole.clone(), whole.clone());
            for (band, days) in days.into_iter().enumerate() {
                first.cohorts[band].stove_days = days;
                second.cohorts[band].stove_days -= days;
            }
            let parts = [&first, &second].map(stated);
            let whole = stated(&whole);
            for id in TOTALS {
                let sum = node(&parts[0], id) + node(&parts[1], id);
                prop_assert!(same(sum, node(&whole, id)), "{} {}", name, id);
            }
        }
    }

    #[test]
    fn more_use_never_saves_less(in_use in 0u64..100) {
        for (name, inputs) in every_method() {
            let with = |in_use: u64| {
                let mut inputs = inputs.clone();
                let count = &mut inputs.usage[0];
                (count.in_use, count.not_in_use) = (in_use, 100 - in_use);
                (count.not_found, count.refused) = (0, 0);
                stated(&inputs)
            };
            let (less, more) = (with(in_use), with(in_use + 1));
            for id in TOTALS {
                prop_assert!(node(&less, id) < node(&more, id), "{} {}", name, id);
            }
        }
    }

    #[test]
    fn more_cooking_moved_saves_more(percent in 0u32..100) {
        for mut inputs in [by_cooking_tests(), by_efficiencies()] {
            cite_cooking(&mut inputs, "0");
            let mut with = |percent: u32| {
                set(&mut inputs, "cooking", &Decimal::new(i64::from(percent), 2).to_string());
                node(&stated(&inputs), "fuel/saved")
            };
            prop_assert!(with(percent) < with(percent + 1));
        }
    }

    #[test]
    fn the_order_of_the_rows_changes_no_byte(
        order in Just((0usize..8).collect::<Vec<_>>()).prop_shuffle()
    ) {
        for (name, mut inputs) in every_method() {
            // Thirds and sevenths, so that the last bits of a sum would tell.
            for (at, kitchen) in all_kitchens(&mut inputs).enumerate() {
                kitchen.days = [3, 7][at % 2];
            }
            for at in 0..6 {
                for (group, device) in [("b", "three_stone_fire"), ("p", "gasifier")] {
                    let prefix = if name == "paired" { "c" } else { group };
                    let kg = format!("{}.{}", at + 3, 17 * at);
                    let mut more = kitchen(&format!("{prefix}9{at}"), &[(device, &kg)]);
                    more.days = 7;
                    let to_baseline = group == "b";
                    let kitchens = if to_baseline {
                        &mut inputs.baseline_kitchens
                    } else {
                        &mut inputs.project_kitchens
                    };
                    kitchens.push(more);
                }
            }
            for test in &mut inputs.cooking_tests {
                test.food_kg /= decimal("0.7");
                test.moisture_wb = decimal("0.137");
            }
            let mut turned = inputs.clone();
            shuffle(&mut turned.baseline_kitchens, &order);
            shuffle(&mut turned.project_kitchens, &order);
            shuffle(&mut turned.cooking_tests, &order);
            shuffle(&mut turned.stove_tests, &order);
            turned.usage.reverse();
            turned.cohorts.reverse();
            turned.factors.reverse();
            let json = |inputs| serde_json::to_string(&stated(inputs)).unwrap();
            prop_assert_eq!(json(&inputs), json(&turned), "{}", name);
        }
    }
}

fn shuffle<T: Clone>(rows: &mut [T], order: &[usize]) {
    let before = rows.to_vec();
    let places = order.iter().filter(|at| **at < before.len());
    for (row, at) in rows.iter_mut().zip(places) {
        *row = before[*at].clone();
    }
}

#[test]
fn every_trace_can_be_nodes_that_follow() {
    for (name, inputs) in every_method() {
        let computed = nodes_that_follow(&stated(&inputs).trace);
        assert!(computed > 40, "{name}: only {computed} nodes are computed");
    }
}

#[test]
fn no_stoves_save_nothing_by_any_method() {
    for (name, mut inputs) in every_method() {
        inputs.cohorts.clear();
        inputs.char_lots.clear();
        let statement = stated(&inputs);
        for id in TOTALS {
            assert_eq!(node(&statement, id), Decimal::ZERO, "{name} {id}");
        }
        assert_eq!(statement.claims.reductions.tonnes.tonnes(), 0, "{name}");
    }
}

#[test]
fn cooking_that_did_not_move_saves_nothing() {
    for mut inputs in [by_cooking_tests(), by_efficiencies()] {
        inputs.char_lots.clear();
        cite_cooking(&mut inputs, "0");
        let statement = stated(&inputs);
        for id in TOTALS {
            assert_eq!(node(&statement, id), Decimal::ZERO, "{id}");
        }
        assert_eq!(
            node(&statement, "fuel/project"),
            node(&statement, "fuel/baseline")
        );
        assert!(noted(&statement, "intensity-of-use")[0].contains("cooking@1"));
    }
}

#[test]
fn a_worse_stove_saves_less_than_nothing() {
    let mut inputs = by_efficiencies();
    set(&mut inputs, "eta-gasifier", "0.05");
    let statement = stated(&inputs);
    assert!(node(&statement, "fuel/saved") < Decimal::ZERO);
    assert_eq!(statement.claims.reductions.tonnes.tonnes(), 0);
}
