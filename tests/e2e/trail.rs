//! The trail over HTTP: dense, canonical, signed, and provable entry by entry and row by row.

use crate::batches::rows;
use crate::support::app::{LOG_KEY_SEED, ORIGIN};
use crate::support::{TestProgramme, programme::HOUSEHOLDS};
use emberbook::trail::canonical::{canonical_json, is_canonical};
use emberbook::trail::checkpoint::Checkpoint;
use emberbook::trail::event::Event;
use emberbook::trail::merkle::{
    Hash, leaf_hash, root_of, sha256, verify_consistency, verify_inclusion,
};
use emberbook::trail::note::NoteSigner;
use serde_json::{Value, json};

fn hash(value: &Value) -> Hash {
    let text = value.as_str().expect("a hash");
    Hash::from_hex(text).expect("a hash")
}

fn path(proof: &Value) -> Vec<Hash> {
    proof["path"]
        .as_array()
        .expect("a path")
        .iter()
        .map(hash)
        .collect()
}

fn number(value: &Value) -> u64 {
    value.as_u64().expect("a number")
}

/// Reads the signed head, checks it, and returns it.
async fn head(programme: &TestProgramme) -> Checkpoint {
    let note = programme.manager.get("/trail/checkpoint").await;
    assert_eq!(note.status, 200);
    assert_eq!(note.header("content-type"), "text/plain; charset=utf-8");
    let name = format!("{ORIGIN}/{}", programme.code);
    let signer = NoteSigner::from_seed(&name, &LOG_KEY_SEED).expect("a key");
    let checkpoint = Checkpoint::open(&note.text(), &[signer.verifier_key()]).expect("signed");
    assert_eq!(checkpoint.origin, name);
    checkpoint
}

/// Checks every entry's form, order, hash and content, and the root over them all;
/// returns the leaf hashes.
pub async fn assert_sound_trail(programme: &TestProgramme) -> Vec<Hash> {
    let entries = programme
        .manager
        .get("/trail/entries?limit=1000")
        .await
        .ok(200);
    let mut leaves = Vec::new();
    let mut last_time = String::new();
    for (sequence, entry) in entries.as_array().expect("entries").iter().enumerate() {
        assert_eq!(entry["sequence"], sequence);
        let leaf = entry["leaf"].as_str().expect("a leaf").as_bytes();
        assert!(is_canonical(leaf));
        let event = Event::parse(leaf).expect("an event");
        assert_eq!(event.sequence, sequence as u64);
        assert_eq!(json!(event.kind), entry["kind"]);
        assert_eq!(json!(event.subject), entry["subject"]);
        assert_eq!(json!(event.actor), entry["actor"]);
        assert_eq!(json!(event.programme), programme.created["programme"]["id"]);
        assert!(event.time >= last_time, "{} after {last_time}", event.time);
        last_time = event.time;
        assert_eq!(leaf_hash(leaf), hash(&entry["leaf_hash"]));
        assert_eq!(event.content, hash(&entry["content_hash"]));
        assert_eq!(entry["content"], Value::Null, "a list carries no contents");
        let read = programme
            .manager
            .get(&format!("/trail/entries/{sequence}"))
            .await
            .ok(200);
        let content = canonical_json(&read["content"]).expect("canonical");
        assert_eq!(sha256(&content), event.content, "{sequence}");
        leaves.push(leaf_hash(leaf));
    }
    let head = head(programme).await;
    assert_eq!(head.size, leaves.len() as u64);
    assert_eq!(head.root, root_of(&leaves));
    leaves
}

#[tokio::test]
async fn entries_are_dense_canonical_and_under_the_signed_head() {
    let programme = TestProgramme::start().await;
    programme.small_register().await;
    // A clock that is set back does not make history run backwards.
    programme.app.clock.advance_seconds(-86_400);
    programme
        .manager
        .upload(
            "households",
            None,
            rows("households", &["HH-9,NORTH,1,1,1,0"]),
        )
        .await
        .ok(201);
    let leaves = assert_sound_trail(&programme).await;
    assert!(leaves.len() > 8);
    let past = programme
        .manager
        .get(&format!("/trail/entries/{}", leaves.len()))
        .await;
    past.problem(404, "not-found");
    let page = programme
        .manager
        .get("/trail/entries?from=2&limit=3")
        .await
        .ok(200);
    let sequences: Vec<u64> = page
        .as_array()
        .expect("a page")
        .iter()
        .map(|e| number(&e["sequence"]))
        .collect();
    assert_eq!(sequences, [2, 3, 4]);
    for limit in ["0", "1001", "x"] {
        let refused = programme
            .manager
            .get(&format!("/trail/entries?limit={limit}"))
            .await;
        refused.problem(422, "invalid-fields");
    }
}

