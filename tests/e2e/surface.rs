//! What holds for every address: health, wrong paths, wrong methods, headers, limits.

use crate::support::{Answer, Setup, TestProgramme};
use reqwest::Method;
use serde_json::json;

#[tokio::test]
async fn health_tells_life_and_readiness_apart() {
    let programme = TestProgramme::start().await;
    let client = programme.app.client();
    let live = client.get("/health/live").await;
    assert_eq!((live.status, live.text().as_str()), (200, "alive"));
    let ready = client.get("/health/ready").await;
    assert_eq!((ready.status, ready.text().as_str()), (200, "ready"));
    programme.app.service.close().await;
    assert_eq!(client.get("/health/live").await.status, 200);
    let down = client.get("/health/ready").await;
    down.problem(503, "outage");
    assert_eq!(down.header("retry-after"), "5");
    programme.manager.get("/sites").await.problem(503, "outage");
}

#[tokio::test]
async fn an_address_of_the_api_that_does_not_exist_is_a_problem_document() {
    let programme = TestProgramme::start().await;
    let client = programme.app.client();
    for path in [
        "/api/v1/nothing",
        "/api/v2/programmes",
        "/api/x",
        "/api/v1/programmes/test-isles/stoves",
        "/api/v1/programmes/test-isles/batches/x/y/z",
    ] {
        for method in [Method::GET, Method::POST, Method::DELETE] {
            let answer = Answer::of(client.request(method, path)).await;
            answer.problem(404, "not-found");
        }
    }
}

#[tokio::test]
async fn a_method_that_an_address_does_not_take_is_a_problem_document() {
    let programme = TestProgramme::start().await;
    for (method, path) in [
        (Method::DELETE, "/sites"),
        (Method::PUT, "/batches"),
        (Method::POST, "/export"),
        (Method::PATCH, "/statements"),
    ] {
        let answer = Answer::of(programme.manager.request(method, path)).await;
        answer.problem(405, "method-not-allowed");
        assert!(!answer.header("allow").is_empty(), "{path}");
    }
    let health = programme.app.client().request(Method::POST, "/health/live");
    Answer::of(health).await.problem(405, "method-not-allowed");
}

