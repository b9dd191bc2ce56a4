//! Requests that are sent more than once, and requests that come at the same time.

use crate::batches::rows;
use crate::support::{Answer, Client, TestProgramme, census};
use serde_json::{Value, json};
use std::collections::BTreeSet;

/// An upload under an `Idempotency-Key`.
async fn upload_once(client: &Client, kind: &str, file: &[u8], key: &str) -> Answer {
    let request = client.upload_request(kind, None, file);
    Answer::of(request.header("Idempotency-Key", key)).await
}

async fn trail_size(programme: &TestProgramme) -> usize {
    let entries = programme.manager.get("/trail/entries?limit=1000").await;
    entries.ok(200).as_array().map_or(0, Vec::len)
}

#[tokio::test]
async fn the_same_file_again_is_answered_and_adds_nothing() {
    let programme = TestProgramme::start().await;
    programme.frame().await;
    let file = rows("households", &["HH-9,NORTH,1,1,1,0"]);
    let first = programme
        .manager
        .upload("households", None, file.clone())
        .await
        .ok(201);
    assert_eq!(first["repeated"], false);
    let monitor = programme.client_of("monitor").await;
    let before = census(&programme.app.pool).await;
    programme.app.clock.advance_seconds(3_600);
    let again = programme
        .manager
        .upload("households", None, file.clone())
        .await
        .ok(200);
    let mut expected = first.clone();
    expected["repeated"] = json!(true);
    assert_eq!(again, expected);
    // Whoever sends it: the rows are the same rows.
    assert_eq!(
        monitor.upload("households", None, file).await.ok(200),
        expected
    );
    assert_eq!(census(&programme.app.pool).await, before);
}

#[tokio::test]
async fn a_key_gives_the_same_answer_to_a_repeat_and_is_refused_for_anything_else() {
    let programme = TestProgramme::start().await;
    programme.frame().await;
    let manager = &programme.manager;
    let site = json!({"code": "HILL", "name": "Hill Gardens"});
    let first = manager.post_once("/sites", &site, "site-1").await.ok(201);
    let file = rows("households", &["HH-9,HILL,1,1,1,0"]);
    let batch = upload_once(manager, "households", &file, "batch-1")
        .await
        .ok(201);
    let before = census(&programme.app.pool).await;
    assert_eq!(
        manager.post_once("/sites", &site, "site-1").await.ok(201),
        first
    );
    assert_eq!(
        upload_once(manager, "households", &file, "batch-1")
            .await
            .ok(201),
        batch
    );

    let other_site = json!({"code": "BAY", "name": "Bay"});
    let other_file = rows("households", &["HH-8,HILL,1,1,1,0"]);
    for refused in [
        manager.post_once("/sites", &other_site, "site-1").await,
        upload_once(manager, "households", &other_file, "batch-1").await,
        upload_once(manager, "households", &file, "site-1").await,
    ] {
        refused.problem(409, "key-reused");
    }
    assert_eq!(census(&programme.app.pool).await, before);
    // Without a key, a site that exists is a conflict.
    manager
        .post("/sites", &site)
        .await
        .problem(409, "code-taken");
}