#[tokio::test]
async fn every_entry_is_in_every_tree_that_holds_it() {
    let programme = TestProgramme::start().await;
    programme.small_register().await;
    let leaves = assert_sound_trail(&programme).await;
    let size = leaves.len() as u64;
    for size in 1..=size {
        for index in 0..size {
            let asked = format!("/trail/inclusion?index={index}&size={size}");
            let proof = programme.manager.get(&asked).await.ok(200);
            let leaf = leaves[index as usize];
            let root = root_of(&leaves[..size as usize]);
            assert_eq!(
                (hash(&proof["leaf_hash"]), hash(&proof["root"])),
                (leaf, root)
            );
            verify_inclusion(&leaf, index, size, &path(&proof), &root).expect(&asked);
        }
    }
    let whole = programme
        .manager
        .get("/trail/inclusion?index=0")
        .await
        .ok(200);
    assert_eq!(whole["size"], size);
    for (asked, status, kind) in [
        (format!("index={size}"), 404, "not-found"),
        ("index=0&size=0".to_owned(), 404, "not-found"),
        (format!("index=0&size={}", size + 1), 422, "invalid-fields"),
        ("index=-1".to_owned(), 422, "invalid-fields"),
        (String::new(), 422, "invalid-fields"),
    ] {
        let refused = programme
            .manager
            .get(&format!("/trail/inclusion?{asked}"))
            .await;
        refused.problem(status, kind);
    }
}

#[tokio::test]
async fn every_earlier_tree_is_the_beginning_of_every_later_one() {
    let programme = TestProgramme::start().await;
    programme.small_register().await;
    let leaves = assert_sound_trail(&programme).await;
    let size = leaves.len() as u64;
    for new in 1..=size {
        for old in 1..=new {
            let asked = format!("/trail/consistency?old_size={old}&new_size={new}");
            let proof = programme.manager.get(&asked).await.ok(200);
            let root = |size: u64| root_of(&leaves[..size as usize]);
            assert_eq!(hash(&proof["old_root"]), root(old));
            assert_eq!(hash(&proof["new_root"]), root(new));
            verify_consistency(old, new, &root(old), &root(new), &path(&proof)).expect(&asked);
        }
    }
    for asked in [
        "old_size=0",
        "old_size=2&new_size=1",
        "new_size=3",
        "old_size=1&new_size=999",
    ] {
        let refused = programme
            .manager
            .get(&format!("/trail/consistency?{asked}"))
            .await;
        refused.problem(422, "invalid-fields");
    }
}

#[tokio::test]
async fn every_row_of_a_batch_proves_through_its_batch_to_the_head() {
    let programme = TestProgramme::start().await;
    programme.frame().await;
    let batch = programme
        .manager
        .upload("households", None, HOUSEHOLDS)
        .await
        .ok(201);
    programme
        .manager
        .upload(
            "households",
            None,
            rows("households", &["HH-9,NORTH,1,1,1,0"]),
        )
        .await
        .ok(201);
    let head = head(&programme).await;
    let id = batch["id"].as_str().expect("an id");
    let listed = programme
        .manager
        .get(&format!("/batches/{id}/rows"))
        .await
        .ok(200);
    let listed = listed.as_array().expect("rows");
    assert_eq!(listed.len(), 4);
    for (index, row) in listed.iter().enumerate() {
        let line = number(&row["line"]);
        assert_eq!(line, index as u64 + 2);
        let proof = programme
            .manager
            .get(&format!("/batches/{id}/rows/{line}/proof"))
            .await
            .ok(200);
        let canonical = canonical_json(&row["cells"]).expect("canonical");
        assert_eq!(
            proof["row"].as_str().map(str::as_bytes),
            Some(&canonical[..])
        );
        let leaf = leaf_hash(&canonical);
        assert_eq!(leaf, hash(&row["row_hash"]));
        let inner = &proof["in_batch"];
        let root = hash(&inner["root"]);
        assert_eq!(root, hash(&batch["root"]));
        verify_inclusion(
            &leaf,
            number(&inner["index"]),
            number(&inner["size"]),
            &path(inner),
            &root,
        )
        .expect("the row is in its batch");
        // The batch's own entry names that root, and is under the signed head.
        let sequence = number(&batch["sequence"]);
        let entry = programme
            .manager
            .get(&format!("/trail/entries/{sequence}"))
            .await
            .ok(200);
        assert_eq!(hash(&entry["content"]["root"]), root);
        let outer = &proof["batch_in_trail"];
        let entry_leaf = hash(&entry["leaf_hash"]);
        assert_eq!(
            (number(&outer["index"]), number(&outer["size"])),
            (sequence, head.size)
        );
        verify_inclusion(&entry_leaf, sequence, head.size, &path(outer), &head.root)
            .expect("the batch is in the trail");
    }
    for line in ["1", "6", "0"] {
        let missing = programme
            .manager
            .get(&format!("/batches/{id}/rows/{line}/proof"))
            .await;
        missing.problem(404, "not-found");
    }
    let nobody = "00000000-0000-0000-0000-000000000000";
    for asked in [nobody, "no-uuid"] {
        let missing = programme.manager.get(&format!("/batches/{asked}")).await;
        missing.problem(404, "not-found");
    }
}

