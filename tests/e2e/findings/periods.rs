//! What findings hold open, and what a figure is after a restatement.

use super::{CLASSES, batch_of, finding, ids, statement_id};
use crate::batches::rows;
use crate::support::seeded::seeded_programme;
use serde_json::{Value, json};

#[tokio::test]
async fn a_period_is_closed_only_after_its_corrective_action_requests() {
    let programme = seeded_programme().await;
    let manager = &programme.manager;
    let verifier = programme.client_of("verifier").await;
    let figure = format!("{}/stoves_in_service_days", statement_id());
    let row = format!("{}/2", batch_of("deployments.csv"));
    let next = json!({"code": "2026", "starts_on": "2026-01-01", "ends_on": "2027-01-01"});
    manager.post("/periods", &next).await.ok(201);
    for (class, kind, key) in [
        (CLASSES[0], "figure", figure.as_str()),
        (CLASSES[0], "row", row.as_str()),
        (CLASSES[1], "period", "2025"),
        (CLASSES[2], "period", "2025"),
    ] {
        verifier
            .post("/findings", &finding(class, kind, key))
            .await
            .ok(201);
    }
    // The row is of a batch that the statement of 2025 reads; nothing reads it for 2026.
    let of_2025 = verifier.get("/periods/2025/findings").await.ok(200);
    assert_eq!(ids(&of_2025["blocking"]), ["F-001", "F-002"]);
    assert!(ids(&of_2025["to_check"]).is_empty());
    let of_2026 = verifier.get("/periods/2026/findings").await.ok(200);
    assert!(ids(&of_2026["blocking"]).is_empty());
    assert_eq!(ids(&of_2026["to_check"]), ["F-004"]);
    let close = async || manager.post("/periods/2025/close", &json!({})).await;
    let refused = close().await.problem(409, "open-findings");
    let detail = refused["detail"].as_str().expect("words").to_owned();
    assert!(
        detail.contains("F-001") && detail.contains("F-002"),
        "{detail}"
    );
    assert!(
        !detail.contains("F-003") && !detail.contains("F-004"),
        "{detail}"
    );
    let settle = json!({"text": "Settled."});
    verifier
        .post("/findings/F-001/close", &settle)
        .await
        .ok(200);
    manager
        .post("/findings/F-002/answer", &settle)
        .await
        .ok(200);
    let refused = close().await.problem(409, "open-findings");
    assert!(!refused["detail"].as_str().expect("words").contains("F-001"));
    verifier
        .post("/findings/F-002/close", &settle)
        .await
        .ok(200);
    close().await.ok(200);
    close().await.problem(409, "period-closed");
    let elsewhere = json!({"class": CLASSES[0], "text": "x", "period": "2026",
                           "subject": {"kind": "household", "key": "H-0001"}});
    verifier.post("/findings", &elsewhere).await.ok(201);
    let refused = manager.post("/periods/2026/close", &json!({})).await;
    assert!(
        refused.problem(409, "open-findings")["detail"]
            .to_string()
            .contains("F-005")
    );
    crate::verifier::assert_sound_export(&programme).await;
}

#[tokio::test]
async fn a_finding_on_a_figure_tells_what_the_figure_is_after_a_restatement() {
    let programme = seeded_programme().await;
    let manager = &programme.manager;
    let verifier = programme.client_of("verifier").await;
    let key = format!("{}/stoves_in_service_days", statement_id());
    let opened = verifier
        .post("/findings", &finding(CLASSES[1], "figure", &key))
        .await
        .ok(201);
    assert_eq!(opened["figure"]["latest_statement"], Value::Null);
    manager
        .post("/periods/2025/close", &json!({}))
        .await
        .ok(200);
    let household = rows("households", &["H-LATE,NORTH,1,1,1,0"]);
    manager.upload("households", None, household).await.ok(201);
    let deployment = rows("deployments", &["HB1-LATE,HB,1,H-LATE,2025-01-01,,,no"]);
    manager
        .upload("deployments", None, deployment)
        .await
        .ok(201);
    let request =
        json!({"period": "2025", "methodology": "kitchen-test-households@1", "restate": true});
    let restated = manager.post("/statements", &request).await.ok(201);
    let now = verifier.get("/findings/F-001").await.ok(200)["figure"].clone();
    assert_eq!(now["statement"], statement_id());
    assert_eq!(now["latest_statement"], restated["id"]);
    let number = |value: &Value| {
        value
            .as_str()
            .expect("a number")
            .parse::<f64>()
            .expect("a number")
    };
    // The late stove was in service on each day of 2025.
    assert_eq!(number(&now["latest_value"]) - number(&now["value"]), 365.0);
}
