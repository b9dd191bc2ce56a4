//! Rows of baseline surveys, tests, char samples and moisture readings against the register,
//! their round, and what is recorded already.

use super::{Case, case, refuses_each, rows};
use crate::support::TestProgramme;
use serde_json::{Value, json};

const SURVEY: &str = "baseline_survey";
const COOKING: &str = "cooking_test";
const STOVE: &str = "stove_test";
const LAB: &str = "char_lab";
const READING: &str = "moisture_reading";

/// Kind of round, kind of rows, and a row that is taken.
const SOUND: [(&str, &str, &str); 5] = [
    (
        "baseline_survey",
        SURVEY,
        "HH-1,2025-05-10,three_stone_fire,wood,4.50,0.14,2,1,1,0",
    ),
    (
        "cooking_test",
        COOKING,
        "CT-1,COOK-1,2025-05-10,gasifier,beans,wood,1.20,0.10,0.2,3,",
    ),
    (
        "stove_test",
        STOVE,
        "ST-1,LAB,2025-05-10,gasifier,1,wood,1.2,0.1,18.5,0.2,28,5,3.5,25,98,60,,",
    ),
    ("char_lab", LAB, "CS-1,LAB,2025-05-10,wood,0.800,0.01,0.02,"),
    ("moisture", READING, "HH-1,2025-05-10,wood,0.140"),
];

/// The small register with two rounds of each kind through May 2025, `KIND-1` and `KIND-2`,
/// named after the kind of their rows.
async fn programme() -> TestProgramme {
    let programme = TestProgramme::start().await;
    programme.small_register().await;
    for (round_kind, kind, _) in SOUND {
        for number in [1, 2] {
            let round = json!({"code": format!("{kind}-{number}"), "kind": round_kind,
                               "starts_on": "2025-05-01", "ends_on": "2025-06-01",
                               "design": "Simple random sample."});
            programme.manager.post("/rounds", &round).await.ok(201);
        }
    }
    programme
}

async fn send(programme: &TestProgramme, kind: &str, round: &str, lines: &[&str]) -> Value {
    let answer = programme
        .manager
        .upload(kind, Some(round), rows(kind, lines))
        .await;
    answer.ok(201)
}

#[tokio::test]
async fn rows_of_each_kind_are_taken_into_their_rounds_and_read_back_as_sent() {
    let programme = programme().await;
    for (_, kind, row) in SOUND {
        let batch = send(&programme, kind, &format!("{kind}-1"), &[row]).await;
        assert_eq!(batch["kind"], kind);
        let id = batch["id"].as_str().expect("an id");
        let page = programme
            .manager
            .get(&format!("/batches/{id}/rows"))
            .await
            .ok(200);
        let list = page["items"].as_array().or(page.as_array());
        let cells = &list.expect("rows")[0]["cells"];
        let names = rows(kind, &[]);
        let names = String::from_utf8(names).expect("text");
        for (name, text) in names.trim_end().split(',').zip(row.split(',')) {
            let sent = match text {
                "" => Value::Null,
                text => Value::String(text.to_owned()),
            };
            assert_eq!(cells[name], sent, "{kind} {name}");
        }
    }
    let rounds = programme.manager.get("/rounds").await.ok(200);
    let filled = rounds.as_array().expect("rounds").iter();
    let filled = filled.filter(|round| round["rows"] == 1).count();
    assert_eq!(filled, SOUND.len());
    crate::verifier::assert_sound_export(&programme).await;
}

#[tokio::test]
async fn a_round_takes_rows_of_its_own_kind_alone() {
    let programme = programme().await;
    for (_, kind, row) in SOUND {
        for (_, other, _) in SOUND.iter().filter(|(_, other, _)| *other != kind) {
            let round = format!("{other}-1");
            let answer = programme
                .manager
                .upload(kind, Some(&round), rows(kind, &[row]))
                .await;
            assert_eq!(answer.status, 422, "{kind} into {round}");
            assert!(answer.text().contains("is for"), "{}", answer.text());
        }
        for round in [None, Some("usage"), Some("baseline")] {
            let answer = programme
                .manager
                .upload(kind, round, rows(kind, &[row]))
                .await;
            assert_eq!(answer.status, 422, "{kind} into {round:?}");
        }
    }
}

fn in_first(
    name: &'static str,
    kind: &'static str,
    round: &'static str,
    lines: &[&str],
    faults: &'static [&'static str],
) -> Case {
    Case {
        round: Some(round),
        ..case(name, kind, rows(kind, lines), faults)
    }
}

