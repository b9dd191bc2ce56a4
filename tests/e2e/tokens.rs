//! Tokens: how long they hold, what they reach, and what is kept of a denial.

use crate::batches::rows;
use crate::support::{Client, TestProgramme};
use serde_json::{Value, json};

async fn issue(programme: &TestProgramme, request: Value) -> (String, Client) {
    let token = programme.manager.post("/tokens", &request).await.ok(201);
    let secret = token["secret"].as_str().expect("a secret");
    let id = token["id"].as_str().expect("an id").to_owned();
    (id, programme.stranger().with_token(secret))
}

#[tokio::test]
async fn a_token_ends_on_its_day_and_the_usual_one_after_ninety_days() {
    let programme = TestProgramme::start().await;
    let short = json!({"role": "verifier", "label": "visit", "expires_in_days": 2});
    let (_, short) = issue(&programme, short).await;
    let usual = json!({"role": "verifier", "label": "desk"});
    let (_, usual) = issue(&programme, usual).await;
    let day = 86_400;
    programme.app.clock.advance_seconds(2 * day - 1);
    short.get("/sites").await.ok(200);
    programme.app.clock.advance_seconds(1);
    short.get("/sites").await.problem(401, "unauthenticated");
    programme.app.clock.advance_seconds(88 * day - 1);
    usual.get("/sites").await.ok(200);
    programme.app.clock.advance_seconds(1);
    usual.get("/sites").await.problem(401, "unauthenticated");
}

#[tokio::test]
async fn the_time_of_a_token_has_bounds_and_an_operators_token_ends_too() {
    let programme = TestProgramme::start().await;
    for days in [0, 367] {
        let request = json!({"role": "monitor", "label": "x", "expires_in_days": days});
        let refused = programme.manager.post("/tokens", &request).await;
        refused.problem(422, "invalid-fields");
        let service = &programme.app.service;
        assert!(service.issue_operator_token_for("x", days).await.is_err());
    }
    let secret = programme
        .app
        .service
        .issue_operator_token("x")
        .await
        .expect("a token");
    let operator = programme.app.client().with_token(&secret);
    let request = |code: &str| json!({"code": code, "name": "X", "manager_label": "office"});
    operator
        .post("/api/v1/programmes", &request("one-isles"))
        .await
        .ok(201);
    let gone = operator
        .post("/api/v1/operator-token/revoke", &json!({}))
        .await;
    assert_eq!(gone.status, 204);
    let after = operator
        .post("/api/v1/programmes", &request("two-isles"))
        .await;
    after.problem(401, "unauthenticated");
    let secret = programme
        .app
        .service
        .issue_operator_token("y")
        .await
        .expect("a token");
    programme.app.clock.advance_seconds(90 * 86_400);
    let late = programme.app.client().with_token(&secret);
    let late = late.post("/api/v1/programmes", &request("two-isles")).await;
    late.problem(401, "unauthenticated");
}

#[tokio::test]
async fn a_token_is_revoked_at_once_by_a_manager_or_by_its_holder() {
    let programme = TestProgramme::start().await;
    let request = json!({"role": "monitor", "label": "tablet 1"});
    let (first, one) = issue(&programme, request.clone()).await;
    let read_only = json!({"role": "verifier", "label": "screen", "read_only": true});
    let (second, two) = issue(&programme, read_only).await;
    let (session_of, three) = issue(&programme, request).await;
    let mut browser = crate::people::Browser::new(&programme);
    let token = three.token().expect("a token").to_owned();
    browser.send("/sign-in", &[("token", &token)]).await;
    assert_eq!(browser.get("/").await.status, 200);
    for id in [&first, &session_of] {
        let revoked = programme
            .manager
            .post(&format!("/tokens/{id}/revoke"), &json!({}))
            .await;
        assert!(revoked.ok(200)["revoked_at"].is_string());
    }
    one.get("/sites").await.problem(401, "unauthenticated");
    assert_eq!(browser.get("/").await.header("location"), "/sign-in");
    let own = two.get("/token").await.ok(200);
    assert_eq!(
        (&own["id"], &own["read_only"]),
        (&json!(second), &json!(true))
    );
    two.post("/token/revoke", &json!({})).await.ok(200);
    two.get("/sites").await.problem(401, "unauthenticated");
    let entries = programme
        .manager
        .get("/trail/entries?limit=1000")
        .await
        .ok(200);
    let kinds = entries.as_array().expect("entries").iter();
    let revoked = kinds.filter(|entry| entry["kind"] == "token-revoked");
    let actors: Vec<&str> = revoked
        .filter_map(|entry| entry["actor"].as_str())
        .collect();
    assert_eq!(
        actors,
        ["manager: office", "manager: office", "verifier: screen"]
    );
}

