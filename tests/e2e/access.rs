//! Who may do what: tokens, programmes, roles.

use crate::batches::rows;
use crate::findings::{attached_hash, raise_with_file};
use crate::flags::planted_flag;
use crate::rounds::draw_a_round;
use crate::support::programme::create_programme;
use crate::support::seeded::seeded_programme;
use crate::support::{Answer, Client, TestProgramme, census, seeded};
use reqwest::Method;
use serde_json::{Value, json};
use sqlx::{AssertSqlSafe, PgPool};
use std::collections::BTreeSet;

/// Every operation of the API description: method, path, and whether it asks for a token.
async fn documented_operations(programme: &TestProgramme) -> Vec<(Method, String, bool)> {
    let document = programme
        .app
        .client()
        .get("/api/v1/openapi.json")
        .await
        .ok(200);
    let mut operations = Vec::new();
    for (path, methods) in document["paths"].as_object().expect("paths") {
        for (method, operation) in methods.as_object().expect("methods") {
            let method = method.to_ascii_uppercase().parse().expect("a method");
            operations.push((method, path.clone(), operation.get("security").is_some()));
        }
    }
    operations
}

/// Phone forms are answered in XML.
fn is_of_forms(path: &str) -> bool {
    path.contains("{programme}/forms/")
}

/// A path of the description with its parameters filled.
fn filled(path: &str, programme: &str) -> String {
    path.replace("{programme}", programme)
        .replace("{batch}", "00000000-0000-0000-0000-000000000000")
        .replace("{statement}", "00000000-0000-0000-0000-000000000000")
        .replace("{upload}", "00000000-0000-0000-0000-000000000000")
        .replace("{job}", "00000000-0000-0000-0000-000000000000")
        .replace("{line}", "2")
        .replace("{sequence}", "0")
        .replace("{token}", "00000000-0000-0000-0000-000000000000")
        .replace("{kind}", "households")
        .replace("{form}", "households")
        .replace(['{', '}'], "")
}

#[tokio::test]
async fn every_documented_operation_but_health_asks_for_a_token() {
    let programme = TestProgramme::start().await;
    let operations = documented_operations(&programme).await;
    assert!(operations.len() > 35, "{}", operations.len());
    let before = census(&programme.app.pool).await;
    let stranger = programme.app.client();
    let unknown = format!("{}.{}", "0".repeat(32), "a".repeat(64));
    for (method, path, secured) in operations {
        let address = filled(&path, &programme.code);
        assert_eq!(secured, !path.starts_with("/health/"), "{path}");
        if !secured {
            let answer = Answer::of(stranger.request(method, &address)).await;
            assert_eq!(answer.status, 200, "{path}");
            continue;
        }
        for client in [
            stranger.clone(),
            stranger.with_token("garbage"),
            stranger.with_token(&unknown),
            stranger.with_token(&format!("{}0", programme.manager_secret)),
        ] {
            let answer = Answer::of(client.request(method.clone(), &address)).await;
            assert_eq!(answer.status, 401, "{method} {path}: {}", answer.text());
            let mut offered = answer.headers.get_all("www-authenticate").iter();
            assert!(offered.any(|each| each == "Bearer"), "{method} {path}");
        }
        // Clients of phone forms know nothing but HTTP Basic; all others send a bearer.
        if is_of_forms(&path) {
            continue;
        }
        let basic = stranger.request(method.clone(), &address);
        let basic = basic.basic_auth("user", Some(&programme.manager_secret));
        assert_eq!(Answer::of(basic).await.status, 401, "{method} {path}");
    }
    assert_eq!(census(&programme.app.pool).await, before);
}