#[tokio::test]
async fn a_body_that_is_not_the_asked_json_is_refused_with_the_reason() {
    let programme = TestProgramme::start().await;
    let send = |content_type: &'static str, body: &'static str| {
        let request = programme.manager.request(Method::POST, "/sites");
        Answer::of(request.header("Content-Type", content_type).body(body))
    };
    let json_type = "application/json";
    send(json_type, "{\"code\":\"A\",")
        .await
        .problem(400, "unreadable");
    send(json_type, "").await.problem(400, "unreadable");
    let twice = r#"{"code":"A","code":"B","name":"x"}"#;
    send(json_type, twice).await.problem(400, "unreadable");
    send(json_type, r#"{"code":"A"}"#)
        .await
        .problem(422, "invalid-fields");
    let more = r#"{"code":"A","name":"x","colour":"red"}"#;
    send(json_type, more).await.problem(422, "invalid-fields");
    send("text/plain", r#"{"code":"A","name":"x"}"#)
        .await
        .problem(415, "unsupported-media-type");
    let long = format!(r#"{{"code":"A","name":"{}"}}"#, "x".repeat(3_000_000));
    let request = programme.manager.request(Method::POST, "/sites");
    let request = request.header("Content-Type", json_type).body(long);
    Answer::of(request).await.problem(413, "too-large");
    assert_eq!(programme.manager.get("/sites").await.ok(200), json!([]));
}

#[tokio::test]
async fn every_answer_carries_an_id_and_forbids_sniffing() {
    let programme = TestProgramme::start().await;
    let client = programme.app.client();
    for path in [
        "/health/live",
        "/api/v1/openapi.json",
        "/api/v1/programmes/x/sites",
    ] {
        let answer = client.get(path).await;
        assert_eq!(answer.header("x-content-type-options"), "nosniff", "{path}");
        assert!(!answer.header("x-request-id").is_empty(), "{path}");
    }
    let request = client.request(Method::GET, "/health/live");
    let answer = Answer::of(request.header("x-request-id", "from-the-client")).await;
    assert_eq!(answer.header("x-request-id"), "from-the-client");
}

#[tokio::test]
async fn one_connection_to_the_database_is_enough_for_every_request() {
    let setup = Setup {
        connections: 1,
        ..Setup::default()
    };
    let programme = TestProgramme::start_with(setup).await;
    programme.small_register().await;
    for path in [
        "/export",
        "/trail/checkpoint",
        "/households",
        "/deployments/S-1",
        "/statements",
    ] {
        let answer = programme.manager.get(path).await;
        assert_eq!(answer.status, 200, "{path}: {}", answer.text());
    }
}

/// Requests with text or numbers at the edge of what can be stored.
fn edges() -> Vec<(&'static str, serde_json::Value)> {
    let round = |code: &str, starts_on: &str, ends_on: &str| {
        json!({"code": code, "kind": "usage_survey", "starts_on": starts_on,
               "ends_on": ends_on, "design": "x"})
    };
    let period = |code: &str, starts_on: &str, ends_on: &str| json!({"code": code, "starts_on": starts_on, "ends_on": ends_on});
    vec![
        ("/sites", json!({"code": "A", "name": "a\u{0}b"})),
        ("/sites", json!({"code": "A\u{0}", "name": "x"})),
        ("/tokens", json!({"role": "monitor", "label": "a\u{0}b"})),
        ("/tokens", json!({"role": "monitor", "label": "a\nb"})),
        ("/rounds", round("r", "-262143-01-01", "2025-01-01")),
        ("/rounds", round("r", "-4800-01-01", "2025-01-01")),
        ("/rounds", round("r", "2025-01-01", "+262142-12-31")),
        ("/periods", period("p", "-262143-01-01", "2025-01-01")),
        ("/periods", period("p", "2025-01-01", "+262142-12-31")),
        (
            "/statements",
            json!({"period": "\u{0}", "methodology": "\u{0}"}),
        ),
        ("/periods/%00/close", json!({})),
        ("/households", json!({"household_code": "H\u{0}"})),
        ("/households", json!({"\u{0}": "H"})),
    ]
}

#[tokio::test]
async fn text_and_numbers_that_cannot_be_stored_are_refused_and_not_stumbled_over() {
    let programme = TestProgramme::start().await;
    programme.small_register().await;
    let manager = &programme.manager;
    let size = u64::MAX;
    let mut stumbled = Vec::new();
    for path in [
        "/households/%00".to_owned(),
        "/deployments/%00".to_owned(),
        "/households/%FF".to_owned(),
        "/templates/%00".to_owned(),
        format!("/households?after={size}.{size}"),
        format!("/households?as_of={size}"),
        format!("/trail/entries?from={size}"),
        format!("/trail/entries/{size}"),
        format!("/trail/inclusion?index={size}"),
        format!("/trail/inclusion?index=0&size={size}"),
        format!("/trail/consistency?old_size={size}&new_size={size}"),
        "/trail/entries?from=18446744073709551616".to_owned(),
        "/batches/00000000-0000-0000-0000-000000000000/rows/18446744073709551615/proof".to_owned(),
    ] {
        let answer = manager.get(&path).await;
        if answer.status >= 500 {
            stumbled.push(format!("{path}: {}", answer.text()));
        }
    }
    for (path, body) in edges() {
        let answer = manager.post(path, &body).await;
        if !(400..500).contains(&answer.status) {
            stumbled.push(format!("{path} {body}: {}", answer.text()));
        }
    }
    assert!(stumbled.is_empty(), "{stumbled:#?}");
    let file = crate::batches::rows("usage_survey", &["HH-1,S-1,2025-09-10,in_use,7,0.5"]);
    let round = manager
        .upload("usage_survey", Some("\u{0}"), file.clone())
        .await;
    round.problem(404, "not-found");
    let named = manager
        .upload_request("usage_survey", Some("usage"), file)
        .query(&[("file_name", "a\u{0}b")]);
    assert_eq!(Answer::of(named).await.ok(201)["file_name"], "ab");
    let operator = programme
        .app
        .service
        .issue_operator_token("tests")
        .await
        .expect("a token");
    let operator = programme.app.client().with_token(&operator);
    for (name, label) in [("a\u{0}b", "office"), ("x", "a\u{0}b")] {
        let request = json!({"code": "edge-isles", "name": name, "manager_label": label});
        let refused = operator.post("/api/v1/programmes", &request).await;
        refused.problem(422, "invalid-fields");
    }
}
