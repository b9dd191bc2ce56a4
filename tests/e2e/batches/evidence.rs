//! Rows of surveys, kitchen tests and weighings against the register and their round.

use super::{Case, case, refuses_each, rows};
use crate::support::TestProgramme;

fn in_round(
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

/// Three days of one kitchen, by day of May 2025.
fn kitchen_days(household: &str, days: [u32; 3]) -> Vec<String> {
    days.iter()
        .map(|day| format!("{household},2025-05-{day:02},gasifier,wood,5,0,3,0.1,2,1,1,0"))
        .collect()
}

#[tokio::test]
async fn usage_answers_that_fit_no_stove_or_no_round_are_refused() {
    let programme = TestProgramme::start().await;
    programme.small_register().await;
    let first = rows("usage_survey", &["HH-1,S-1,2025-09-10,in_use,7,0.5"]);
    programme
        .manager
        .upload("usage_survey", Some("usage"), first)
        .await
        .ok(201);
    let usage =
        |name, lines: &[&str], faults| in_round(name, "usage_survey", "usage", lines, faults);
    let cases = vec![
        usage(
            "an unknown household",
            &["HH-77,S-3,2025-09-10,in_use,7,0.5"],
            &[
                "2 household_code unknown_household",
                "2 serial unknown_deployment",
            ],
        ),
        usage(
            "a stove of another household, one never placed",
            &[
                "HH-1,S-3,2025-09-10,in_use,7,0.5",
                "HH-1,S-77,2025-09-10,in_use,7,0.5",
            ],
            &["2 serial unknown_deployment", "3 serial unknown_deployment"],
        ),
        usage(
            "the day before and the day after the round",
            &[
                "HH-3,S-3,2025-08-31,in_use,7,0.5",
                "HH-2,S-2,2025-10-01,in_use,7,0.5",
            ],
            &["2 surveyed_on outside_round", "3 surveyed_on outside_round"],
        ),
        usage(
            "a stove twice in the file",
            &[
                "HH-3,S-3,2025-09-10,in_use,7,0.5",
                "HH-3,S-3,2025-09-11,not_found,,",
            ],
            &["3 serial duplicate_row"],
        ),
        usage(
            "a stove that has its answer",
            &["HH-1,S-1,2025-09-11,not_in_use,0,0"],
            &["2 serial duplicate_row"],
        ),
    ];
    refuses_each(&programme, cases).await;
}

#[tokio::test]
async fn kitchen_tests_that_are_too_short_or_contradict_themselves_are_refused() {
    let programme = TestProgramme::start().await;
    programme.small_register().await;
    let kitchen =
        |name, lines: &[&str], faults| in_round(name, "kitchen_test", "project", lines, faults);
    let sound = kitchen_days("HH-1", [10, 11, 12]);
    let [first, second, third] = [&sound[0], &sound[1], &sound[2]].map(String::as_str);
    let other_people = third.replace("2,1,1,0", "3,1,1,0");
    let edge = kitchen_days("HH-1", [1, 30, 31]);
    let edge: Vec<&str> = edge.iter().map(String::as_str).collect();
    let outside = third.replace("2025-05-12", "2025-06-01");
    let cases = vec![
        kitchen(
            "two days",
            &[first, second],
            &["2 measured_on too_few_days"],
        ),
        kitchen(
            "three rows of two days",
            &[first, second, &second.replace("wood", "coconut_husk")],
            &["2 measured_on too_few_days"],
        ),
        kitchen(
            "a row twice",
            &[first, second, third, third],
            &["5 household_code duplicate_row"],
        ),
        kitchen(
            "other people on one day",
            &[
                first,
                second,
                third,
                &other_people.replace("wood", "coconut_husk"),
            ],
            &["5 household_code people_differ"],
        ),
        kitchen(
            "a day outside the round",
            &[first, second, third, &outside],
            &["5 measured_on outside_round"],
        ),
        kitchen(
            "an unknown household",
            &[first, second, third, &third.replace("HH-1", "HH-77")],
            &[
                "5 household_code unknown_household",
                "5 measured_on too_few_days",
            ],
        ),
    ];
    refuses_each(&programme, cases).await;
    let edge = rows("kitchen_test", &edge);
    programme
        .manager
        .upload("kitchen_test", Some("project"), edge)
        .await
        .ok(201);
    let again = kitchen(
        "a kitchen that has its test",
        &[first, second, third],
        &[
            "2 household_code duplicate_row",
            "3 household_code duplicate_row",
            "4 household_code duplicate_row",
        ],
    );
    refuses_each(&programme, vec![again]).await;
}

#[tokio::test]
async fn a_wrong_cell_of_a_kitchen_day_is_not_also_told_as_a_missing_day() {
    let programme = TestProgramme::start().await;
    programme.small_register().await;
    let days = kitchen_days("HH-1", [10, 11, 12]);
    let wrong = days[1].replace("0.1", "14");
    let cases = vec![in_round(
        "one wrong moisture",
        "kitchen_test",
        "project",
        &[&days[0], &wrong, &days[2]],
        &["3 moisture_wb moisture_basis"],
    )];
    refuses_each(&programme, cases).await;
}

#[tokio::test]
async fn char_weighings_outside_their_round_or_repeated_are_refused() {
    let programme = TestProgramme::start().await;
    programme.small_register().await;
    let known = "HH-1,2025-03-01,coconut_husk,30,0.14,6,0.1,soil";
    let first = rows("char_weighing", &[known]);
    programme
        .manager
        .upload("char_weighing", Some("char"), first)
        .await
        .ok(201);
    let weighing =
        |name, lines: &[&str], faults| in_round(name, "char_weighing", "char", lines, faults);
    let cases = vec![
        weighing(
            "an unknown household",
            &["HH-77,2025-03-01,coconut_husk,30,0.14,6,0.1,soil"],
            &["2 household_code unknown_household"],
        ),
        weighing(
            "outside the round",
            &["HH-1,2024-12-31,coconut_husk,30,0.14,6,0.1,soil"],
            &["2 weighed_on outside_round"],
        ),
        weighing(
            "twice in the file",
            &[
                "HH-2,2025-03-01,coconut_husk,30,0.14,6,0.1,soil",
                "HH-2,2025-03-01,coconut_husk,30,0.14,6,0.1,soil",
            ],
            &["3 household_code duplicate_row"],
        ),
        weighing(
            "recorded before",
            &["HH-2,2025-03-01,coconut_husk,30,0.14,6,0.1,soil", known],
            &["3 household_code duplicate_row"],
        ),
        weighing(
            "fuel without its moisture, char too wet",
            &["HH-2,2025-03-01,coconut_husk,30,,6,0.9,soil"],
            &[
                "2 char_moisture_wb moisture_basis",
                "2 fuel_moisture_wb fuel_incomplete",
            ],
        ),
    ];
    refuses_each(&programme, cases).await;
}