#[tokio::test]
async fn a_token_opens_its_own_programme_and_no_other() {
    let programme = TestProgramme::start().await;
    let other = create_programme(&programme.app, "other-isles").await;
    let secret = other["manager_token"]["secret"].as_str().expect("a secret");
    let guest = programme.app.client().with_token(secret);
    let own = guest.get("/api/v1/programmes/other-isles").await.ok(200);
    assert_eq!(own, other["programme"]);
    for (method, path, _) in documented_operations(&programme).await {
        if !path.contains("{programme}") {
            continue;
        }
        let address = filled(&path, &programme.code);
        let answer = Answer::of(guest.request(method.clone(), &address)).await;
        assert_eq!(answer.status, 403, "{method} {path}: {}", answer.text());
        // An answer to HEAD has no body.
        if method != Method::HEAD && !is_of_forms(&path) {
            answer.problem(403, "forbidden");
        }
    }
    // A programme that does not exist is told apart from nothing.
    guest
        .get("/api/v1/programmes/no-such")
        .await
        .problem(403, "forbidden");
}

#[tokio::test]
async fn only_an_operator_creates_programmes_and_an_operator_reads_none() {
    let programme = TestProgramme::start().await;
    let request = json!({"code": "new-isles", "name": "New Isles", "manager_label": "office"});
    let manager = programme.app.client().with_token(&programme.manager_secret);
    let refused = manager.post("/api/v1/programmes", &request).await;
    refused.problem(403, "forbidden");
    let secret = programme
        .app
        .service
        .issue_operator_token("tests")
        .await
        .expect("a token");
    let operator = programme.app.client().with_token(&secret);
    operator.post("/api/v1/programmes", &request).await.ok(201);
    operator
        .post("/api/v1/programmes", &request)
        .await
        .problem(409, "code-taken");
    for (code, name) in [
        ("x", "X"),
        ("-isles", "X"),
        ("Isles", "X"),
        ("isles", ""),
        ("i_s", "X"),
    ] {
        let wrong = json!({"code": code, "name": name, "manager_label": "office"});
        let refused = operator.post("/api/v1/programmes", &wrong).await;
        refused.problem(422, "invalid-fields");
    }
    let inside = operator
        .get(&format!("/api/v1/programmes/{}", programme.code))
        .await;
    inside.problem(403, "forbidden");
}

/// Every request of a programme that changes something, each sound in itself.
async fn writes(
    client: &Client,
    factor: &Value,
    methodology: &Value,
) -> Vec<(&'static str, Answer)> {
    let period = json!({"code": "2025", "starts_on": "2025-01-01", "ends_on": "2026-01-01"});
    let round = json!({"code": "r", "kind": "usage_survey", "starts_on": "2025-01-01",
                       "ends_on": "2025-02-01", "design": "x"});
    let model = json!({"code": "G2", "version": 1, "name": "x", "device": "gasifier",
                       "char_making": true});
    let statement = json!({"period": "2025", "methodology": "kitchen-test-households@1"});
    let mut answers = Vec::new();
    for (path, body) in [
        ("/sites", &json!({"code": "HILL", "name": "Hill"})),
        ("/stove-models", &model),
        ("/rounds", &round),
        ("/periods", &period),
        ("/periods/2025/close", &json!({})),
        ("/factors", factor),
        ("/methodologies", methodology),
        ("/statements", &statement),
        ("/tokens", &json!({"role": "manager", "label": "x"})),
    ] {
        answers.push((path, client.post(path, body).await));
    }
    answers
}

/// Sound requests that bring rows.
async fn uploads(client: &Client) -> Vec<Answer> {
    let household = json!({"household_code": "HH-8", "site_code": "NORTH", "children_0_14": 1,
                           "women_over_14": 1, "men_15_59": 0, "men_over_59": 0});
    let deployment = json!({"serial": "S-9", "model_code": "G1", "model_version": 1,
                            "household_code": "HH-8", "installed_on": "2025-01-01"});
    let mut deployment = deployment;
    for column in ["ended_on", "end_reason", "second_stove"] {
        deployment[column] = Value::Null;
    }
    let end = json!({"serial": "S-9", "installed_on": "2025-01-01", "ended_on": "2025-02-01",
                     "end_reason": "moved"});
    vec![
        client
            .upload(
                "households",
                None,
                rows("households", &["HH-9,NORTH,1,1,1,0"]),
            )
            .await,
        client.post("/households", &household).await,
        client.post("/deployments", &deployment).await,
        client.post("/deployment-ends", &end).await,
    ]
}

