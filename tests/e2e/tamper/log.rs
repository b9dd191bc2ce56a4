//! A log replaced by a shorter one or by another branch, each sound in itself and signed by the
//! right key: what only a kept checkpoint can tell.

use super::programme::{CODE, small_programme};
use crate::support::{App, Setup, TestProgramme};
use emberbook::service::audit::{AuditOptions, AuditReport, audit};
use emberbook::verify::{Options, Report, verify};
use serde_json::{Value, json};

async fn export(programme: &TestProgramme) -> Vec<u8> {
    let answer = programme.manager.get("/export").await;
    assert_eq!(answer.status, 200);
    answer.bytes
}

async fn add_site(programme: &TestProgramme, code: &str) {
    let site = json!({"code": code, "name": "A further site"});
    programme.manager.post("/sites", &site).await.ok(201);
}

fn check(bag: &[u8], kept: Option<&str>) -> Report {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("bag.tar.gz");
    std::fs::write(&path, bag).expect("written");
    let options = Options {
        kept_checkpoint: kept.map(str::to_owned),
        ..Options::default()
    };
    verify(&path, &options)
}

async fn audited(programme: &TestProgramme, kept: Option<&str>) -> AuditReport {
    let mut connection = programme.app.pool.acquire().await.expect("a connection");
    let options = AuditOptions {
        kept_checkpoint: kept.map(str::to_owned),
        ..AuditOptions::default()
    };
    let reports = audit(&mut connection, Some(CODE), &options)
        .await
        .expect("an audit");
    assert_eq!(reports.len(), 1);
    reports.into_iter().next().expect("a report")
}

#[track_caller]
fn assert_told(faults: Vec<String>, words: &str) {
    let told = |fault: &String| fault.contains("the kept checkpoint") && fault.contains(words);
    assert!(faults.iter().any(told), "{words:?} not in {faults:?}");
    assert_eq!(faults.len(), 1, "{faults:?}");
}

fn of_bag(report: &Report) -> Vec<String> {
    report.faults().map(ToString::to_string).collect()
}

fn of_audit(report: &AuditReport) -> Vec<String> {
    report.faults().map(ToString::to_string).collect()
}

#[tokio::test]
async fn a_shorter_log_and_a_forked_one_show_against_a_kept_head_alone() {
    let programme = small_programme().await;
    let earlier = export(&programme).await;
    let before = programme.manager.get("/trail/checkpoint").await.text();
    let secret = programme.manager_secret.clone();
    let database = programme.app.close().await;
    // Two servers go on from one database, as after a restore that nobody was told of.
    let other = crate::support::database::clone_of(&database).await;
    let go_on = async |database: String| {
        let app = App::start_on(database, Setup::default()).await;
        TestProgramme::with_secret(app, CODE, Value::Null, &secret)
    };
    let (told, forked) = (go_on(database).await, go_on(other).await);
    add_site(&told, "EAST").await;
    let kept = told.manager.get("/trail/checkpoint").await.text();

    // Cut off: what was told before the site came.
    assert!(check(&earlier, None).is_sound());
    assert!(check(&earlier, Some(&before)).is_sound());
    assert_told(of_bag(&check(&earlier, Some(&kept))), "history was cut off");
    assert!(audited(&forked, None).await.is_sound());
    assert!(audited(&forked, Some(&before)).await.is_sound());
    let cut = audited(&forked, Some(&kept)).await;
    assert_told(of_audit(&cut), "history was cut off");

    // Forked: another site in the place of the first.
    add_site(&forked, "WEST").await;
    let bag = export(&forked).await;
    assert!(check(&bag, None).is_sound());
    assert!(check(&bag, Some(&before)).is_sound());
    assert_told(of_bag(&check(&bag, Some(&kept))), "history was changed");
    assert!(audited(&forked, None).await.is_sound());
    let changed = audited(&forked, Some(&kept)).await;
    assert_told(of_audit(&changed), "history was changed");

    // The branch that was told of fits, also after it went on.
    add_site(&told, "SOUTH").await;
    assert!(check(&export(&told).await, Some(&kept)).is_sound());
    let fits = audited(&told, Some(&kept)).await;
    assert!(fits.is_sound(), "{fits}");
}
