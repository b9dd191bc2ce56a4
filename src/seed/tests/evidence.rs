//! Rules and sizes of usage answers, kitchen tests and char weighings.

use super::register::{Known, deployments};
use super::{Row, committed, date, number, programme, rows};
use crate::accounting::records::RoundKind;
use crate::seed::Seed;
use crate::seed::programme::Round;
use chrono::NaiveDate;
use rust_decimal::Decimal;
use std::collections::{BTreeMap, BTreeSet};

fn decimal(text: &str) -> Decimal {
    text.parse().expect("a decimal")
}

fn rounds(seed: &Seed, kind: RoundKind) -> Vec<Round> {
    programme(seed)
        .rounds
        .into_iter()
        .filter(|round| round.kind == kind)
        .collect()
}

fn assert_inside(round: &Round, day: NaiveDate) {
    assert!(
        round.starts_on <= day && day < round.ends_on,
        "{day} is not in {}",
        round.code
    );
}

fn dry(row: &Row, wet: Decimal, moisture: &str) -> Decimal {
    wet * (Decimal::ONE - number(row, moisture))
}

fn dry_burnt(row: &Row) -> Decimal {
    let had = number(row, "stock_start_wet_kg") + number(row, "added_wet_kg");
    dry(row, had - number(row, "stock_end_wet_kg"), "moisture_wb")
}

pub(super) fn assert_rules(seed: &Seed) {
    let known = deployments(seed);
    let households: BTreeSet<String> = rows(seed, "households.csv")
        .into_iter()
        .map(|row| row["household_code"].clone())
        .collect();
    for round in rounds(seed, RoundKind::UsageSurvey) {
        for row in rows(seed, &round.file) {
            assert_usage_row(&round, &row, &known);
        }
    }
    for kind in [RoundKind::KitchenBaseline, RoundKind::KitchenProject] {
        for round in rounds(seed, kind) {
            for row in rows(seed, &round.file) {
                assert_kitchen_row(&round, &row, &known);
                assert!(households.contains(&row["household_code"]));
            }
        }
    }
    for round in rounds(seed, RoundKind::CharWeighing) {
        for row in rows(seed, &round.file) {
            assert_weighing_row(&round, &row, &known);
        }
    }
}

fn assert_usage_row(round: &Round, row: &Row, known: &[Known]) {
    let day = date(row, "surveyed_on");
    assert_inside(round, day);
    assert!(
        known.iter().any(|stove| {
            stove.serial == row["serial"]
                && stove.household == row["household_code"]
                && stove.is_there_on(day)
        }),
        "{row:?}"
    );
    match row["outcome"].as_str() {
        "in_use" => {
            let days = number(row, "days_used_last_week");
            assert!(days >= Decimal::ONE && days <= decimal("7"), "{row:?}");
            let share = number(row, "share_of_meals");
            assert!(share > Decimal::ZERO && share <= Decimal::ONE, "{row:?}");
        }
        "not_in_use" => assert_eq!(number(row, "days_used_last_week"), Decimal::ZERO),
        "not_found" | "refused" => assert!(row["days_used_last_week"].is_empty()),
        other => panic!("{other} is no outcome"),
    }
}

fn assert_kitchen_row(round: &Round, row: &Row, known: &[Known]) {
    let day = date(row, "measured_on");
    assert_inside(round, day);
    assert!(dry_burnt(row) > Decimal::ZERO, "{row:?}");
    let moisture = number(row, "moisture_wb");
    assert!(
        moisture >= decimal("0.10") && moisture <= decimal("0.19"),
        "{row:?}"
    );
    let has_stove = known
        .iter()
        .any(|stove| stove.household == row["household_code"] && stove.is_there_on(day));
    assert_eq!(
        has_stove,
        round.kind == RoundKind::KitchenProject,
        "{row:?}"
    );
    if round.kind == RoundKind::KitchenBaseline {
        assert_eq!(row["device"], "three_stone_fire");
    }
}

fn assert_weighing_row(round: &Round, row: &Row, known: &[Known]) {
    let day = date(row, "weighed_on");
    assert_inside(round, day);
    let owner = known
        .iter()
        .any(|stove| stove.household == row["household_code"] && stove.is_there_on(day));
    assert!(owner, "{row:?}");
    assert!(number(row, "char_wet_kg") > Decimal::ZERO, "{row:?}");
    assert_eq!(
        row["fuel_burnt_wet_kg"].is_empty(),
        row["fuel_moisture_wb"].is_empty()
    );
    assert!(["coconut_husk", "pigeon_pea_stalk"].contains(&row["feedstock"].as_str()));
    let fates = ["soil", "burnt", "sold_as_fuel", "discarded", "unknown"];
    assert!(fates.contains(&row["fate"].as_str()), "{row:?}");
}

#[test]
fn the_evidence_keeps_its_rules() {
    assert_rules(&committed());
}

#[test]
fn each_age_band_has_answers_enough_and_use_falls_with_age() {
    let seed = committed();
    let known = deployments(&seed);
    let mut answers: BTreeMap<u32, (u32, u32)> = BTreeMap::new();
    for row in rows(&seed, "usage-2025.csv") {
        let stove = known
            .iter()
            .find(|stove| stove.serial == row["serial"])
            .expect("deployed");
        let age = date(&row, "surveyed_on")
            .years_since(stove.installed_on)
            .expect("not before");
        let band = answers.entry(age).or_default();
        band.0 += 1;
        band.1 += u32::from(row["outcome"] == "in_use");
    }
    // 0.93, 0.84 and 0.76 of 42, to the next whole answer.
    assert_eq!(
        answers,
        BTreeMap::from([(0, (42, 39)), (1, (42, 35)), (2, (42, 32))])
    );
    let serials: BTreeSet<String> = rows(&seed, "usage-2025.csv")
        .into_iter()
        .map(|row| row["serial"].clone())
        .collect();
    assert_eq!(serials.len(), 126, "each stove is visited once");
}

