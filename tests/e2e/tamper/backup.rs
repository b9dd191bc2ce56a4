//! Backup and restore as processes: the dump goes into a new database and is audited there; an
//! older dump shows against a kept checkpoint.

use super::programme::{CODE, small_programme};
use crate::support::database::{admin, url};
use serde_json::{Value, json};
use std::path::Path;
use std::process::{Command, Output};

fn run(database: &str, data: &Path, arguments: &[&str]) -> Output {
    let mut command = Command::new(env!("CARGO_BIN_EXE_emberbook"));
    command
        .args(arguments)
        .env("DATABASE_URL", url(database))
        .env("EMBERBOOK_DATA", data);
    command.output().expect("it runs")
}

fn told(output: &Output) -> String {
    let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
    text(&output.stdout) + &text(&output.stderr)
}

#[track_caller]
fn assert_ends(output: &Output, code: i32) {
    assert_eq!(output.status.code(), Some(code), "{}", told(output));
}

async fn empty(name: &str) -> String {
    let name = format!("emberbook_e2e_{}_{name}", std::process::id());
    admin(&format!("create database \"{name}\"")).await;
    name
}

#[tokio::test]
async fn a_backup_is_restored_and_audited_and_an_older_one_shows_against_a_kept_head() {
    let programme = small_programme().await;
    let folder = tempfile::tempdir().expect("a folder");
    let data = folder.path();
    let path = |name: &str| data.join(name).to_str().expect("plain").to_owned();
    let database = programme.app.database.clone();
    // The service goes on while it is dumped.
    let older = path("older.dump");
    assert_ends(&run(&database, data, &["backup", &older]), 0);
    let again = run(&database, data, &["backup", &older]);
    assert_ends(&again, 2);
    assert!(
        told(&again).contains("is there already"),
        "{}",
        told(&again)
    );

    let site = json!({"code": "EAST", "name": "A further site"});
    programme.manager.post("/sites", &site).await.ok(201);
    let kept = path("kept.txt");
    let head = programme.manager.get("/trail/checkpoint").await.text();
    std::fs::write(&kept, head).expect("written");
    let newer = path("newer.dump");
    assert_ends(&run(&database, data, &["backup", &newer]), 0);

    let restored = empty("newer").await;
    assert_ends(&run(&restored, data, &["restore", &newer]), 0);
    let audit = ["audit", "--programme", CODE, "--kept", &kept];
    let sound = run(&restored, data, &audit);
    assert_ends(&sound, 0);
    assert!(told(&sound).contains("in order"), "{}", told(&sound));
    let full = run(&restored, data, &["restore", &newer]);
    assert_ends(&full, 2);
    assert!(told(&full).contains("not empty"), "{}", told(&full));

    let stale = empty("older").await;
    assert_ends(&run(&stale, data, &["restore", &older]), 0);
    assert_ends(&run(&stale, data, &["audit"]), 0);
    let cut = run(&stale, data, &audit);
    assert_ends(&cut, 1);
    assert!(told(&cut).contains("history was cut off"), "{}", told(&cut));
    for name in [restored, stale] {
        admin(&format!("drop database \"{name}\" with (force)")).await;
    }
}

#[tokio::test]
async fn the_audit_is_a_command_with_three_ways_to_end() {
    let programme = small_programme().await;
    let folder = tempfile::tempdir().expect("a folder");
    let database = programme.app.database.clone();
    let audit = |arguments: &[&str]| {
        let arguments = [&["audit"], arguments].concat();
        run(&database, folder.path(), &arguments)
    };
    assert_ends(&audit(&[]), 0);
    assert_ends(&audit(&["--programme", "nobody-knows"]), 2);
    assert_ends(&audit(&["--key", "garbage"]), 2);
    assert_ends(&audit(&["--kept", "/nowhere"]), 2);
    // A disk that is turned behind the service's back.
    sqlx::raw_sql(
        "begin; set local session_replication_role = replica;
         update usage_answer set outcome = 'in_use' where outcome = 'not_in_use'; commit",
    )
    .execute(&programme.app.pool)
    .await
    .expect("tampered");
    let plain = audit(&["--programme", CODE]);
    assert_ends(&plain, 1);
    let text = told(&plain);
    assert!(
        text.contains("usage_answer ") && text.contains("NOT in order"),
        "{text}"
    );
    let json = audit(&["--programme", CODE, "--json"]);
    assert_ends(&json, 1);
    let reports: Value = serde_json::from_slice(&json.stdout).expect("JSON");
    let faults = reports[0]["checks"][2]["faults"]
        .as_array()
        .expect("faults");
    let named = |fault: &Value| fault["table"] == "usage_answer" && fault["key"] != "";
    assert!(faults.iter().any(named), "{reports:#}");
    assert!(
        !folder.path().join("log-key.hex").exists(),
        "an audit makes no key"
    );
}
