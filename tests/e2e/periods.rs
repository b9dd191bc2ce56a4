//! Closing a period fixes what it is stated from; later evidence enters as a restatement.

use crate::batches::rows;
use crate::support::seeded::seeded_programme;
use crate::support::{TestProgramme, seeded};
use serde_json::{Value, json};

async fn make(programme: &TestProgramme, restate: Option<bool>) -> Value {
    let mut request = json!({"period": "2025", "methodology": "kitchen-test-households@1"});
    if let Some(restate) = restate {
        request["restate"] = json!(restate);
    }
    programme
        .manager
        .post("/statements", &request)
        .await
        .ok(201)
}

async fn statement(programme: &TestProgramme, view: &Value) -> Value {
    let id = view["id"].as_str().expect("an id");
    programme
        .manager
        .get(&format!("/statements/{id}"))
        .await
        .ok(200)
}

fn figure(statement: &Value, id: &str) -> String {
    let figures = statement["figures"].as_array().expect("figures");
    let found = figures.iter().find(|figure| figure["id"] == id);
    found.expect(id)["value"].to_string()
}

#[tokio::test]
async fn evidence_after_the_closing_enters_only_a_restatement() {
    let programme = seeded_programme().await;
    let manager = &programme.manager;
    let closed = manager
        .post("/periods/2025/close", &json!({}))
        .await
        .ok(200);
    let position = closed["closed_by"].as_u64().expect("a sequence");
    let at_closing = make(&programme, None).await;
    assert_eq!(at_closing["position"], position);
    assert_eq!(at_closing["restatement"], false);

    let household = "H-LATE,NORTH,1,1,1,0";
    manager
        .upload("households", None, rows("households", &[household]))
        .await
        .ok(201);
    let deployment = "HB1-LATE,HB,1,H-LATE,2025-01-01,,,no";
    manager
        .upload("deployments", None, rows("deployments", &[deployment]))
        .await
        .ok(201);

    // The same request still reads the evidence of the closing: it is the same statement.
    assert_eq!(make(&programme, None).await, at_closing);
    assert_eq!(make(&programme, Some(false)).await, at_closing);
    let restated = make(&programme, Some(true)).await;
    assert_eq!(restated["restatement"], true);
    assert!(restated["position"].as_u64() > Some(position));
    assert_ne!(restated["id"], at_closing["id"]);

    let (old, new) = (
        statement(&programme, &at_closing).await,
        statement(&programme, &restated).await,
    );
    let days = |statement: &Value| figure(statement, "stoves_in_service_days");
    let seed = serde_json::from_slice(&seeded().statement_bytes).expect("JSON");
    assert_eq!(days(&old), days(&seed));
    assert_ne!(days(&new), days(&old));

    let listed = manager.get("/statements").await.ok(200);
    assert_eq!(listed, json!([restated, at_closing, seeded().statement]));
    crate::verifier::assert_sound_export(&programme).await;
}

#[tokio::test]
async fn a_period_shares_no_day_with_another_and_closes_once() {
    let programme = seeded_programme().await;
    let manager = &programme.manager;
    for (code, starts_on, ends_on, status, kind) in [
        ("2025", "2027-01-01", "2028-01-01", 409, "code-taken"),
        (
            "late",
            "2025-12-31",
            "2026-06-01",
            409,
            "overlapping-period",
        ),
        ("empty", "2026-01-01", "2026-01-01", 422, "invalid-fields"),
        ("back", "2026-02-01", "2026-01-01", 422, "invalid-fields"),
        ("a b", "2026-01-01", "2027-01-01", 422, "invalid-fields"),
    ] {
        let period = json!({"code": code, "starts_on": starts_on, "ends_on": ends_on});
        manager
            .post("/periods", &period)
            .await
            .problem(status, kind);
    }
    let next = json!({"code": "2026", "starts_on": "2026-01-01", "ends_on": "2027-01-01"});
    manager.post("/periods", &next).await.ok(201);
    manager
        .post("/periods/2031/close", &json!({}))
        .await
        .problem(404, "not-found");
    manager
        .post("/periods/2026/close", &json!({}))
        .await
        .ok(200);
    manager
        .post("/periods/2026/close", &json!({}))
        .await
        .problem(409, "period-closed");
    let listed = manager.get("/periods").await.ok(200);
    let closed: Vec<bool> = listed
        .as_array()
        .expect("periods")
        .iter()
        .map(|period| period["closed_by"].is_u64())
        .collect();
    assert_eq!(closed, [false, true]);
}

#[tokio::test]
async fn a_statement_that_cannot_be_made_says_what_is_missing() {
    let programme = TestProgramme::start().await;
    programme.small_register().await;
    let manager = &programme.manager;
    let period = json!({"code": "2025", "starts_on": "2025-01-01", "ends_on": "2026-01-01"});
    manager.post("/periods", &period).await.ok(201);
    let before = crate::support::census(&programme.app.pool).await;
    let request = json!({"period": "2025", "methodology": "kitchen-test-households@1"});
    let refused = manager.post("/statements", &request).await;
    let problem = refused.problem(409, "statement-gaps");
    let gaps = problem["gaps"].as_array().expect("gaps");
    assert!(gaps.len() >= 2, "{problem:#}");
    for gap in gaps {
        assert!(gap["code"].as_str().is_some_and(|code| !code.is_empty()));
        assert!(
            gap["sentence"]
                .as_str()
                .is_some_and(|text| text.ends_with('.'))
        );
    }
    for (period, methodology) in [("2031", "kitchen-test-households@1"), ("2025", "none@1")] {
        let request = json!({"period": period, "methodology": methodology});
        manager
            .post("/statements", &request)
            .await
            .problem(404, "not-found");
    }
    assert_eq!(crate::support::census(&programme.app.pool).await, before);
}
