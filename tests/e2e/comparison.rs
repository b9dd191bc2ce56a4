//! Statements held against each other over HTTP: what moved one into another, methods side by side.

use crate::batches::rows;
use crate::support::seeded;
use crate::support::seeded::seeded_programme;
use rust_decimal::Decimal;
use serde_json::{Value, json};

fn decimal(value: &Value) -> Decimal {
    value
        .as_str()
        .expect("a decimal")
        .parse()
        .expect("a decimal")
}

/// Every difference is the sum of its parts and its rounding, to the last digit.
fn sums_up(explanation: &Value) -> usize {
    let changes = ["figures", "claims"].map(|list| explanation[list].as_array().expect("a list"));
    let mut counted = 0;
    for change in changes.into_iter().flatten() {
        let parts = change["parts"].as_array().expect("parts");
        let sum: Decimal = parts.iter().map(|part| decimal(&part["moved"])).sum();
        let whole = decimal(&change["after"]) - decimal(&change["before"]);
        assert_eq!(whole, decimal(&change["difference"]), "{change}");
        assert_eq!(sum + decimal(&change["rounding"]), whole, "{change}");
        counted += 1;
    }
    counted
}

#[tokio::test]
async fn a_restatement_says_which_rows_moved_it() {
    let programme = seeded_programme().await;
    let manager = &programme.manager;
    manager
        .post("/periods/2025/close", &json!({}))
        .await
        .ok(200);
    let household = "H-LATE,NORTH,1,1,1,0";
    let file = rows("households", &[household]);
    manager.upload("households", None, file).await.ok(201);
    let deployment = "HB1-LATE,HB,1,H-LATE,2025-01-01,,,no";
    let file = rows("deployments", &[deployment]);
    let batch = manager.upload("deployments", None, file).await.ok(201);
    let request = json!({
        "period": "2025", "methodology": "kitchen-test-households@1", "restate": true
    });
    let restated = manager.post("/statements", &request).await.ok(201);
    let (from, to) = (
        seeded().statement["id"].as_str().expect("an id"),
        restated["id"].as_str().expect("an id"),
    );

    let path = format!("/statements/{to}/difference?from={from}");
    let found = manager.get(&path).await.ok(200);
    assert!(sums_up(&found) > 5, "{found}");
    let causes = found["causes"].as_array().expect("causes");
    let titles: Vec<&str> = causes.iter().filter_map(|c| c["title"].as_str()).collect();
    assert_eq!(titles, ["stove days of HB version 1 in NORTH, year 1"]);
    assert_eq!(causes[0]["evidence"]["role"], "register");
    let added = found["batches_added"].as_array().expect("batches");
    let ids: Vec<&Value> = added.iter().map(|of| &of["batch"]["id"]).collect();
    assert!(ids.contains(&&batch["id"]), "{added:?}");
    assert_eq!(found["batches_removed"], json!([]));

    // Backwards the same parts come with the other sign.
    let back = format!("/statements/{from}/difference?from={to}");
    let back = manager.get(&back).await.ok(200);
    assert!(sums_up(&back) > 5);
    assert_eq!(back["batches_added"], json!([]));
    assert_eq!(
        decimal(&back["figures"][0]["difference"]),
        -decimal(&found["figures"][0]["difference"])
    );
    let nowhere = "00000000-0000-0000-0000-000000000000";
    let missing = format!("/statements/{to}/difference?from={nowhere}");
    manager.get(&missing).await.problem(404, "not-found");
}

#[tokio::test]
async fn another_methodology_is_a_cause_with_its_rules() {
    let programme = seeded_programme().await;
    let manager = &programme.manager;
    let request = json!({"period": "2025", "methodology": "kitchen-test-precision@1"});
    let other = manager.post("/statements", &request).await.ok(201);
    let (from, to) = (
        seeded().statement["id"].as_str().expect("an id"),
        other["id"].as_str().expect("an id"),
    );
    let path = format!("/statements/{to}/difference?from={from}");
    let found = manager.get(&path).await.ok(200);
    assert!(sums_up(&found) > 5, "{found}");
    let causes = found["causes"].as_array().expect("causes");
    let named = |word: &str| {
        let mut titles = causes.iter().filter_map(|cause| cause["title"].as_str());
        titles.any(|title| title.contains(word))
    };
    assert!(named("rule claim") && named("gwp"), "{causes:?}");
    assert!(causes.iter().all(|cause| cause["kind"] != "evidence"));
}

#[tokio::test]
async fn one_call_states_a_period_by_every_methodology() {
    let programme = seeded_programme().await;
    let manager = &programme.manager;
    let known = manager.get("/methodologies").await.ok(200);
    let found = manager.get("/periods/2025/methods").await.ok(200);
    let found = found.as_array().expect("a list");
    assert_eq!(Some(found.len()), known.as_array().map(Vec::len));
    for method in found {
        let stated = method["claims"].is_object();
        let gaps = method["gaps"].as_array().expect("gaps");
        assert_ne!(stated, !gaps.is_empty(), "{method}");
    }
    let seed: Value = serde_json::from_slice(&seeded().statement_bytes).expect("JSON");
    let own = found
        .iter()
        .find(|m| m["methodology"] == "kitchen-test-households@1");
    assert_eq!(own.expect("the seed's own")["claims"], seed["claims"]);

    let two =
        "/periods/2025/methods?methodologies=kitchen-test-precision@1,kitchen-test-households@1";
    let two = manager.get(two).await.ok(200);
    let names: Vec<&Value> = two
        .as_array()
        .into_iter()
        .flatten()
        .map(|m| &m["methodology"])
        .collect();
    assert_eq!(
        names,
        ["kitchen-test-precision@1", "kitchen-test-households@1"]
    );
    let unknown = "/periods/2025/methods?methodologies=nothing@1";
    manager.get(unknown).await.problem(404, "not-found");
    manager
        .get("/periods/1999/methods")
        .await
        .problem(404, "not-found");
}