#[tokio::test]
async fn every_post_of_a_programme_takes_a_key_and_a_failure_leaves_the_key_free() {
    let programme = TestProgramme::start().await;
    programme.frame().await;
    let manager = &programme.manager;
    let wrong = json!({"code": "a space is no code", "name": "x"});
    let refused = manager.post_once("/sites", &wrong, "key").await;
    refused.problem(422, "invalid-fields");
    let right = json!({"code": "HILL", "name": "Hill"});
    manager.post_once("/sites", &right, "key").await.ok(201);

    let factors = manager.get("/factors").await.ok(200);
    let mut factor = factors[0].clone();
    factor["version"] = json!(1_000);
    let methodologies = manager.get("/methodologies").await.ok(200);
    let mut methodology = methodologies[0].clone();
    methodology["version"] = json!(1_000);
    let household = json!({"household_code": "HH-9", "site_code": "NORTH", "children_0_14": 1,
                           "women_over_14": 1, "men_15_59": 0, "men_over_59": 0});
    let deployment = json!({"serial": "S-9", "model_code": "G1", "model_version": 1,
                            "household_code": "HH-9", "installed_on": "2025-01-01",
                            "ended_on": null, "end_reason": null, "second_stove": null});
    let end = json!({"serial": "S-9", "installed_on": "2025-01-01", "ended_on": "2025-02-01",
                     "end_reason": "moved"});
    let posts: Vec<(&str, Value)> = vec![
        (
            "/stove-models",
            json!({"code": "G2", "version": 1, "name": "Second", "device": "gasifier",
                                 "char_making": true}),
        ),
        (
            "/rounds",
            json!({"code": "r", "kind": "usage_survey", "starts_on": "2025-01-01",
                           "ends_on": "2025-02-01", "design": "x"}),
        ),
        (
            "/periods",
            json!({"code": "2025", "starts_on": "2025-01-01", "ends_on": "2026-01-01"}),
        ),
        ("/factors", factor),
        ("/methodologies", methodology),
        ("/households", household),
        ("/deployments", deployment),
        ("/deployment-ends", end),
    ];
    for (path, body) in posts {
        let first = manager.post_once(path, &body, path).await.ok(201);
        let size = trail_size(&programme).await;
        assert_eq!(
            manager.post_once(path, &body, path).await.ok(201),
            first,
            "{path}"
        );
        assert_eq!(trail_size(&programme).await, size, "{path}");
    }
    let close = "/periods/2025/close";
    let first = manager.post_once(close, &json!({}), "close").await.ok(200);
    assert_eq!(
        manager.post_once(close, &json!({}), "close").await.ok(200),
        first
    );
    manager
        .post(close, &json!({}))
        .await
        .problem(409, "period-closed");

    // A secret is shown once, so its repeat is a conflict that names the token.
    let request = json!({"role": "monitor", "label": "tablet"});
    let issued = manager
        .post_once("/tokens", &request, "token")
        .await
        .ok(201);
    let refused = manager.post_once("/tokens", &request, "token").await;
    let problem = refused.problem(409, "shown-once");
    let id = issued["id"].as_str().expect("an id");
    assert!(
        problem["detail"]
            .as_str()
            .is_some_and(|text| text.contains(id))
    );

    for key in ["", "  ", &"k".repeat(201)] {
        let refused = manager.post_once("/sites", &right, key).await;
        let problem = refused.problem(422, "invalid-fields");
        assert_eq!(problem["errors"][0]["field"], "Idempotency-Key");
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 4)]
async fn two_identical_uploads_at_once_are_one_batch() {
    let programme = TestProgramme::start().await;
    programme.frame().await;
    for (name, keys) in [
        ("UNKEYED", [None, None]),
        ("ONE-KEY", [Some("same"), Some("same")]),
        ("TWO-KEYS", [Some("a"), Some("b")]),
    ] {
        let lines: Vec<String> = (0..400)
            .map(|n| format!("{name}-{n},NORTH,1,1,1,0"))
            .collect();
        let lines: Vec<&str> = lines.iter().map(String::as_str).collect();
        let file = rows("households", &lines);
        let send = |key: Option<&'static str>| {
            let request = programme
                .manager
                .upload_request("households", None, file.clone());
            Answer::of(match key {
                Some(key) => request.header("Idempotency-Key", key),
                None => request,
            })
        };
        let before = trail_size(&programme).await;
        let (one, other) = tokio::join!(send(keys[0]), send(keys[1]));
        let mut statuses = [one.status, other.status];
        statuses.sort_unstable();
        // One key means one answer, status and all; else the later one is told of the repeat.
        let expected = if name == "ONE-KEY" {
            [201, 201]
        } else {
            [200, 201]
        };
        assert_eq!(statuses, expected, "{name}: {}{}", one.text(), other.text());
        assert_eq!(one.json()["id"], other.json()["id"], "{name}");
        assert_eq!(trail_size(&programme).await, before + 1, "{name}");
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 4)]
async fn sixteen_rows_posted_at_once_lose_and_reorder_nothing() {
    let programme = TestProgramme::start().await;
    programme.frame().await;
    let before = trail_size(&programme).await;
    let mut posts = tokio::task::JoinSet::new();
    for n in 0..16 {
        let manager = programme.manager.clone();
        posts.spawn(async move {
            let household = json!({"household_code": format!("HH-{n}"), "site_code": "NORTH",
                                   "children_0_14": 1, "women_over_14": 1, "men_15_59": 0,
                                   "men_over_59": 0});
            manager.post("/households", &household).await.ok(201)
        });
    }
    let batches = posts.join_all().await;
    let sequences: BTreeSet<u64> = batches
        .iter()
        .filter_map(|b| b["sequence"].as_u64())
        .collect();
    let expected: BTreeSet<u64> = (before as u64..before as u64 + 16).collect();
    assert_eq!(sequences, expected);
    crate::trail::assert_sound_trail(&programme).await;
    let page = programme
        .manager
        .get("/households?limit=1000")
        .await
        .ok(200);
    let listed = page["items"].as_array().expect("rows");
    let codes: BTreeSet<&str> = listed
        .iter()
        .filter_map(|row| row["cells"]["household_code"].as_str())
        .collect();
    assert_eq!((listed.len(), codes.len()), (16, 16));
}