#[tokio::test]
async fn a_monitor_brings_rows_and_changes_nothing_else() {
    let programme = TestProgramme::start().await;
    programme.frame().await;
    let factor = programme.manager.get("/factors").await.ok(200)[0].clone();
    let methodology = programme.manager.get("/methodologies").await.ok(200)[0].clone();
    let monitor = programme.client_of("monitor").await;
    let before = census(&programme.app.pool).await;
    for (path, answer) in writes(&monitor, &factor, &methodology).await {
        assert_eq!(answer.status, 403, "{path}: {}", answer.text());
        answer.problem(403, "forbidden");
    }
    assert_eq!(census(&programme.app.pool).await, before);
    for answer in uploads(&monitor).await {
        answer.ok(201);
    }
    let entries = programme
        .manager
        .get("/trail/entries?limit=1000")
        .await
        .ok(200);
    let last = entries
        .as_array()
        .and_then(|list| list.last())
        .expect("an entry");
    assert_eq!(last["actor"], "monitor: monitor of the tests");
}

#[tokio::test]
async fn a_verifier_reads_everything_and_writes_nothing() {
    let programme = seeded_programme().await;
    let factor = programme.manager.get("/factors").await.ok(200)[0].clone();
    let methodology = programme.manager.get("/methodologies").await.ok(200)[0].clone();
    let verifier = programme.client_of("verifier").await;
    // A job that has ended, for whoever follows one waits for its end.
    let job = crate::uploads::send(&programme.manager, "households", None, b"x").await;
    let cancel = format!("/jobs/{job}/cancel");
    programme.manager.post(&cancel, &json!({})).await.ok(200);
    let flag = planted_flag(&programme).await;
    draw_a_round(&programme, "usage-2026").await;
    raise_with_file(&programme, "clarification_request").await;
    let before = census(&programme.app.pool).await;
    for (path, answer) in writes(&verifier, &factor, &methodology).await {
        assert_eq!(answer.status, 403, "{path}: {}", answer.text());
    }
    for answer in uploads(&verifier).await {
        answer.problem(403, "forbidden");
    }
    let statement = seeded().statement["id"].as_str().expect("an id");
    let batch = seeded().batches[0].1["id"].as_str().expect("an id");
    let same = format!("?from={statement}");
    let record = format!("?record=batch&key={batch}");
    for (method, path, secured) in documented_operations(&programme).await {
        if method != Method::GET || !secured {
            continue;
        }
        let address = path
            .replace("{statement}", statement)
            .replace("{size}", "1")
            .replace("{batch}", batch)
            .replace("{job}", &job)
            .replace("{finding}", "F-001")
            .replace("{flag}", &flag)
            .replace("{sha256}", &attached_hash())
            .replace("{round}", "usage-2026")
            .replace("{period}", "2025")
            .replace("{serial}", "HB1-000001")
            .replace("{code}", "H-0001");
        let query = match path.rsplit('/').next() {
            Some("inclusion") => "?index=0",
            Some("consistency") => "?old_size=1",
            Some("difference") => same.as_str(),
            Some("proof") if path.contains("/statements/") => "?figure=reductions_co2e",
            Some("proof" | "proof-file") if !path.contains("/rows/") => record.as_str(),
            _ => "",
        };
        let address = filled(&address, &programme.code) + query;
        let reader = programme.app.client().with_token(bearer(&verifier));
        let answer = Answer::of(reader.request(method, &address)).await;
        // Only who lets others in sees whom, and only who sends files those that were refused.
        let closed = ["/tokens", "/people", "/batches/rejected/{file}"]
            .iter()
            .any(|end| path.ends_with(end));
        let expected = if closed { 403 } else { 200 };
        assert_eq!(answer.status, expected, "{address}: {}", answer.text());
    }
    assert_eq!(census(&programme.app.pool).await, before);
}

