//! The methods of fuel saved: worked by hand, against published examples, and their laws.

mod cooking;
mod designs;
mod efficiency;
mod kitchens;
mod laws;
mod side_by_side;

use super::example::*;
use crate::accounting::evidence::{CookingTest, StoveTest};
use crate::accounting::factor::{Factor, Quantity, Spread};
use crate::accounting::inputs::{KitchenHousehold, StatementInputs, Sums};
use crate::accounting::methodology::*;
use crate::accounting::statement::{Statement, state};
use crate::accounting::trace::Node;
use rust_decimal::Decimal;
use rust_decimal::prelude::ToPrimitive;

fn gaps(inputs: &StatementInputs) -> Vec<String> {
    let gaps = state(inputs).unwrap_err();
    gaps.into_iter()
        .map(|gap| format!("{}: {}", gap.code, gap.sentence))
        .collect()
}

fn one_gap(inputs: &StatementInputs, code: &str, says: &[&str]) {
    let found = gaps(inputs);
    assert_eq!(found.len(), 1, "{found:?}");
    assert!(found[0].starts_with(&format!("{code}: ")), "{}", found[0]);
    for word in says {
        assert!(found[0].contains(word), "{word:?} is not in {}", found[0]);
    }
}

/// The sentences of the notes of this code.
fn noted<'s>(statement: &'s Statement, code: &str) -> Vec<&'s str> {
    statement
        .notes
        .iter()
        .filter(|note| note.code == code)
        .map(|note| note.sentence.as_str())
        .collect()
}

fn whole_node<'s>(statement: &'s Statement, id: &str) -> &'s Node {
    statement
        .trace
        .node(id)
        .unwrap_or_else(|| panic!("no node {id}"))
}

fn close(found: Decimal, expected: f64, within: f64) {
    let found = found.to_f64().unwrap();
    assert!(
        (found - expected).abs() <= within,
        "{found} is not {expected} within {within}"
    );
}

/// A kitchen of one day in this site; kg of wood in the device that day.
fn kitchen_at(code: &str, site: &str, device: &str, kg: &str) -> KitchenHousehold {
    let mut kitchen = kitchen(code, &[(device, kg)]);
    kitchen.days = 1;
    kitchen.adult_days = decimal("3");
    kitchen.site = site.into();
    kitchen
}

fn sums(values: &[&str]) -> Sums {
    let values = values.iter().map(|value| decimal(value));
    Sums {
        count: values.len() as u64,
        sum: values.clone().sum(),
        sum_of_squares: values.map(|value| value * value).sum(),
    }
}

/// Bone-dry wood, no char left over.
fn cooking_test(code: &str, device: &str, dish: &str, fuel_kg: &str, food_kg: &str) -> CookingTest {
    CookingTest {
        test_code: code.into(),
        cook_code: "cook1".into(),
        tested_on: "2025-02-01".parse().unwrap(),
        device: device.into(),
        dish: dish.into(),
        fuel: "wood".into(),
        fuel_wet_kg: decimal(fuel_kg),
        moisture_wb: Decimal::ZERO,
        char_left_kg: Decimal::ZERO,
        food_kg: decimal(food_kg),
        minutes: None,
    }
}

/// Test 12 of ISO 19867-1's efficiencies (see `efficiency.rs`), with another mass of fuel.
fn stove_test(code: &str, age: u32, fuel_kg: &str) -> StoveTest {
    StoveTest {
        test_code: code.into(),
        laboratory: "lab1".into(),
        tested_on: "2025-02-01".parse().unwrap(),
        device: "gasifier".into(),
        stove_age_years: age,
        fuel: "wood".into(),
        fuel_wet_kg: decimal(fuel_kg),
        moisture_wb: Decimal::ZERO,
        fuel_ncv_dry_mj_per_kg: decimal("17.0"),
        char_left_kg: decimal("0.12"),
        char_ncv_mj_per_kg: decimal("29.5"),
        water_start_kg: decimal("5"),
        water_end_kg: decimal("4.5"),
        water_start_c: decimal("20"),
        water_end_c: decimal("95"),
        minutes: decimal("40"),
        co_g: None,
        pm25_mg: None,
        safety_score: None,
        durability_score: None,
    }
}

fn displaced(inputs: &mut StatementInputs, method: FuelMethod) -> &mut DisplacementRule {
    inputs.methodology.fuel_method = method;
    inputs.project_kitchens.clear();
    inputs.usage[0].meal_share = sums(&["0.5", "0.7", "0.9"]);
    inputs.usage[1].meal_share = sums(&["0.4", "0.6"]);
    inputs.methodology.displacement.insert(DisplacementRule {
        baseline_fuel: BaselineFuel::KitchenTest,
        cooking_share: CookingShare::UsageSurvey,
        project_device: "gasifier".into(),
        project_fuel: "wood".into(),
        efficiency: None,
    })
}

/// The example programme with cooking tests instead of project kitchens.
fn by_cooking_tests() -> StatementInputs {
    let mut inputs = example();
    displaced(&mut inputs, FuelMethod::CookingTest);
    inputs.cooking_tests = vec![
        cooking_test("t1", "three_stone_fire", "beans", "2", "2"),
        cooking_test("t2", "three_stone_fire", "beans", "4", "2"),
        cooking_test("t3", "gasifier", "beans", "1", "2"),
        cooking_test("t4", "gasifier", "beans", "2", "2"),
        cooking_test("t5", "three_stone_fire", "rice", "1", "2"),
        cooking_test("t6", "three_stone_fire", "rice", "1.5", "3"),
        cooking_test("t7", "gasifier", "rice", "0.6", "2"),
        cooking_test("t8", "gasifier", "rice", "0.9", "3"),
    ];
    inputs
}

/// The example programme with cited efficiencies: fires 0.10, gasifiers 0.30 less 10 % a year.
fn by_efficiencies() -> StatementInputs {
    let mut inputs = example();
    let rule = displaced(&mut inputs, FuelMethod::ThermalEfficiency);
    rule.efficiency = Some(EfficiencyRule {
        baseline: id("eta-fire"),
        project: ProjectEfficiency::Cited(id("eta-gasifier")),
        ageing: Ageing::AnnualLoss(id("yearly-loss")),
    });
    for (code, quantity, value) in [
        ("eta-fire", Quantity::ThermalEfficiency, "0.10"),
        ("eta-gasifier", Quantity::ThermalEfficiency, "0.30"),
        ("yearly-loss", Quantity::AnnualEfficiencyLoss, "0.10"),
    ] {
        add(&mut inputs, factor(code, quantity, value, "fraction"));
    }
    inputs
}

fn rule(inputs: &mut StatementInputs) -> &mut DisplacementRule {
    inputs.methodology.displacement.as_mut().unwrap()
}

/// Cites the share of cooking.
fn cite_cooking(inputs: &mut StatementInputs, share: &str) {
    add(
        inputs,
        factor("cooking", Quantity::CookingShare, share, "fraction"),
    );
    rule(inputs).cooking_share = CookingShare::Cited(id("cooking"));
}

fn normal(mut factor: Factor, standard_deviation: &str) -> Factor {
    factor.spread = Spread::Normal {
        standard_deviation: decimal(standard_deviation),
    };
    factor
}
