//! Rows of the register against the register: who exists, who stands where and when.

use super::{case, refuses_each, rows};
use crate::support::TestProgramme;
use serde_json::json;

#[tokio::test]
async fn unknown_names_and_repeated_rows_are_refused() {
    let programme = TestProgramme::start().await;
    programme.small_register().await;
    let cases = vec![
        case(
            "an unknown site",
            "households",
            rows("households", &["HH-9,SOUTH,1,1,1,0"]),
            &["2 site_code unknown_site"],
        ),
        case(
            "a household twice in the file",
            "households",
            rows("households", &["HH-9,NORTH,1,1,1,0", "HH-9,NORTH,1,1,2,0"]),
            &["3 household_code duplicate_row"],
        ),
        case(
            "a household of the register",
            "households",
            rows("households", &["HH-9,NORTH,1,1,1,0", "HH-1,NORTH,2,1,1,0"]),
            &["3 household_code duplicate_row"],
        ),
        case(
            "an unknown household",
            "deployments",
            rows("deployments", &["S-9,G1,1,HH-77,2025-01-01,,,no"]),
            &["2 household_code unknown_household"],
        ),
        case(
            "an unknown model, an unknown version of a known one",
            "deployments",
            rows(
                "deployments",
                &[
                    "S-8,G2,1,HH-4,2025-01-01,2025-02-01,moved,no",
                    "S-9,G1,2,HH-4,2025-02-01,,,no",
                ],
            ),
            &[
                "2 model_code unknown_stove_model",
                "3 model_code unknown_stove_model",
            ],
        ),
        case(
            "an end of no deployment",
            "deployment_ends",
            rows(
                "deployment_ends",
                &[
                    "S-1,2024-03-01,2025-01-01,moved",
                    "S-77,2024-02-29,2025-01-01,moved",
                ],
            ),
            &["2 serial unknown_deployment", "3 serial unknown_deployment"],
        ),
        case(
            "an end of what has ended",
            "deployment_ends",
            rows("deployment_ends", &["S-2,2024-06-01,2025-02-01,moved"]),
            &["2 serial already_ended"],
        ),
        case(
            "an end twice in the file",
            "deployment_ends",
            rows(
                "deployment_ends",
                &[
                    "S-1,2024-02-29,2025-01-01,moved",
                    "S-1,2024-02-29,2025-02-01,broken",
                ],
            ),
            &["3 serial duplicate_row"],
        ),
    ];
    refuses_each(&programme, cases).await;
}

#[tokio::test]
async fn one_unit_stands_in_one_household_at_a_time() {
    let programme = TestProgramme::start().await;
    programme.small_register().await;
    let cases = vec![
        case(
            "two households in the file",
            "deployments",
            rows(
                "deployments",
                &[
                    "S-9,G1,1,HH-4,2025-01-01,2025-02-02,moved,no",
                    "S-9,G1,1,HH-2,2025-02-01,,,yes",
                ],
            ),
            &["3 serial overlapping_deployment"],
        ),
        case(
            "a unit that stands elsewhere",
            "deployments",
            rows("deployments", &["S-1,G1,1,HH-4,2026-01-01,,,no"]),
            &["2 serial overlapping_deployment"],
        ),
        case(
            "the last day before it moved",
            "deployments",
            rows("deployments", &["S-2,G1,1,HH-4,2025-02-28,,,no"]),
            &["2 serial overlapping_deployment"],
        ),
        case(
            "a time that ends within an earlier one",
            "deployments",
            rows(
                "deployments",
                &["S-1,G1,1,HH-4,2024-01-01,2024-03-01,moved,no"],
            ),
            &["2 serial overlapping_deployment"],
        ),
    ];
    refuses_each(&programme, cases).await;
    // From the day on which it left, it may stand elsewhere.
    let moved = rows("deployments", &["S-2,G1,1,HH-4,2025-03-01,,,no"]);
    programme
        .manager
        .upload("deployments", None, moved)
        .await
        .ok(201);
    let history = programme.manager.get("/deployments/S-2").await.ok(200);
    let rows = history["deployments"].as_array().expect("rows");
    let places: Vec<&serde_json::Value> = rows
        .iter()
        .map(|row| &row["cells"]["household_code"])
        .collect();
    assert_eq!(places, [&json!("HH-2"), &json!("HH-4")]);
}