#[tokio::test]
async fn survey_answers_and_readings_that_repeat_or_fit_no_household_are_refused() {
    let programme = programme().await;
    for (_, kind, row) in SOUND {
        send(&programme, kind, &format!("{kind}-1"), &[row]).await;
    }
    let survey =
        |name, lines: &[&str], faults| in_first(name, SURVEY, "baseline_survey-2", lines, faults);
    let reading =
        |name, lines: &[&str], faults| in_first(name, READING, "moisture_reading-2", lines, faults);
    let cases = vec![
        survey(
            "an unknown household outside the round",
            &["HH-77,2025-06-01,three_stone_fire,wood,4,0.14,2,1,1,0"],
            &[
                "2 household_code unknown_household",
                "2 surveyed_on outside_round",
            ],
        ),
        survey(
            "a household, day, device and fuel twice",
            &[
                "HH-2,2025-05-11,three_stone_fire,wood,4,0.14,2,1,1,0",
                "HH-2,2025-05-11,three_stone_fire,wood,5,0.14,2,1,1,0",
            ],
            &["3 household_code duplicate_row"],
        ),
        survey(
            "recorded in another round",
            &["HH-1,2025-05-10,three_stone_fire,wood,9,0.14,2,1,1,0"],
            &["2 household_code duplicate_row"],
        ),
        survey(
            "other people on one day",
            &[
                "HH-2,2025-05-11,three_stone_fire,wood,4,0.14,2,1,1,0",
                "HH-2,2025-05-11,three_stone_fire,dung,1,0.14,3,1,1,0",
            ],
            &["3 household_code people_differ"],
        ),
        reading(
            "an unknown household outside the round",
            &["HH-77,2025-04-30,wood,0.14"],
            &[
                "2 household_code unknown_household",
                "2 measured_on outside_round",
            ],
        ),
        reading(
            "a household, day and fuel twice",
            &["HH-2,2025-05-11,wood,0.14", "HH-2,2025-05-11,wood,0.15"],
            &["3 household_code duplicate_row"],
        ),
        reading(
            "recorded in another round",
            &["HH-1,2025-05-10,wood,0.2"],
            &["2 household_code duplicate_row"],
        ),
    ];
    refuses_each(&programme, cases).await;
    // Another fuel, another day: neither is a repetition.
    let more = ["HH-1,2025-05-10,dung,0.2", "HH-1,2025-05-11,wood,0.2"];
    send(&programme, READING, "moisture_reading-2", &more).await;
}

#[tokio::test]
async fn codes_of_tests_and_samples_are_given_once_in_a_programme() {
    let programme = programme().await;
    for (_, kind, row) in SOUND {
        send(&programme, kind, &format!("{kind}-1"), &[row]).await;
    }
    let cooking = "CT-2,COOK-1,2025-05-10,gasifier,beans,wood,1.2,0.1,0.2,3,60";
    let stove = "ST-2,LAB,2025-05-10,gasifier,0,wood,1.2,0.1,18.5,0.2,28,5,3.5,25,98,60,18,600";
    let lab = "CS-2,LAB,2025-05-10,wood,0.8,0.01,0.02,0.1";
    let cases = vec![
        in_first(
            "a cooking test twice, one recorded in another round, one outside the round",
            COOKING,
            "cooking_test-2",
            &[
                cooking,
                cooking,
                &cooking.replace("CT-2", "CT-1"),
                &cooking
                    .replace("CT-2", "CT-3")
                    .replace("2025-05-10", "2025-06-01"),
            ],
            &[
                "3 test_code duplicate_row",
                "4 test_code duplicate_row",
                "5 tested_on outside_round",
            ],
        ),
        in_first(
            "a stove test twice, one recorded in another round, one outside the round",
            STOVE,
            "stove_test-2",
            &[
                stove,
                stove,
                &stove.replace("ST-2", "ST-1"),
                &stove
                    .replace("ST-2", "ST-3")
                    .replace("2025-05-10", "2025-04-30"),
            ],
            &[
                "3 test_code duplicate_row",
                "4 test_code duplicate_row",
                "5 tested_on outside_round",
            ],
        ),
        in_first(
            "a sample twice, one recorded in another round, one outside the round",
            LAB,
            "char_lab-2",
            &[
                lab,
                lab,
                &lab.replace("CS-2", "CS-1"),
                &lab.replace("CS-2", "CS-3")
                    .replace("2025-05-10", "2025-06-01"),
            ],
            &[
                "3 sample_code duplicate_row",
                "4 sample_code duplicate_row",
                "5 sampled_on outside_round",
            ],
        ),
        in_first(
            "cells that contradict each other",
            STOVE,
            "stove_test-2",
            &[&stove
                .replace(",5,3.5,", ",5,5.5,")
                .replace(",25,98,", ",98,25,")],
            &["2 water_end_kg water_grew", "2 water_end_c water_cooled"],
        ),
    ];
    refuses_each(&programme, cases).await;
    // A cooking test may bear the code of a stove test.
    let same = cooking.replace("CT-2", "ST-1");
    send(&programme, COOKING, "cooking_test-2", &[&same]).await;
}