fn bearer(client: &Client) -> &str {
    client.token().expect("a token")
}

/// Tables whose rows hold `needle` as text, in hexadecimal or as bytes.
pub async fn tables_that_hold(pool: &PgPool, needle: &str, bytes: &[u8]) -> Vec<String> {
    let columns: Vec<(String, String, String)> = sqlx::query_as(
        "select table_name::text, column_name::text, data_type::text
         from information_schema.columns
         where table_schema = 'public' and data_type in ('text', 'bytea')",
    )
    .fetch_all(pool)
    .await
    .expect("the columns");
    assert!(columns.len() > 40);
    let mut found = Vec::new();
    for (table, column, kind) in columns {
        let test = match kind.as_str() {
            "bytea" => format!(
                "position($1::bytea in \"{column}\") > 0 or position($2::bytea in \"{column}\") > 0"
            ),
            _ => format!(
                "position(convert_from($1::bytea, 'UTF8') in \"{column}\") > 0
                          and $2::bytea is not null"
            ),
        };
        let sql = format!("select exists (select from \"{table}\" where {test})");
        let holds: bool = sqlx::query_scalar(AssertSqlSafe(sql))
            .bind(needle.as_bytes())
            .bind(bytes)
            .fetch_one(pool)
            .await
            .expect("an answer");
        if holds {
            found.push(format!("{table}.{column}"));
        }
    }
    found
}

#[tokio::test]
async fn no_secret_of_a_token_is_kept_or_listed() {
    let programme = TestProgramme::start().await;
    programme.frame().await;
    let request = json!({"role": "monitor", "label": "tablet 4"});
    let issued = programme
        .manager
        .post_once("/tokens", &request, "issue-4")
        .await
        .ok(201);
    let secret = issued["secret"].as_str().expect("a secret").to_owned();
    let operator = programme
        .app
        .service
        .issue_operator_token("tests")
        .await
        .expect("a token");
    let pool = &programme.app.pool;
    for text in [&secret, &programme.manager_secret, &operator] {
        let (_, part) = text.split_once('.').expect("two parts");
        let bytes = hex::decode(part).expect("hexadecimal");
        assert_eq!(bytes.len(), 32);
        assert_eq!(tables_that_hold(pool, part, &bytes).await, [""; 0]);
    }
    // The search finds what is there.
    let label = tables_that_hold(pool, "tablet 4", b"tablet 4").await;
    let expected = [
        "access_token.label",
        "idempotent_answer.body",
        "trail_entry.content",
    ];
    assert_eq!(
        BTreeSet::from_iter(label.iter().map(String::as_str)),
        BTreeSet::from(expected)
    );

    let listed = programme.manager.get("/tokens").await;
    let tokens = listed.ok(200);
    assert_eq!(tokens.as_array().map(Vec::len), Some(2));
    for token in tokens.as_array().expect("tokens") {
        let members: Vec<&String> = token.as_object().expect("an object").keys().collect();
        let expected = [
            "created_at",
            "expires_at",
            "id",
            "label",
            "last_used_on",
            "read_only",
            "revoked_at",
            "role",
            "sites",
        ];
        assert_eq!(members, expected);
    }
    let bag = programme.manager.get("/export").await;
    assert_eq!(bag.status, 200);
    for refused in [
        json!({"role": "owner", "label": "x"}),
        json!({"role": "monitor", "label": " "}),
    ] {
        programme
            .manager
            .post("/tokens", &refused)
            .await
            .problem(422, "invalid-fields");
    }
}
