//! Findings: the whole dialogue over HTTP, what is attached, what they hold open, and the bag.

mod periods;
mod shown;

use crate::support::seeded::seeded_programme;
use crate::support::{Answer, Client, TestProgramme, census, seeded};
use emberbook::trail::merkle::sha256;
use reqwest::Method;
use serde_json::{Value, json};

const CLASSES: [&str; 3] = [
    "corrective_action_request",
    "clarification_request",
    "forward_action_request",
];

pub const FILE: &[u8] = b"weighing sheet, page 1 (invented)";

fn finding(class: &str, kind: &str, key: &str) -> Value {
    json!({"class": class, "subject": {"kind": kind, "key": key}, "text": "Please explain."})
}

fn file() -> Value {
    json!({"sha256": sha256(FILE).to_string(), "file_name": "Blatt 1 ü.txt",
           "media_type": "text/plain", "size_bytes": FILE.len()})
}

/// The hash of the file that [`raise_with_file`] attaches.
pub fn attached_hash() -> String {
    sha256(FILE).to_string()
}

fn attachment_path(id: &str) -> String {
    format!("/findings/{id}/attachments/{}", sha256(FILE))
}

async fn send_bytes(client: &Client, path: &str, bytes: &'static [u8]) -> Answer {
    Answer::of(client.request(Method::POST, path).body(bytes)).await
}

/// Raises F-001 on the period with a file whose bytes are kept; returns the verifier.
pub async fn raise_with_file(programme: &TestProgramme, class: &str) -> Client {
    let verifier = programme.client_of("verifier").await;
    let mut new = finding(class, "period", "2025");
    new["attachments"] = json!([file()]);
    let opened = verifier.post("/findings", &new).await.ok(201);
    assert_eq!(opened["id"], "F-001");
    let sent = send_bytes(&verifier, &attachment_path("F-001"), FILE).await;
    assert_eq!(sent.ok(200)["kept"], true);
    verifier
}

fn statement_id() -> &'static str {
    seeded().statement["id"].as_str().expect("an id")
}

fn batch_of(file: &str) -> String {
    let batch = seeded().batches.iter().find(|(name, _)| name == file);
    batch.expect(file).1["id"]
        .as_str()
        .expect("an id")
        .to_owned()
}

fn ids(list: &Value) -> Vec<&str> {
    let list = list.as_array().expect("findings");
    list.iter()
        .map(|each| each["id"].as_str().expect("an id"))
        .collect()
}

#[tokio::test]
async fn a_finding_is_raised_answered_commented_closed_and_reopened_in_the_trail() {
    let programme = seeded_programme().await;
    let manager = &programme.manager;
    let verifier = programme.client_of("verifier").await;
    let new = finding(CLASSES[1], "batch", &batch_of("households.csv"));
    let opened = verifier.post_once("/findings", &new, "one").await.ok(201);
    assert_eq!(
        verifier.post_once("/findings", &new, "one").await.ok(201),
        opened
    );
    assert_eq!(
        (&opened["id"], &opened["state"]),
        (&json!("F-001"), &json!("open"))
    );
    let line = |text: &str| json!({"text": text});
    let act = async |client: &Client, act: &str, text: &str| {
        let path = format!("/findings/F-001/{act}");
        client.post(&path, &line(text)).await
    };
    act(&verifier, "answer", "x")
        .await
        .problem(403, "forbidden");
    act(manager, "close", "x").await.problem(403, "forbidden");
    manager
        .post("/findings", &new)
        .await
        .problem(403, "forbidden");
    act(&verifier, "reopen", "x")
        .await
        .problem(409, "finding-not-closed");
    assert_eq!(
        act(manager, "answer", "So.").await.ok(200)["state"],
        "answered"
    );
    assert_eq!(
        act(&verifier, "comment", "And?").await.ok(200)["state"],
        "answered"
    );
    act(manager, "comment", "Thus.").await.ok(200);
    assert_eq!(
        act(&verifier, "close", "Settled.").await.ok(200)["state"],
        "closed"
    );
    for word in ["answer", "comment"] {
        act(manager, word, "x").await.problem(409, "finding-closed");
    }
    act(&verifier, "close", "x")
        .await
        .problem(409, "finding-closed");
    let reopened = act(&verifier, "reopen", "Not so.\nSee page 2.")
        .await
        .ok(200);
    assert_eq!(manager.get("/findings/F-001").await.ok(200), reopened);
    let dialogue = reopened["dialogue"].as_array().expect("a dialogue");
    let acts: Vec<&str> = dialogue
        .iter()
        .map(|line| line["act"].as_str().expect("an act"))
        .collect();
    assert_eq!(
        acts,
        [
            "opened",
            "answered",
            "commented",
            "commented",
            "closed",
            "reopened"
        ]
    );
    for (line, act) in dialogue.iter().zip(&acts) {
        let entry = manager
            .get(&format!("/trail/entries/{}", line["sequence"]))
            .await
            .ok(200);
        assert_eq!(entry["kind"], format!("finding-{act}"));
        assert_eq!(entry["subject"], "F-001");
        assert_eq!(
            (&entry["content"]["text"], &entry["actor"]),
            (&line["text"], &line["actor"])
        );
    }
    for role in ["monitor"] {
        let monitor = programme.client_of(role).await;
        monitor.get("/findings").await.problem(403, "forbidden");
        monitor
            .get("/findings/F-001")
            .await
            .problem(403, "forbidden");
    }
}

