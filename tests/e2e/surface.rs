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
        "/api/v1/programmes/test-isles/batches/by-id/x/y/z",
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
        (Method::PUT, "/batches/households"),
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