#[tokio::test]
async fn a_read_as_of_an_earlier_position_shows_what_was_known_then() {
    let programme = TestProgramme::start().await;
    programme.small_register().await;
    let manager = &programme.manager;
    let households = |position: Option<u64>| async move {
        let asked = position.map_or(String::new(), |p| format!("?as_of={p}"));
        let page = manager.get(&format!("/households{asked}")).await.ok(200);
        page["items"].as_array().map_or(0, Vec::len)
    };
    let first = manager.get("/households/HH-1").await.ok(200);
    let batches = manager.get("/batches").await.ok(200);
    let accepted = number(&batches[0]["sequence"]);
    assert_eq!(households(Some(accepted)).await, 0);
    assert_eq!(households(Some(accepted + 1)).await, 4);
    manager
        .upload(
            "households",
            None,
            rows("households", &["HH-9,NORTH,1,1,1,0"]),
        )
        .await
        .ok(201);
    assert_eq!(households(Some(accepted + 1)).await, 4);
    assert_eq!(households(None).await, 5);
    let before = manager
        .get(&format!("/households/HH-1?as_of={accepted}"))
        .await;
    before.problem(404, "not-found");
    let after = manager
        .get(&format!("/households/HH-1?as_of={}", accepted + 1))
        .await;
    assert_eq!(after.ok(200), first);

    let end = rows("deployment_ends", &["S-1,2024-02-29,2025-08-01,replaced"]);
    let ended = number(&manager.upload("deployment_ends", None, end).await.ok(201)["sequence"]);
    let ends = |position: u64| async move {
        let history = manager
            .get(&format!("/deployments/S-1?as_of={position}"))
            .await
            .ok(200);
        history["ends"].as_array().map_or(0, Vec::len)
    };
    assert_eq!((ends(ended).await, ends(ended + 1).await), (0, 1));
    let beyond = manager.get("/households?as_of=999").await;
    beyond.problem(422, "invalid-fields");
}

#[tokio::test]
async fn pages_of_rows_follow_each_other_without_gap_or_repeat() {
    let programme = TestProgramme::start().await;
    programme.frame().await;
    for batch in 0..3 {
        let lines: Vec<String> = (0..4)
            .map(|n| format!("HH-{batch}-{n},NORTH,1,1,1,0"))
            .collect();
        let lines: Vec<&str> = lines.iter().map(String::as_str).collect();
        programme
            .manager
            .upload("households", None, rows("households", &lines))
            .await
            .ok(201);
    }
    let mut after = String::new();
    let mut found = Vec::new();
    loop {
        let page = programme
            .manager
            .get(&format!("/households?limit=5{after}"))
            .await
            .ok(200);
        for row in page["items"].as_array().expect("rows") {
            found.push(
                row["cells"]["household_code"]
                    .as_str()
                    .expect("a code")
                    .to_owned(),
            );
        }
        match page["next"].as_str() {
            Some(next) => after = format!("&after={next}"),
            None => break,
        }
    }
    let expected: Vec<String> = (0..12).map(|n| format!("HH-{}-{}", n / 4, n % 4)).collect();
    assert_eq!(found, expected);
    let refused = programme.manager.get("/households?after=yesterday").await;
    refused.problem(422, "invalid-fields");
}
