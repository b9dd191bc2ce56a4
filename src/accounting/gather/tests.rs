//! Rows made by hand, with the counts and sums that they must give.

use super::*;
use crate::accounting::evidence::{
    BaselineSurveyAnswer, CharLabTest, CharWeighing, KitchenDay, People, UsageAnswer, UsageOutcome,
};
use crate::accounting::inputs::{Burn, Period};
use rust_decimal::Decimal;
use std::str::FromStr;

fn day(text: &str) -> NaiveDate {
    text.parse().unwrap()
}

fn decimal(text: &str) -> Decimal {
    Decimal::from_str(text).unwrap()
}

fn year() -> Period {
    Period {
        code: "2025".into(),
        starts_on: day("2025-01-01"),
        ends_on: day("2026-01-01"),
    }
}

fn household(code: &str, site: &str) -> Household {
    Household {
        household_code: code.into(),
        site_code: site.into(),
        people: People::default(),
    }
}

fn deployment(serial: &str, household: &str, installed_on: &str) -> Deployment {
    Deployment {
        serial: serial.into(),
        model_code: "drum".into(),
        model_version: 2,
        household_code: household.into(),
        installed_on: day(installed_on),
        ended_on: None,
        end_reason: None,
        second_stove: false,
    }
}

fn answer(serial: &str, household: &str, on: &str, outcome: UsageOutcome) -> UsageAnswer {
    UsageAnswer {
        household_code: household.into(),
        serial: serial.into(),
        surveyed_on: day(on),
        outcome,
        days_used_last_week: None,
        share_of_meals: None,
    }
}

#[test]
fn cohorts_split_by_site_and_age_and_respect_later_ends() {
    let households = [household("h1", "north"), household("h2", "south")];
    let deployments = [
        deployment("s2", "h2", "2025-07-01"),
        deployment("s1", "h1", "2024-03-01"),
    ];
    let ends = [DeploymentEnd {
        serial: "s2".into(),
        installed_on: day("2025-07-01"),
        ended_on: day("2025-07-11"),
        end_reason: "broken".into(),
    }];
    let found = cohorts(&households, &deployments, &ends, &year(), 0).unwrap();
    let short: Vec<_> = found
        .iter()
        .map(|c| (c.site_code.as_str(), c.age_band, c.stove_days, c.stoves))
        .collect();
    assert_eq!(
        short,
        [
            ("north", 0, 59, 1),
            ("north", 1, 306, 1),
            ("south", 0, 10, 1)
        ]
    );
}

#[test]
fn a_stove_in_an_unknown_household_is_named() {
    let refused = cohorts(
        &[] as &[Household],
        &[deployment("s1", "h1", "2024-03-01")],
        &[] as &[DeploymentEnd],
        &year(),
        0,
    );
    assert_eq!(
        refused.unwrap_err().to_string(),
        "household h1 of stove s1 is not in the register"
    );
}

#[test]
fn answers_meet_the_latest_installation_before_the_visit() {
    let households = [household("h1", "north"), household("h2", "north")];
    let deployments = [
        deployment("s1", "h1", "2022-01-01"),
        deployment("s1", "h1", "2025-02-01"),
        deployment("s2", "h2", "2023-06-01"),
    ];
    let answers = [
        answer("s1", "h1", "2025-01-15", UsageOutcome::InUse),
        answer("s1", "h1", "2025-03-01", UsageOutcome::NotInUse),
        answer("s2", "h2", "2025-03-01", UsageOutcome::NotFound),
        answer("s2", "h2", "2025-08-01", UsageOutcome::Refused),
        answer("s2", "h2", "2024-08-01", UsageOutcome::InUse),
    ];
    let found = usage_counts(&answers, &deployments, &households, &year()).unwrap();
    let short: Vec<_> = found
        .iter()
        .map(|c| (c.age_band, c.in_use, c.not_in_use, c.not_found, c.refused))
        .collect();
    assert_eq!(
        short,
        [
            (0, 0, 1, 0, 0),
            (1, 0, 0, 1, 0),
            (2, 0, 0, 0, 1),
            (3, 1, 0, 0, 0)
        ]
    );
    let early = answer("s2", "h1", "2025-03-01", UsageOutcome::InUse);
    assert!(usage_counts(&[early], &deployments, &households, &year()).is_err());
}

fn kitchen_day(on: &str, device: &str, fuel: &str, used: &str, adults: u32) -> KitchenDay {
    KitchenDay {
        household_code: "h1".into(),
        measured_on: day(on),
        device: device.into(),
        fuel: fuel.into(),
        stock_start_wet_kg: decimal("10"),
        added_wet_kg: decimal(used),
        stock_end_wet_kg: decimal("10"),
        moisture_wb: decimal("0.2"),
        people: People {
            men_15_59: adults,
            ..People::default()
        },
    }
}