#[tokio::test]
async fn the_last_day_of_use_is_shown_and_written_once_a_day() {
    let programme = TestProgramme::start().await;
    let request = json!({"role": "verifier", "label": "desk"});
    let (id, client) = issue(&programme, request).await;
    let shown = async || {
        let tokens = programme.manager.get("/tokens").await.ok(200);
        let tokens = tokens.as_array().expect("tokens").clone();
        let own = tokens.into_iter().find(|token| token["id"] == id.as_str());
        own.expect("the token")["last_used_on"].clone()
    };
    assert_eq!(shown().await, Value::Null);
    client.get("/sites").await.ok(200);
    assert_eq!(shown().await, "2026-02-03");
    let version = async || -> String {
        sqlx::query_scalar("select xmin::text from token_use where token_id::text = $1")
            .bind(&id)
            .fetch_one(&programme.app.pool)
            .await
            .expect("a row")
    };
    let written = version().await;
    programme.app.clock.advance_seconds(3_600);
    client.get("/sites").await.ok(200);
    assert_eq!(
        version().await,
        written,
        "a second use of the day writes nothing"
    );
    programme.app.clock.advance_seconds(86_400);
    client.get("/sites").await.ok(200);
    assert_eq!(shown().await, "2026-02-04");
}

/// The small register with a second site, its household and its stove.
async fn two_sites(programme: &TestProgramme) {
    programme.small_register().await;
    let manager = &programme.manager;
    let site = json!({"code": "SOUTH", "name": "South Shore"});
    manager.post("/sites", &site).await.ok(201);
    let household = rows("households", &["HS-1,SOUTH,1,1,1,0"]);
    manager.upload("households", None, household).await.ok(201);
    let stove = rows("deployments", &["S-70,G1,1,HS-1,2024-06-01,,,"]);
    manager.upload("deployments", None, stove).await.ok(201);
}

#[tokio::test]
async fn a_batch_that_touches_another_site_is_refused_whole_with_row_and_reason() {
    let programme = TestProgramme::start().await;
    two_sites(&programme).await;
    let south = json!({"role": "monitor", "label": "south", "sites": ["SOUTH"]});
    let (_, south) = issue(&programme, south).await;
    for (kind, round, lines, column) in [
        (
            "households",
            None,
            ["HS-2,SOUTH,1,1,1,0", "HN-9,NORTH,1,1,1,0"],
            "site_code",
        ),
        (
            "deployments",
            None,
            [
                "S-71,G1,1,HS-1,2025-06-01,,,yes",
                "S-72,G1,1,HH-4,2025-06-01,,,",
            ],
            "household_code",
        ),
        (
            "deployment_ends",
            None,
            [
                "S-70,2024-06-01,2025-12-01,moved",
                "S-3,2024-06-01,2025-12-01,moved",
            ],
            "serial",
        ),
        (
            "usage_survey",
            Some("usage"),
            [
                "HS-1,S-70,2025-09-10,in_use,7,0.5",
                "HH-1,S-1,2025-09-10,in_use,7,0.5",
            ],
            "household_code",
        ),
    ] {
        let refused = south.upload(kind, round, rows(kind, &lines)).await;
        let problem = refused.problem(422, "rejected-batch");
        assert_eq!(problem["rejection_count"], 1, "{kind}: {problem}");
        let row = &problem["rejections"][0];
        assert_eq!(
            (&row["line"], &row["column"]),
            (&json!(3), &json!(column)),
            "{kind}: {row}"
        );
        assert_eq!(row["code"], "other_site", "{kind}");
        let detail = row["detail"].as_str().expect("a sentence");
        assert!(
            detail.contains("NORTH") && detail.contains("SOUTH"),
            "{detail}"
        );
        // The other row alone is taken.
        south
            .upload(kind, round, rows(kind, &lines[..1]))
            .await
            .ok(201);
    }
    // A file that is known already is no way round it.
    let known = crate::support::programme::HOUSEHOLDS;
    let again = south.upload("households", None, known).await;
    let problem = again.problem(422, "rejected-batch");
    let codes = problem["rejections"].as_array().expect("rows").iter();
    assert_eq!(codes.filter(|row| row["code"] == "other_site").count(), 4);
    // The same for a single row.
    let row = json!({"household_code": "HN-8", "site_code": "NORTH", "children_0_14": 1,
                     "women_over_14": 1, "men_15_59": 0, "men_over_59": 0});
    south
        .post("/households", &row)
        .await
        .problem(403, "forbidden");
    let denials = programme.manager.get("/denials").await.ok(200);
    let first = &denials["items"][5];
    assert_eq!(first["status"], 422);
    assert!(
        first["why"].as_str().expect("why").contains("line 3"),
        "{first}"
    );
    assert_eq!(denials["items"].as_array().map(Vec::len), Some(6));
}