#[tokio::test]
async fn a_finding_is_raised_on_what_is_recorded_and_on_nothing_else() {
    let programme = seeded_programme().await;
    let verifier = programme.client_of("verifier").await;
    let (id, batch) = (statement_id(), batch_of("deployments.csv"));
    let stove = programme
        .manager
        .get("/deployments/HB1-000001")
        .await
        .ok(200);
    let day = stove["deployments"][0]["cells"]["installed_on"]
        .as_str()
        .expect("a day");
    let household = "H-0001".to_owned();
    let before = census(&programme.app.pool).await;
    for (kind, wrong) in [
        ("period", "2031".to_owned()),
        ("statement", batch.clone()),
        ("figure", format!("{id}/no_such_figure")),
        ("figure", id.to_owned()),
        ("node", format!("{id}/no/such/node")),
        ("row", format!("{batch}/999999")),
        ("row", batch.clone()),
        ("batch", id.to_owned()),
        ("batch", "x".to_owned()),
        ("factor", "no-such@1".to_owned()),
        ("methodology", "none@1".to_owned()),
        ("household", "H-none".to_owned()),
        ("deployment", "HB1-000001/1999-01-01".to_owned()),
        ("deployment", "HB1-000001".to_owned()),
        ("round", "none".to_owned()),
    ] {
        let refused = verifier
            .post("/findings", &finding(CLASSES[0], kind, &wrong))
            .await;
        refused.problem(404, "not-found");
    }
    let sound = finding(CLASSES[0], "period", "2025");
    for (field, value) in [
        ("class", json!("remark")),
        ("text", json!("  ")),
        ("text", json!("\u{1b}[2J")),
        ("requirement", json!("")),
        (
            "attachments",
            json!([{"sha256": "x", "file_name": "a", "media_type": "a/b", "size_bytes": 1}]),
        ),
        ("attachments", json!(vec![file(); 21])),
    ] {
        let mut new = sound.clone();
        new[field] = value;
        verifier
            .post("/findings", &new)
            .await
            .problem(422, "invalid-fields");
    }
    assert_eq!(census(&programme.app.pool).await, before);
    let factors = programme.manager.get("/factors").await.ok(200);
    let factor = format!(
        "{}@{}",
        factors[0]["code"].as_str().expect("a code"),
        factors[0]["version"]
    );
    let rounds = programme.manager.get("/rounds").await.ok(200);
    let round = rounds[0]["code"].as_str().expect("a code").to_owned();
    let subjects = [
        ("period", "2025".to_owned()),
        ("statement", id.to_owned()),
        ("figure", format!("{id}/fuel_saved")),
        ("node", format!("{id}/use/rate")),
        ("row", format!("{batch}/2")),
        ("batch", batch.clone()),
        ("factor", factor),
        ("methodology", "kitchen-test-households@1".to_owned()),
        ("household", household),
        ("deployment", format!("HB1-000001/{day}")),
        ("round", round),
    ];
    for ((kind, key), class) in subjects.iter().zip(CLASSES.iter().cycle()) {
        let opened = verifier
            .post("/findings", &finding(class, kind, key))
            .await
            .ok(201);
        assert_eq!(opened["subject"], json!({"kind": kind, "key": key}));
        let stated = ["period", "statement", "figure", "node"].contains(kind);
        assert_eq!(
            opened["period"],
            if stated { json!("2025") } else { Value::Null }
        );
    }
    let all = verifier.get("/findings").await.ok(200);
    assert_eq!(ids(&all["items"]).len(), subjects.len());
    let page = verifier.get("/findings?limit=4&after=2").await.ok(200);
    assert_eq!(ids(&page["items"]), ["F-003", "F-004", "F-005", "F-006"]);
    assert_eq!(page["next"], 6);
    let class = format!("/findings?class={}", CLASSES[2]);
    assert_eq!(
        ids(&verifier.get(&class).await.ok(200)["items"]),
        ["F-003", "F-006", "F-009"]
    );
    let subject = format!("/findings?subject_kind=row&subject_key={batch}/2");
    assert_eq!(
        ids(&verifier.get(&subject).await.ok(200)["items"]),
        ["F-005"]
    );
    verifier
        .post("/findings/F-002/close", &json!({"text": "ok"}))
        .await
        .ok(200);
    assert_eq!(
        ids(&verifier.get("/findings?state=closed").await.ok(200)["items"]),
        ["F-002"]
    );
    assert_eq!(
        ids(&verifier.get("/findings?state=open").await.ok(200)["items"]).len(),
        10
    );
    verifier
        .get("/findings?state=lost")
        .await
        .problem(422, "invalid-fields");
    crate::verifier::assert_sound_export(&programme).await;
}

