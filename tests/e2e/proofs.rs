//! Proofs over HTTP: of every kind of record, of a figure down to its rows, as documents
//! and as files; how long they may be kept; who is given hashes alone; and that many who
//! append at once lose and reorder nothing.

use crate::corrections::{exclude, id};
use crate::findings::raise_with_file;
use crate::support::seeded::seeded_programme;
use crate::support::{Answer, Client, TestProgramme, seeded};
use ct_merkle::mem_backed_tree::MemoryBackedTree;
use emberbook::trail::note::VerifierKey;
use emberbook::trail::proof_file;
use emberbook::verify::Options;
use emberbook::verify::proof::{check, check_file};
use reqwest::Method;
use serde_json::{Value, json};

fn pinned(programme: &TestProgramme) -> Options {
    let key = programme.created["programme"]["checkpoint_key"].as_str();
    let key: VerifierKey = key.and_then(|key| key.parse().ok()).expect("a key");
    Options {
        key: Some(key),
        ..Options::default()
    }
}

async fn proof(client: &Client, record: &str, key: &str) -> Answer {
    let request = client.request(Method::GET, "/trail/proof");
    Answer::of(request.query(&[("record", record), ("key", key)])).await
}

fn text(value: &Value) -> &str {
    value.as_str().expect("a text")
}