#[tokio::test]
async fn a_monitor_who_is_bound_to_a_site_reads_its_rows_alone() {
    let programme = TestProgramme::start().await;
    two_sites(&programme).await;
    let bound = |site: &str| json!({"role": "monitor", "label": site, "sites": [site]});
    let (_, south) = issue(&programme, bound("SOUTH")).await;
    let (_, north) = issue(&programme, bound("NORTH")).await;
    let codes = async |client: &Client, path: &str, column: &str| -> Vec<String> {
        let page = client.get(path).await.ok(200);
        let items = page["items"].as_array().expect("items").iter();
        items
            .map(|row| row["cells"][column].as_str().expect("a code").to_owned())
            .collect()
    };
    assert_eq!(
        codes(&south, "/households", "household_code").await,
        ["HS-1"]
    );
    assert_eq!(codes(&south, "/deployments", "serial").await, ["S-70"]);
    assert_eq!(
        codes(&north, "/households", "household_code").await,
        ["HH-1", "HH-2", "HH-3", "HH-4"]
    );
    south.get("/households/HS-1").await.ok(200);
    south
        .get("/households/HH-1")
        .await
        .problem(404, "not-found");
    south
        .get("/deployments/S-1")
        .await
        .problem(404, "not-found");
    north
        .get("/deployments/S-70")
        .await
        .problem(404, "not-found");
    assert_eq!(south.get("/sites").await.ok(200)[0]["code"], "SOUTH");
    let ids = async |client: &Client| {
        let list = client.get("/batches").await.ok(200);
        list.as_array()
            .expect("batches")
            .iter()
            .map(|b| b["id"].clone())
            .collect::<Vec<_>>()
    };
    let (all, own) = (ids(&programme.manager).await, ids(&south).await);
    assert_eq!((all.len(), &all[2..]), (4, own.as_slice()));
    let foreign = format!("/batches/{}", all[0].as_str().expect("an id"));
    for path in ["", "/rows", "/rows/2/proof"] {
        south
            .get(&format!("{foreign}{path}"))
            .await
            .problem(404, "not-found");
    }
    for path in [
        "/statements",
        "/trail/entries",
        "/trail/entries/0",
        "/export",
    ] {
        south.get(path).await.problem(403, "forbidden");
    }
}

#[tokio::test]
async fn a_denial_is_kept_with_who_what_and_why_and_paged_to_managers_and_verifiers() {
    let programme = TestProgramme::start().await;
    let (id, monitor) = issue(&programme, json!({"role": "monitor", "label": "tablet 2"})).await;
    let before = programme.app.service.denials_counted();
    let request = monitor.request(reqwest::Method::POST, "/sites?secret=1");
    let request = request.header("x-request-id", "request-77");
    let site = json!({"code": "A", "name": "a"});
    let refused = crate::support::Answer::of(request.json(&site)).await;
    refused.problem(403, "forbidden");
    monitor.get("/tokens").await.problem(403, "forbidden");
    // An unknown caller is counted and logged, not kept.
    programme
        .stranger()
        .get("/sites")
        .await
        .problem(401, "unauthenticated");
    let operator = programme
        .app
        .service
        .issue_operator_token("op")
        .await
        .expect("a token");
    programme
        .stranger()
        .with_token(&operator)
        .get("/batches")
        .await
        .problem(403, "forbidden");
    assert_eq!(programme.app.service.denials_counted() - before, 4);

    let verifier = programme.client_of("verifier").await;
    let page = verifier.get("/denials?limit=2").await.ok(200);
    let items = page["items"].as_array().expect("items");
    let whos: Vec<&str> = items
        .iter()
        .filter_map(|item| item["who"].as_str())
        .collect();
    assert_eq!(whos, ["operator: op", "monitor: tablet 2"]);
    let path = format!("/denials?limit=2&before={}", page["next"]);
    let page = programme.manager.get(&path).await.ok(200);
    let item = &page["items"][0];
    assert_eq!(item["request_id"], "request-77");
    assert_eq!(item["holder_id"], id.as_str());
    assert_eq!(
        (&item["method"], &item["status"]),
        (&json!("POST"), &json!(403))
    );
    assert_eq!(
        item["path"],
        format!("/api/v1/programmes/{}/sites", programme.code)
    );
    assert!(
        item["why"].as_str().expect("why").contains("manager"),
        "{item}"
    );
    assert_eq!(page["next"], Value::Null);
    monitor.get("/denials").await.problem(403, "forbidden");
    for limit in ["0", "1001"] {
        let path = format!("/denials?limit={limit}");
        verifier.get(&path).await.problem(422, "invalid-fields");
    }
    verifier
        .get("/denials?before=18446744073709551615")
        .await
        .ok(200);
}