/// Dry kg per household-day of each household, as drawn from the rows.
fn daily_means(seed: &Seed, name: &str) -> BTreeMap<String, Decimal> {
    let mut kitchens: BTreeMap<String, (Decimal, BTreeSet<NaiveDate>)> = BTreeMap::new();
    for row in rows(seed, name) {
        let kitchen = kitchens.entry(row["household_code"].clone()).or_default();
        kitchen.0 += dry_burnt(&row);
        kitchen.1.insert(date(&row, "measured_on"));
    }
    kitchens
        .into_iter()
        .map(|(household, (burnt, days))| {
            assert!(days.len() >= 3, "{household}");
            let (first, last) = (days.first().expect("a day"), days.last().expect("a day"));
            let span = usize::try_from((*last - *first).num_days()).expect("forwards");
            assert_eq!(
                span + 1,
                days.len(),
                "{household}: the days follow each other"
            );
            (household, burnt / Decimal::from(days.len()))
        })
        .collect()
}

fn mean_and_variation(values: &BTreeMap<String, Decimal>) -> (Decimal, Decimal) {
    let count = Decimal::from(values.len());
    let mean = values.values().sum::<Decimal>() / count;
    let squares: Decimal = values
        .values()
        .map(|value| (value - mean) * (value - mean))
        .sum();
    (mean, squares / (count - Decimal::ONE) / (mean * mean))
}

#[test]
fn kitchen_tests_are_of_two_independent_groups_of_plausible_size() {
    let seed = committed();
    let baseline = daily_means(&seed, "kitchen-baseline.csv");
    let project = daily_means(&seed, "kitchen-project.csv");
    assert_eq!((baseline.len(), project.len()), (40, 40));
    assert!(
        baseline
            .keys()
            .all(|household| !project.contains_key(household))
    );
    let within = |value: Decimal, low: &str, high: &str| {
        assert!(value >= decimal(low) && value <= decimal(high), "{value}");
    };
    let (mean, variation) = mean_and_variation(&baseline);
    within(mean, "5.3", "5.7");
    within(variation, "0.1024", "0.1444"); // 0.32 to 0.38, squared
    let (mean, variation) = mean_and_variation(&project);
    within(mean, "3.4", "3.8");
    within(variation, "0.0900", "0.1600"); // 0.30 to 0.40, squared
}

#[test]
fn the_open_fire_still_burns_beside_the_gasifier() {
    let seed = committed();
    let mut households: BTreeMap<String, BTreeSet<String>> = BTreeMap::new();
    let mut burns: BTreeSet<(String, String)> = BTreeSet::new();
    let mut keys = BTreeSet::new();
    for row in rows(&seed, "kitchen-project.csv") {
        let burn = (row["device"].clone(), row["fuel"].clone());
        let household = row["household_code"].clone();
        let key = (household.clone(), row["measured_on"].clone(), burn.clone());
        assert!(
            keys.insert(key),
            "one row per household, day, device and fuel"
        );
        households
            .entry(household)
            .or_default()
            .insert(burn.0.clone());
        burns.insert(burn);
    }
    let pair = |device: &str, fuel: &str| (device.to_owned(), fuel.to_owned());
    let expected = [
        pair("gasifier", "coconut_husk"),
        pair("gasifier", "pigeon_pea_stalk"),
        pair("three_stone_fire", "wood"),
    ];
    assert_eq!(burns, BTreeSet::from(expected));
    let both = households
        .values()
        .filter(|devices| devices.len() == 2)
        .count();
    assert!((20..40).contains(&both), "{both}");
}

#[test]
fn char_yields_are_plausible_but_for_a_handful() {
    let seed = committed();
    let weighings = rows(&seed, "char-weighings-2025.csv");
    assert_eq!(weighings.len(), 600);
    assert_eq!(rows(&seed, "char-weighings-2024.csv").len(), 360);
    let bound = decimal("0.30");
    let yields: Vec<Decimal> = weighings
        .iter()
        .filter(|row| !row["fuel_burnt_wet_kg"].is_empty())
        .map(|row| {
            let char_dry = dry(row, number(row, "char_wet_kg"), "char_moisture_wb");
            char_dry / dry(row, number(row, "fuel_burnt_wet_kg"), "fuel_moisture_wb")
        })
        .collect();
    let over = yields.iter().filter(|ratio| **ratio > bound).count();
    assert!((3..=12).contains(&over), "{over}");
    let usual: Vec<&Decimal> = yields.iter().filter(|ratio| **ratio <= bound).collect();
    let mean = usual.iter().copied().sum::<Decimal>() / Decimal::from(usual.len());
    assert!(mean > decimal("0.19") && mean < decimal("0.20"), "{mean}");
    let between = |ratio: &&&Decimal| (decimal("0.17")..=decimal("0.22")).contains(&***ratio);
    assert!(usual.iter().filter(between).count() * 10 > usual.len() * 8);
    let soil = weighings.iter().filter(|row| row["fate"] == "soil").count();
    assert!(soil * 10 > weighings.len() * 7, "{soil}");
    let fates: BTreeSet<&String> = weighings.iter().map(|row| &row["fate"]).collect();
    assert_eq!(fates.len(), 5);
}