#[tokio::test]
async fn an_attachment_is_kept_only_where_its_bytes_are_those_of_the_hash() {
    let programme = seeded_programme().await;
    let verifier = programme.client_of("verifier").await;
    let mut new = finding(CLASSES[1], "period", "2025");
    new["attachments"] = json!([file()]);
    let opened = verifier.post("/findings", &new).await.ok(201);
    let named = &opened["dialogue"][0]["attachments"][0];
    assert_eq!(named["kept"], false);
    let path = attachment_path("F-001");
    let before = census(&programme.app.pool).await;
    verifier.get(&path).await.problem(404, "not-found");
    send_bytes(&verifier, &path, b"other bytes")
        .await
        .problem(422, "invalid-fields");
    static LARGE: [u8; 8 * 1024 * 1024 + 1] = [0; 8 * 1024 * 1024 + 1];
    send_bytes(&verifier, &path, &LARGE)
        .await
        .problem(413, "too-large");
    let unnamed = format!("/findings/F-001/attachments/{}", sha256(b"other bytes"));
    send_bytes(&verifier, &unnamed, b"other bytes")
        .await
        .problem(404, "not-found");
    send_bytes(&verifier, &attachment_path("F-009"), FILE)
        .await
        .problem(404, "not-found");
    assert_eq!(census(&programme.app.pool).await, before);
    for _ in 0..2 {
        assert_eq!(
            send_bytes(&programme.manager, &path, FILE).await.ok(200)["kept"],
            true
        );
    }
    let fetched = programme.manager.get(&path).await;
    assert_eq!((fetched.status, fetched.bytes.as_slice()), (200, FILE));
    for (name, value) in [
        ("content-type", "application/octet-stream"),
        (
            "content-disposition",
            "attachment; filename=\"Blatt_1__.txt\"; filename*=UTF-8''Blatt%201%20%C3%BC.txt",
        ),
        ("x-content-type-options", "nosniff"),
        ("content-security-policy", "default-src 'none'; sandbox"),
        ("cache-control", "no-store"),
    ] {
        assert_eq!(fetched.header(name), value);
    }
    let monitor = programme.client_of("monitor").await;
    monitor.get(&path).await.problem(403, "forbidden");
}