#[test]
fn kitchens_add_up_fuels_and_count_each_day_once() {
    let days = [
        kitchen_day("2025-05-02", "gasifier", "wood", "3", 4),
        kitchen_day("2025-05-01", "gasifier", "wood", "2", 3),
        kitchen_day("2025-05-01", "three_stone_fire", "wood", "1.5", 3),
    ];
    let found = kitchen_households(&days, &[household("h1", "north")]).unwrap();
    assert_eq!(found.len(), 1);
    assert_eq!((found[0].days, found[0].adult_days), (2, decimal("7")));
    let dry = |device: &str| {
        found[0].dry_kg[&Burn {
            device: device.into(),
            fuel: "wood".into(),
        }]
    };
    assert_eq!(dry("gasifier"), decimal("4"));
    assert_eq!(dry("three_stone_fire"), decimal("1.2"));
}

#[test]
fn a_soaked_fuel_is_refused_with_its_place() {
    let mut soaked = kitchen_day("2025-05-02", "gasifier", "wood", "3", 4);
    soaked.moisture_wb = decimal("0.9");
    let refused = kitchen_households(&[soaked], &[household("h1", "north")]).unwrap_err();
    assert!(
        refused.to_string().contains("household h1 on 2025-05-02"),
        "{refused}"
    );
}

#[test]
fn char_above_the_bound_is_set_apart() {
    let weighing = |char_kg: &str, fuel: Option<&str>| CharWeighing {
        household_code: "h1".into(),
        weighed_on: day("2025-05-02"),
        feedstock: "coconut_husk".into(),
        fuel_burnt_wet_kg: fuel.map(decimal),
        fuel_moisture_wb: fuel.map(|_| decimal("0.2")),
        char_wet_kg: decimal(char_kg),
        char_moisture_wb: decimal("0.5"),
        fate: "soil".into(),
    };
    // Dry fuel 4 kg, bound 0.30: 1.2 kg dry char is still believed, 1.25 kg is not.
    let rows = [
        weighing("2.4", Some("5")),
        weighing("2.5", Some("5")),
        weighing("9", None),
    ];
    let found = char_lots(&rows, &year(), decimal("0.30")).unwrap();
    assert_eq!(found.len(), 1);
    assert_eq!((found[0].weighings, found[0].over_bound_weighings), (3, 1));
    assert_eq!(
        (found[0].dry_kg, found[0].over_bound_dry_kg),
        (decimal("6.95"), decimal("1.25"))
    );
}

fn asked(on: &str, device: &str, fuel: &str, wet: &str, adults: u32) -> BaselineSurveyAnswer {
    BaselineSurveyAnswer {
        household_code: "h1".into(),
        surveyed_on: day(on),
        device: device.into(),
        fuel: fuel.into(),
        fuel_wet_kg_per_day: decimal(wet),
        moisture_wb: decimal("0.2"),
        people: People {
            men_15_59: adults,
            ..People::default()
        },
    }
}

#[test]
fn a_survey_answer_counts_as_one_day_however_many_fuels_it_names() {
    let answers = [
        asked("2022-09-10", "three_stone_fire", "wood", "5.00", 4),
        asked("2022-09-10", "three_stone_fire", "dung", "1", 4),
        asked("2022-11-02", "three_stone_fire", "wood", "4", 3),
    ];
    let found = survey_households(&answers, &[household("h1", "north")]).unwrap();
    assert_eq!(found.len(), 1);
    assert_eq!((found[0].days, found[0].adult_days), (2, decimal("7")));
    let dry: Vec<_> = found[0]
        .dry_kg
        .iter()
        .map(|(burn, dry)| (burn.fuel.as_str(), dry.to_string()))
        .collect();
    assert_eq!(
        dry,
        [("dung", "0.8".to_owned()), ("wood", "7.2".to_owned())]
    );
    let unknown = survey_households(&answers, &[] as &[Household]).unwrap_err();
    assert_eq!(
        unknown.to_string(),
        "household h1 of a baseline survey is not in the register"
    );
}

#[test]
fn tests_and_samples_stand_in_order_of_their_codes_without_trailing_zeros() {
    let sample = |code: &str| CharLabTest {
        sample_code: code.into(),
        laboratory: "LAB".into(),
        sampled_on: day("2025-04-01"),
        feedstock: "wood".into(),
        carbon_total: decimal("0.800"),
        carbon_inorganic: decimal("0.0"),
        hydrogen: decimal("0.020"),
        ash: Some(decimal("0.10")),
    };
    let found = char_lab(&[sample("b"), sample("a"), sample("B")]);
    let codes: Vec<&str> = found.iter().map(|s| s.sample_code.as_str()).collect();
    assert_eq!(codes, ["B", "a", "b"]);
    let texts = [found[0].carbon_total, found[0].carbon_inorganic].map(|d| d.to_string());
    assert_eq!(texts, ["0.8", "0"]);
    assert_eq!(
        found[0].ash.map(|ash| ash.to_string()).as_deref(),
        Some("0.1")
    );
}
