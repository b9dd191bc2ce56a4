//! The command `emberbook verify`, as a process: exit codes and both forms of its answer.

use crate::support::bag::SpoiltBag;
use crate::support::seeded;
use serde_json::Value;
use std::ffi::OsStr;
use std::path::PathBuf;
use std::process::{Command, Output};

fn run<S: AsRef<OsStr>>(arguments: impl IntoIterator<Item = S>) -> Output {
    let mut command = Command::new(env!("CARGO_BIN_EXE_emberbook"));
    // It needs neither a database nor a network, nor anything of the environment.
    command.env_clear().arg("verify").args(arguments);
    command.output().expect("it runs")
}

fn archive(folder: &tempfile::TempDir) -> PathBuf {
    let path = folder.path().join("bag.tar.gz");
    std::fs::write(&path, &seeded().bag).expect("written");
    path
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8_lossy(bytes).into_owned()
}

#[test]
fn a_sound_bag_ends_in_0_under_its_key_and_a_kept_head() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = archive(&folder);
    let kept = folder.path().join("kept.txt");
    std::fs::write(&kept, &seeded().early_checkpoint).expect("written");
    let key = seeded().created["programme"]["checkpoint_key"]
        .as_str()
        .expect("a key");
    let plain = run([&path]);
    assert_eq!(plain.status.code(), Some(0), "{}", text(&plain.stdout));
    for level in ["bag", "trail", "evidence", "files", "draws", "figures"] {
        let told = text(&plain.stdout)
            .lines()
            .any(|line| line.starts_with(level) && line.contains(" ok "));
        assert!(told, "{level}: {}", text(&plain.stdout));
    }
    assert!(text(&plain.stdout).contains("compare it with a copy you trust"));
    let pinned = run([
        path.as_os_str(),
        OsStr::new("--key"),
        OsStr::new(key),
        OsStr::new("--kept"),
        kept.as_os_str(),
        OsStr::new("--json"),
    ]);
    assert_eq!(pinned.status.code(), Some(0), "{}", text(&pinned.stderr));
    let report: Value = serde_json::from_slice(&pinned.stdout).expect("JSON");
    let checks = report["checks"].as_array().expect("checks");
    assert_eq!(checks.len(), 6);
    for check in checks {
        assert!(check["done"].is_string(), "{check}");
        assert_eq!(check["faults"], serde_json::json!([]));
    }
    assert_eq!(report["remarks"], serde_json::json!([]));
}

#[test]
fn a_spoilt_bag_ends_in_1_and_names_the_row() {
    let bag = SpoiltBag::of(&seeded().bag);
    bag.edit_lines("data/register/households.csv", |lines| {
        lines[41] = lines[41].replacen(",H-", ",X-", 1);
    });
    let plain = run([&bag.root]);
    assert_eq!(plain.status.code(), Some(1));
    let told = text(&plain.stdout);
    assert!(told.contains("register/households.csv line 42:"), "{told}");
    assert!(
        told.ends_with("NOT verified: see the faults above\n"),
        "{told}"
    );
    let json = run([bag.root.as_os_str(), OsStr::new("--json")]);
    assert_eq!(json.status.code(), Some(1));
    let report: Value = serde_json::from_slice(&json.stdout).expect("JSON");
    let faults = report["checks"][2]["faults"].as_array().expect("faults");
    assert!(faults.iter().any(|fault| fault["line"] == 42), "{report:#}");
    let missing = run(["/nowhere/bag.tar.gz"]);
    assert_eq!(missing.status.code(), Some(1));
}

#[test]
fn a_wrong_question_ends_in_2_with_a_sentence() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = archive(&folder);
    let path = path.to_str().expect("plain");
    for arguments in [
        vec![],
        vec![path, "--key", "garbage"],
        vec![path, "--kept", "/nowhere/kept.txt"],
        vec![path, "--no-such-option"],
    ] {
        let output = run(&arguments);
        assert_eq!(output.status.code(), Some(2), "{arguments:?}");
        assert!(output.stdout.is_empty(), "{arguments:?}");
        assert!(!output.stderr.is_empty(), "{arguments:?}");
    }
}