#[tokio::test(flavor = "multi_thread")]
async fn every_kind_of_record_is_proved_in_one_document_that_is_checked_alone() {
    let programme = seeded_programme().await;
    let manager = &programme.manager;
    let options = pinned(&programme);
    raise_with_file(&programme, "clarification_request").await;
    let (_, batch) = &seeded().batches[0];
    let kitchen = seeded()
        .batches
        .iter()
        .find(|(name, _)| name == "kitchen-project.csv");
    let kitchen = id(&kitchen.expect("a batch").1);
    let correction = exclude(&programme, &kitchen, 2).await.ok(201);
    let corrected = correction["sequence"].to_string();
    let first = |list: &Value, member: &str| text(&list[0][member]).to_owned();
    let sites = manager.get("/sites").await.ok(200);
    let rounds = manager.get("/rounds").await.ok(200);
    let records = [
        ("entry", "0".to_owned(), 1),
        ("batch", id(batch), 1),
        ("row", format!("{}/2", id(batch)), 1),
        ("row", format!("{kitchen}/2"), 2),
        ("factor", "gwp-ar5-100-ch4@1".to_owned(), 1),
        ("statement", text(&seeded().statement["id"]).to_owned(), 1),
        ("finding", "F-001".to_owned(), 1),
        ("period", "2025".to_owned(), 1),
        ("round", first(&rounds, "code"), 1),
        ("site", first(&sites, "code"), 1),
        ("correction", corrected, 1),
    ];
    for (record, key, least) in records {
        let answer = proof(manager, record, &key).await;
        let document = answer.ok(200);
        let entries = document["entries"].as_array().expect("entries");
        assert!(entries.len() >= least, "{record} {key}: {}", entries.len());
        let report = check(&answer.bytes, &options);
        assert!(report.is_sound(), "{record} {key}: {report}");

        // As a C2SP proof file too, which brings the entry along.
        let request = manager.request(Method::GET, "/trail/proof-file");
        let file = Answer::of(request.query(&[("record", record), ("key", &*key)])).await;
        assert_eq!(file.status, 200);
        let report = check_file(&file.bytes, None, &options);
        assert!(report.is_sound(), "{record} {key}: {report}");
        let parsed = proof_file::parse(&file.text()).expect("a proof file");
        assert_eq!(json!(parsed.index), entries[0]["sequence"]);
    }
    for (record, key) in [
        ("entry", "999999"),
        ("entry", "x"),
        ("batch", "00000000-0000-0000-0000-000000000000"),
        ("row", "no row"),
        ("factor", "no-such@1"),
        ("finding", "F-999"),
        ("correction", "0"),
        ("site", "no such site"),
    ] {
        proof(manager, record, key).await.problem(404, "not-found");
    }
    proof(manager, "moon", "1")
        .await
        .problem(422, "invalid-fields");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_figure_is_proved_down_to_the_hashes_of_its_rows_and_a_bent_proof_is_not() {
    let programme = seeded_programme().await;
    let options = pinned(&programme);
    let statement = text(&seeded().statement["id"]);
    let path = format!("/statements/{statement}/proof?figure=reductions_co2e");
    let answer = programme.manager.get(&path).await;
    let document = answer.ok(200);
    let report = check(&answer.bytes, &options);
    assert!(report.is_sound(), "{report}");
    println!("{report}");
    let figure = &document["figure"];
    assert!(figure["nodes"].as_array().expect("nodes").len() > 10);
    assert!(figure["factors"].as_object().expect("factors").len() > 3);
    assert!(figure["batches"].as_array().expect("batches").len() > 3);
    let report = check(&answer.bytes, &Options::default());
    assert!(report.is_sound() && report.remarks.len() >= 2, "{report}");

    type Bend = fn(&mut Value);
    let bends: [(&str, Bend); 9] = [
        ("a row hash", |d| {
            let hash = &mut d["figure"]["batches"][0]["row_hashes"][0];
            *hash = json!("00".repeat(32));
        }),
        ("a missing row", |d| {
            let hashes = d["figure"]["batches"][0]["row_hashes"].as_array_mut();
            hashes.expect("hashes").pop();
        }),
        ("a missing batch", |d| {
            d["figure"]["batches"]
                .as_array_mut()
                .expect("batches")
                .pop();
        }),
        ("a missing node", |d| {
            d["figure"]["nodes"]
                .as_array_mut()
                .expect("nodes")
                .remove(0);
        }),
        ("a missing factor", |d| {
            let factors = d["figure"]["factors"].as_object_mut().expect("factors");
            let first = factors.keys().next().expect("one").clone();
            factors.remove(&first);
        }),
        ("another figure", |d| {
            d["figure"]["figure"] = json!("removals_co2")
        }),
        ("a statement", |d| {
            for entry in d["entries"].as_array_mut().expect("entries") {
                let content = text(&entry["content"]).replace("\"kg", "\"t");
                entry["content"] = json!(content);
            }
        }),
        ("a path", |d| {
            d["entries"][0]["path"][0] = json!("11".repeat(32))
        }),
        ("a checkpoint", |d| {
            let note = text(&d["checkpoint"]).replacen('\n', "x\n", 1);
            d["checkpoint"] = json!(note);
        }),
    ];
    for (what, bend) in bends {
        let mut bent = document.clone();
        bend(&mut bent);
        assert_ne!(bent, document, "{what} changed nothing");
        let report = check(&serde_json::to_vec(&bent).expect("JSON"), &options);
        assert!(!report.is_sound(), "{what}: {report}");
    }
    let path = format!("/statements/{statement}/proof?figure=no-such");
    programme.manager.get(&path).await.problem(404, "not-found");

    // The command says the same as the function.
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("proof.json");
    std::fs::write(&file, &answer.bytes).expect("written");
    let run = std::process::Command::new(env!("CARGO_BIN_EXE_emberbook"))
        .arg("verify-proof")
        .arg(&file)
        .output()
        .expect("it runs");
    assert_eq!(run.status.code(), Some(0));
    assert!(String::from_utf8_lossy(&run.stdout).contains("verified: every hash"));
    std::fs::write(&file, b"{}").expect("written");
    let run = std::process::Command::new(env!("CARGO_BIN_EXE_emberbook"))
        .arg("verify-proof")
        .arg(&file)
        .output()
        .expect("it runs");
    assert_eq!(run.status.code(), Some(1));
}

#[tokio::test]
async fn whoever_is_bound_to_sites_is_given_hashes_alone() {
    let programme = TestProgramme::start().await;
    programme.small_register().await;
    let manager = &programme.manager;
    let request = json!({"role": "monitor", "label": "north", "sites": ["NORTH"]});
    let token = manager.post("/tokens", &request).await.ok(201);
    let bound = programme.stranger().with_token(text(&token["secret"]));
    let batches = manager.get("/batches").await.ok(200);
    let batch = text(&batches[0]["id"]).to_owned();
    let row = format!("{batch}/2");
    let answer = proof(&bound, "row", &row).await;
    let document = answer.ok(200);
    for entry in document["entries"].as_array().expect("entries") {
        assert_eq!(
            (&entry["leaf"], &entry["content"]),
            (&Value::Null, &Value::Null)
        );
    }
    assert!(check(&answer.bytes, &pinned(&programme)).is_sound());
    let told = proof(manager, "row", &row).await.ok(200);
    assert!(told["entries"][0]["leaf"].is_string());
    for (record, key) in [("entry", "0"), ("site", "NORTH"), ("round", "usage")] {
        proof(&bound, record, key).await.problem(403, "forbidden");
    }
    let request = bound.request(Method::GET, "/trail/proof-file");
    let file = Answer::of(request.query(&[("record", "batch"), ("key", &*batch)])).await;
    assert_eq!(file.status, 200);
    assert!(!file.text().contains("extra "));
}

#[tokio::test]
async fn what_never_changes_may_be_kept_and_heads_are_asked_for_again() {
    let programme = TestProgramme::start().await;
    let manager = &programme.manager;
    for path in [
        "/trail/entries/0",
        "/trail/entries?limit=2",
        "/trail/inclusion?index=0&size=3",
        "/trail/consistency?old_size=1&new_size=3",
    ] {
        let answer = manager.get(path).await;
        assert_eq!(answer.status, 200);
        let policy = answer.header("cache-control");
        assert_eq!(policy, "private, max-age=31536000, immutable", "{path}");
        assert_eq!(answer.header("vary"), "authorization");
    }
    for path in [
        "/trail/checkpoint",
        "/trail/checkpoints/2",
        "/trail/inclusion?index=0",
        "/trail/consistency?old_size=1",
        "/trail/entries",
        "/trail/proof?record=entry&key=0",
    ] {
        let answer = manager.get(path).await;
        assert_eq!(
            answer.header("cache-control"),
            "private, no-cache",
            "{path}"
        );
        let tag = answer.header("etag").to_owned();
        let request = manager.request(Method::GET, path);
        let same = Answer::of(request.header("If-None-Match", &tag)).await;
        assert_eq!((same.status, same.bytes.len()), (304, 0), "{path}");
    }
    let tag = manager
        .get("/trail/checkpoint")
        .await
        .header("etag")
        .to_owned();
    let site = json!({"code": "NEW", "name": "New"});
    manager.post("/sites", &site).await.ok(201);
    let request = manager.request(Method::GET, "/trail/checkpoint");
    let moved = Answer::of(request.header("If-None-Match", &tag)).await;
    assert_eq!(moved.status, 200);
}

/// Who append at once, and how often each.
const WRITERS: usize = 64;
const APPENDS: usize = 3;

#[tokio::test(flavor = "multi_thread")]
async fn sixty_four_who_append_at_once_lose_and_reorder_nothing() {
    let programme = TestProgramme::start().await;
    let manager = programme.manager.clone();
    let before = manager.get("/trail/entries?limit=1000").await.ok(200);
    let before = before.as_array().expect("entries").len();
    let mut writers = tokio::task::JoinSet::new();
    for writer in 0..WRITERS {
        let manager = manager.clone();
        writers.spawn(async move {
            for turn in 0..APPENDS {
                let code = format!("W{writer:02}-{turn}");
                let site = json!({"code": code, "name": code});
                manager.post("/sites", &site).await.ok(201);
            }
        });
    }
    while let Some(done) = writers.join_next().await {
        done.expect("a writer");
    }
    let entries = manager.get("/trail/entries?limit=1000").await.ok(200);
    let entries = entries.as_array().expect("entries");
    assert_eq!(entries.len(), before + WRITERS * APPENDS);
    // Dense, and each writer's own in the order in which it sent them.
    let mut tree = MemoryBackedTree::<sha2::Sha256, Vec<u8>>::new();
    let mut next = vec![0; WRITERS];
    for (sequence, entry) in entries.iter().enumerate() {
        assert_eq!(entry["sequence"], json!(sequence));
        tree.push(text(&entry["leaf"]).as_bytes().to_vec());
        let Some((writer, turn)) = text(&entry["subject"])
            .strip_prefix('W')
            .and_then(|code| code.split_once('-'))
        else {
            continue;
        };
        if entry["kind"] != "site-added" {
            continue;
        }
        let writer: usize = writer.parse().expect("a writer");
        assert_eq!(turn.parse(), Ok(next[writer]), "writer {writer}");
        next[writer] += 1;
    }
    assert_eq!(next, vec![APPENDS; WRITERS]);
    // The root is that of a tree that an independent library makes of the same leaves.
    let root = hex::encode(tree.root().as_bytes());
    let proof = manager.get("/trail/inclusion?index=0").await.ok(200);
    assert_eq!(proof["root"], json!(root));
    assert_eq!(proof["size"], json!(entries.len()));
    // Every perfect subtree is stored once: 2n less the bits of n.
    let stored: i64 = sqlx::query_scalar("select count(*) from trail_node")
        .fetch_one(&programme.app.pool)
        .await
        .expect("a count");
    let size = entries.len() as i64;
    assert_eq!(stored, 2 * size - i64::from(size.count_ones()));
}
