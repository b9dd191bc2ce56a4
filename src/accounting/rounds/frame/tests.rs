//! Which units of a small register each plan may draw from.

use super::*;
use crate::accounting::evidence::People;

fn day(text: &str) -> NaiveDate {
    text.parse().unwrap()
}

fn plan(unit: &str, more: &str) -> RoundPlan {
    serde_json::from_str(&format!(
        r#"{{"purpose": "p", "unit": "{unit}", "frame_on": "2025-06-01", "confidence": "0.90",
            "precision": "0.10", "precision_is": "relative"{more}}}"#
    ))
    .unwrap()
}

/// H-1 has a stove and a second one, H-2 had one that ended by its own row on the day of the
/// frame, H-3 never had any, H-4 gets one later.
fn register() -> Register {
    let household = |code: &str, site: &str| Household {
        household_code: code.into(),
        site_code: site.into(),
        people: People::default(),
    };
    let deployment = |serial: &str, household: &str, on: &str, second| Deployment {
        serial: serial.into(),
        model_code: "G1".into(),
        model_version: 2,
        household_code: household.into(),
        installed_on: day(on),
        ended_on: None,
        end_reason: None,
        second_stove: second,
    };
    let weighing = |household: &str, on: &str, feedstock: &str| CharWeighing {
        household_code: household.into(),
        weighed_on: day(on),
        feedstock: feedstock.into(),
        fuel_burnt_wet_kg: None,
        fuel_moisture_wb: None,
        char_wet_kg: "1".parse().unwrap(),
        char_moisture_wb: "0".parse().unwrap(),
        fate: "soil".into(),
    };
    Register {
        households: vec![
            household("H-1", "NORTH"),
            household("H-2", "NORTH"),
            household("H-3", "HILL"),
            household("H-4", "HILL"),
        ],
        deployments: vec![
            deployment("S-1", "H-1", "2024-05-31", false),
            deployment("S-9", "H-1", "2024-05-31", true),
            deployment("S-2", "H-2", "2024-01-01", false),
            deployment("S-4", "H-4", "2025-06-02", false),
        ],
        ends: vec![DeploymentEnd {
            serial: "S-2".into(),
            installed_on: day("2024-01-01"),
            ended_on: day("2025-06-01"),
            end_reason: "moved".into(),
        }],
        weighings: vec![
            (20, 2, weighing("H-1", "2025-05-31", "husk")),
            (20, 3, weighing("H-2", "2025-06-01", "husk")),
            (7, 4, weighing("H-3", "2025-01-01", "wood")),
            (7, 5, weighing("H-3", "2024-12-31", "wood")),
        ],
    }
}

fn lines(unit: &str, more: &str) -> Vec<String> {
    let plan = plan(unit, more);
    frame(&plan, register().candidates(&plan))
        .iter()
        .map(|unit| unit.cells().join(" "))
        .collect()
}

#[test]
fn a_stove_is_drawn_from_where_it_is_in_service_and_no_second_one() {
    let simple = r#", "design": "simple_random""#;
    assert_eq!(lines("stove", simple), ["S-1 all H-1 S-1 NORTH G1@2 1  "]);
    assert_eq!(
        lines("household", simple),
        ["H-1 all H-1 S-1 NORTH G1@2 1  "]
    );
}

#[test]
fn a_baseline_asks_households_that_have_no_stove_yet() {
    let by_site = r#", "design": "stratified", "strata_by": ["site"]"#;
    assert_eq!(
        lines("registered_household", by_site),
        [
            "H-1 NORTH H-1 S-1 NORTH G1@2 1  ",
            "H-2 NORTH H-2  NORTH    ",
            "H-3 HILL H-3  HILL    ",
            "H-4 HILL H-4  HILL    ",
        ]
    );
    let without = lines("household_without_stove", by_site);
    assert_eq!(without.len(), 3);
    assert!(without.iter().all(|line| !line.starts_with("H-1")));
}

#[test]
fn samples_of_char_are_drawn_from_the_weighings_of_the_days() {
    let by_feedstock = r#", "design": "stratified", "strata_by": ["site", "feedstock"],
        "frame_from": "2025-01-01""#;
    assert_eq!(
        lines("char_weighing", by_feedstock),
        [
            "W20-2 NORTH, husk H-1  NORTH   2025-05-31 husk",
            "W7-4 HILL, wood H-3  HILL   2025-01-01 wood",
        ]
    );
}

/// Columns that are empty in every frame of stoves are no part of its hash.
#[test]
fn a_frame_of_stoves_is_hashed_by_its_first_seven_columns() {
    let plan = plan("stove", r#", "design": "simple_random""#);
    let units = frame(&plan, register().candidates(&plan));
    let line = b"S-1\tall\tH-1\tS-1\tNORTH\tG1@2\t1\n";
    assert_eq!(rows_hash(&units), hex::encode(Sha256::digest(line)));
}
