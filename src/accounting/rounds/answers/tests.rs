//! What rows are worth, by hand.

use super::*;
use crate::accounting::evidence::People;

fn decimal(text: &str) -> Decimal {
    text.parse().unwrap()
}

fn day(text: &str) -> NaiveDate {
    text.parse().unwrap()
}

fn told(rows: &RoundRows, unit: SampleUnit) -> Vec<(String, Visit, Option<String>)> {
    rows.answers(unit)
        .into_iter()
        .map(|answer| {
            let value = answer.value.map(|value| value.normalize().to_string());
            (answer.unit, answer.visit, value)
        })
        .collect()
}

fn done(unit: &str, value: Option<&str>) -> (String, Visit, Option<String>) {
    (unit.into(), Visit::Done, value.map(str::to_owned))
}

#[test]
fn of_a_household_with_two_stoves_the_better_outcome_stands() {
    let row = |household: &str, serial: &str, outcome| UsageAnswer {
        household_code: household.into(),
        serial: serial.into(),
        surveyed_on: day("2025-01-01"),
        outcome,
        days_used_last_week: None,
        share_of_meals: None,
    };
    let rows = RoundRows::Usage(vec![
        row("H-1", "S-1", UsageOutcome::NotFound),
        row("H-1", "S-2", UsageOutcome::NotInUse),
        row("H-2", "S-3", UsageOutcome::Refused),
        row("H-2", "S-4", UsageOutcome::NotFound),
        row("H-3", "S-5", UsageOutcome::InUse),
    ]);
    assert_eq!(
        told(&rows, SampleUnit::Household),
        [
            done("H-1", Some("0")),
            ("H-2".into(), Visit::Refused, None),
            done("H-3", Some("1")),
        ]
    );
    assert_eq!(told(&rows, SampleUnit::Stove).len(), 5);
}

/// (3 + 1 - 2) 0.8 + (2 + 0 - 1) 0.9 on one day and 1 * 0.8 on another: 3.3 over 2 days.
#[test]
fn fuel_of_a_kitchen_is_dry_and_by_the_day_over_all_fuels() {
    let row = |on: &str, fuel: &str, (start, added, end): (&str, &str, &str), moisture: &str| {
        KitchenDay {
            household_code: "H-1".into(),
            measured_on: day(on),
            device: "three_stone_fire".into(),
            fuel: fuel.into(),
            stock_start_wet_kg: decimal(start),
            added_wet_kg: decimal(added),
            stock_end_wet_kg: decimal(end),
            moisture_wb: decimal(moisture),
            people: People::default(),
        }
    };
    let rows = RoundRows::Kitchens(vec![
        row("2025-01-01", "wood", ("3", "1", "2"), "0.2"),
        row("2025-01-01", "husk", ("2", "0", "1"), "0.1"),
        row("2025-01-02", "wood", ("2", "0", "1"), "0.2"),
    ]);
    let household = SampleUnit::RegisteredHousehold;
    assert_eq!(told(&rows, household), [done("H-1", Some("1.65"))]);
}

/// Controlled cooking test by the rule of thumb with the char not credited:
/// 1000 * 0.6 (1 - 1.12 * 0.1) / 1.5 = 355.2 g/kg, by hand.
#[test]
fn a_cook_is_the_household_and_only_tests_on_gasifiers_are_measured() {
    let row = |cook: &str, device: &str, fuel: &str| CookingTest {
        test_code: format!("{cook}-{device}-{fuel}"),
        cook_code: cook.into(),
        tested_on: day("2025-01-01"),
        device: device.into(),
        dish: "rice".into(),
        fuel: "wood".into(),
        fuel_wet_kg: decimal(fuel),
        moisture_wb: decimal("0.1"),
        char_left_kg: decimal("0.09"),
        food_kg: decimal("1.5"),
        minutes: None,
    };
    let rows = RoundRows::Cooking(vec![
        row("H-1", "gasifier", "0.6"),
        row("H-1", "three_stone_fire", "1.9"),
        row("H-2", "three_stone_fire", "1.8"),
    ]);
    assert_eq!(
        told(&rows, SampleUnit::Household),
        [done("H-1", Some("355.2")), done("H-2", None)]
    );
}

#[test]
fn a_test_names_its_stove_before_the_slash_and_the_number_of_the_burn() {
    for (code, serial) in [
        ("HB1-000005/1", "HB1-000005"),
        ("HB1/5/12", "HB1/5"),
        ("HB1-000005", "HB1-000005"),
        ("HB1/a", "HB1/a"),
        ("HB1/", "HB1/"),
    ] {
        assert_eq!(tested_stove(code), serial, "{code}");
    }
}

#[test]
fn a_sample_is_worth_its_organic_carbon_and_readings_their_mean() {
    let rows = RoundRows::CharLab(vec![CharLabTest {
        sample_code: "W12-3".into(),
        laboratory: "LAB-1".into(),
        sampled_on: day("2025-01-01"),
        feedstock: "coconut_husk".into(),
        carbon_total: decimal("0.80"),
        carbon_inorganic: decimal("0.02"),
        hydrogen: decimal("0.02"),
        ash: None,
    }]);
    let weighing = SampleUnit::CharWeighing;
    assert_eq!(told(&rows, weighing), [done("W12-3", Some("0.78"))]);
    let reading = |moisture: &str| MoistureReading {
        household_code: "H-1".into(),
        measured_on: day("2025-01-01"),
        fuel: "wood".into(),
        moisture_wb: decimal(moisture),
    };
    let rows = RoundRows::Moisture(vec![reading("0.10"), reading("0.15")]);
    let household = SampleUnit::Household;
    assert_eq!(told(&rows, household), [done("H-1", Some("0.125"))]);
}