#[tokio::test]
async fn a_further_stove_of_a_household_must_be_marked() {
    let programme = TestProgramme::start().await;
    programme.small_register().await;
    let cases = vec![
        case(
            "beside one of the register",
            "deployments",
            rows("deployments", &["S-9,G1,1,HH-1,2025-01-01,,,no"]),
            &["2 household_code second_stove_not_marked"],
        ),
        case(
            "an empty cell is no mark",
            "deployments",
            rows("deployments", &["S-9,G1,1,HH-1,2025-01-01,,,"]),
            &["2 household_code second_stove_not_marked"],
        ),
        case(
            "beside one of the file",
            "deployments",
            rows(
                "deployments",
                &[
                    "S-8,G1,1,HH-4,2025-01-01,,,no",
                    "S-9,G1,1,HH-4,2025-06-01,,,no",
                ],
            ),
            &["3 household_code second_stove_not_marked"],
        ),
    ];
    refuses_each(&programme, cases).await;
    let marked = rows(
        "deployments",
        &[
            "S-7,G1,1,HH-1,2025-01-01,,,yes",
            "S-8,G1,1,HH-4,2025-01-01,,,no",
            "S-9,G1,1,HH-4,2025-06-01,,,yes",
        ],
    );
    programme
        .manager
        .upload("deployments", None, marked)
        .await
        .ok(201);
}

#[tokio::test]
async fn an_end_makes_room_for_the_next_stove() {
    let programme = TestProgramme::start().await;
    programme.small_register().await;
    let next = rows("deployments", &["S-9,G1,1,HH-1,2025-08-01,,,no"]);
    let refused = programme
        .manager
        .upload("deployments", None, next.clone())
        .await;
    refused.problem(422, "rejected-batch");
    let end = rows("deployment_ends", &["S-1,2024-02-29,2025-08-01,replaced"]);
    programme
        .manager
        .upload("deployment_ends", None, end)
        .await
        .ok(201);
    programme
        .manager
        .upload("deployments", None, next)
        .await
        .ok(201);
    let again = rows("deployment_ends", &["S-1,2024-02-29,2025-09-01,replaced"]);
    let refused = programme
        .manager
        .upload("deployment_ends", None, again)
        .await;
    let problem = refused.problem(422, "rejected-batch");
    assert_eq!(super::faults(&problem), ["2 serial already_ended"]);
}

#[tokio::test]
async fn single_rows_are_taken_as_json_and_refused_by_field() {
    let programme = TestProgramme::start().await;
    programme.small_register().await;
    let manager = &programme.manager;
    let household = json!({"household_code": "HH-5", "site_code": "NORTH", "children_0_14": 1,
                           "women_over_14": 1, "men_15_59": 0, "men_over_59": 0});
    assert_eq!(
        manager.post("/households", &household).await.ok(201)["rows"],
        1
    );
    let deployment = json!({"serial": "S-5", "model_code": "G1", "model_version": 1,
                            "household_code": "HH-5", "installed_on": "2025-01-01",
                            "ended_on": null, "end_reason": null, "second_stove": false});
    manager.post("/deployments", &deployment).await.ok(201);
    let end = json!({"serial": "S-5", "installed_on": "2025-01-01", "ended_on": "2025-02-01",
                     "end_reason": "broken"});
    manager.post("/deployment-ends", &end).await.ok(201);
    let before = crate::support::census(&programme.app.pool).await;
    for (path, body, field) in [
        (
            "/households",
            json!({"household_code": "HH-6", "site_code": "SOUTH", "children_0_14": 1,
            "women_over_14": 1, "men_15_59": 0, "men_over_59": 0}),
            "site_code",
        ),
        (
            "/households",
            json!({"household_code": "HH-6"}),
            "site_code",
        ),
        ("/households", json!({}), "row"),
        (
            "/households",
            json!({"household_code": ["HH-6"]}),
            "household_code",
        ),
        (
            "/households",
            json!({"household_code": "HH-6", "site_code": "NORTH", "children_0_14": 1.5,
            "women_over_14": 1, "men_15_59": 0, "men_over_59": 0}),
            "children_0_14",
        ),
        (
            "/deployments",
            json!({"serial": "S-1", "model_code": "G1", "model_version": 1,
            "household_code": "HH-5", "installed_on": "2025-06-01", "ended_on": null,
            "end_reason": null, "second_stove": false}),
            "serial",
        ),
        (
            "/deployment-ends",
            json!({"serial": "S-5", "installed_on": "2025-01-01",
            "ended_on": "2025-03-01", "end_reason": "broken"}),
            "serial",
        ),
    ] {
        let problem = manager
            .post(path, &body)
            .await
            .problem(422, "invalid-fields");
        assert_eq!(problem["errors"][0]["field"], field, "{problem:#}");
    }
    assert_eq!(crate::support::census(&programme.app.pool).await, before);
}
