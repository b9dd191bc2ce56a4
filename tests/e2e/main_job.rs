//! The main job: from the files of the field to a statement whose every figure opens,
//! and to a bag that checks out without the program's database.

use crate::support::app::{LOG_KEY_SEED, ORIGIN};
use crate::support::seeded::{do_the_main_job, seed_file, seeded_programme};
use crate::support::{App, Setup, seeded};
use emberbook::accounting::statement::Statement;
use emberbook::trail::note::{NoteSigner, VerifierKey};
use emberbook::verify::{Options, verify};
use rust_decimal::Decimal;
use std::collections::BTreeSet;

fn statement() -> Statement {
    serde_json::from_slice(&seeded().statement_bytes).expect("a statement")
}

/// Rows of a file, its header apart.
fn row_count(name: &str) -> u64 {
    let bytes = seed_file(name);
    let lines = bytes.iter().filter(|byte| **byte == b'\n').count();
    lines as u64 - 1
}

#[tokio::test]
async fn every_file_of_the_seed_is_accepted_whole_and_in_order() {
    let batches = &seeded().batches;
    assert_eq!(batches.len(), 14);
    let mut last = 0;
    for (name, batch) in batches {
        assert_eq!(batch["rows"], row_count(name), "{name}");
        assert_eq!(batch["repeated"], false, "{name}");
        let sha256 = emberbook::trail::merkle::sha256(&seed_file(name)).to_string();
        assert_eq!(batch["file_sha256"], sha256, "{name}");
        let sequence = batch["sequence"].as_u64().expect("a sequence");
        assert!(sequence > last, "{name}");
        last = sequence;
    }
}

#[tokio::test]
async fn the_downloaded_bag_is_sound_under_the_key_of_the_log() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("bag.tar.gz");
    std::fs::write(&path, &seeded().bag).expect("the bag");
    let name = format!("{ORIGIN}/{}", seeded().code);
    let key = NoteSigner::from_seed(&name, &LOG_KEY_SEED)
        .expect("a key")
        .verifier_key();
    let published: VerifierKey = seeded().created["programme"]["checkpoint_key"]
        .as_str()
        .and_then(|key| key.parse().ok())
        .expect("a key");
    assert_eq!(published, key);
    let options = Options {
        key: Some(key),
        kept_checkpoint: Some(seeded().early_checkpoint.clone()),
        witnesses: Vec::new(),
    };
    let report = verify(&path, &options);
    assert!(report.is_sound(), "{report}");
    assert_eq!(report.remarks, [""; 0]);

    let other = NoteSigner::from_seed(&name, &[8; 32]).expect("a key");
    let pinned = Options {
        key: Some(other.verifier_key()),
        kept_checkpoint: None,
        witnesses: Vec::new(),
    };
    assert!(!verify(&path, &pinned).is_sound());
}

#[tokio::test]
async fn every_figure_is_a_node_with_the_same_value_and_a_way_down_to_its_sources() {
    let statement = statement();
    assert!(statement.figures.len() > 20);
    let mut seen: BTreeSet<&str> = BTreeSet::new();
    for node in &statement.trace.nodes {
        for input in &node.inputs {
            assert!(seen.contains(input.as_str()), "{} before {input}", node.id);
        }
        assert!(seen.insert(&node.id), "{} stands twice", node.id);
    }
    for figure in &statement.figures {
        let node = statement.trace.node(&figure.node).expect(&figure.node);
        assert_eq!(node.unit, figure.unit, "{}", figure.id);
        assert!(figure.lower <= figure.value, "{}", figure.id);
        assert!(figure.value <= figure.upper, "{}", figure.id);
        let apart = (node.value - figure.value).abs();
        assert!(
            apart <= node.value.abs() * Decimal::new(1, 3),
            "{}",
            figure.id
        );
    }
}

#[tokio::test]
async fn no_claim_is_above_its_point_estimate_and_the_two_are_never_added() {
    let statement = statement();
    let value = |id: &str| statement.figure(id).expect(id).value;
    let claims = &statement.claims;
    assert_eq!(claims.reductions.figure, "reductions_co2e");
    assert_eq!(claims.removals.figure, "removals_co2");
    assert!(claims.reductions.tonnes.tonnes() > 0);
    assert!(Decimal::from(claims.reductions.tonnes.tonnes()) <= value("reductions_co2e"));
    assert!(claims.removals.tonnes.tonnes() > 0);
    assert!(Decimal::from(claims.removals.tonnes.tonnes()) <= value("removals_co2"));
    let sum = value("reductions_co2e") + value("removals_co2");
    let units = ["tCO2e", "tCO2"];
    for figure in statement
        .figures
        .iter()
        .filter(|f| units.contains(&f.unit.as_str()))
    {
        assert_ne!(figure.value, sum, "{}", figure.id);
    }
}

#[tokio::test]
async fn the_trace_opens_a_node_with_what_it_stands_on() {
    let programme = seeded_programme().await;
    let id = seeded().statement["id"].as_str().expect("an id");
    let statement = statement();
    let path = format!("/statements/{id}/trace");
    let whole = programme.manager.get(&path).await.ok(200);
    assert_eq!(
        whole["nodes"].as_array().map(Vec::len),
        Some(statement.trace.nodes.len())
    );
    for figure in &statement.figures {
        let node = statement.trace.node(&figure.node).expect(&figure.node);
        let opened = programme
            .manager
            .get(&format!("{path}?node={}", figure.node))
            .await
            .ok(200);
        let nodes = opened["nodes"].as_array().expect("nodes");
        let ids: BTreeSet<&str> = nodes.iter().filter_map(|n| n["id"].as_str()).collect();
        let mut expected: BTreeSet<&str> = node.inputs.iter().map(String::as_str).collect();
        expected.insert(&node.id);
        assert_eq!(ids, expected, "{}", figure.id);
        let last = nodes.last().expect("a node");
        assert_eq!(last["id"], figure.node, "what it stands on comes first");
    }
    let missing = programme.manager.get(&format!("{path}?node=no/such")).await;
    missing.problem(404, "not-found");
}

#[tokio::test]
async fn the_same_job_on_another_day_gives_the_same_statement_byte_for_byte() {
    let setup = Setup {
        now: "2031-12-31T23:59:59.001Z",
        ..Setup::default()
    };
    let (_, again) = do_the_main_job(App::start_with(setup).await).await;
    assert_eq!(again.statement["sha256"], seeded().statement["sha256"]);
    assert_eq!(again.statement["id"], seeded().statement["id"]);
    assert!(again.statement_bytes == seeded().statement_bytes);
    let ids = |seeded: &crate::support::seeded::Seeded| -> Vec<String> {
        let batches = seeded.batches.iter();
        batches.map(|(_, batch)| batch["id"].to_string()).collect()
    };
    assert_eq!(ids(&again), ids(seeded()));
    // The trail tells the other day, so the two bags are not the same.
    assert_ne!(again.bag, seeded().bag);
}

#[tokio::test]
async fn two_exports_at_one_position_are_the_same_bytes() {
    let programme = seeded_programme().await;
    let again = programme.manager.get("/export").await;
    assert_eq!(again.header("content-type"), "application/gzip");
    assert!(again.bytes == seeded().bag);
}
