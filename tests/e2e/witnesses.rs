//! Keys and witnesses: the log's key changes by an entry, and witnesses hold the log to one
//! history by their cosignatures, with the commands that a verifier runs.

use crate::batches::rows;
use crate::support::app::{LOG_KEY_SEED, ORIGIN};
use crate::support::{Client, Setup, TestProgramme};
use emberbook::service::audit::{AuditOptions, AuditReport, audit};
use emberbook::trail::cosignature::{WitnessKey, WitnessSigner, cosignatures, signed_text};
use emberbook::trail::key_change::{KeyChain, KeyChange};
use emberbook::trail::note::{NoteSigner, VerifierKey};
use emberbook::verify::{Options, Report, verify};
use serde_json::{Value, json};
use std::ffi::OsStr;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

fn command<S: AsRef<OsStr>>(name: &str, arguments: impl IntoIterator<Item = S>) -> Output {
    let mut command = Command::new(env!("CARGO_BIN_EXE_emberbook"));
    command.env_clear().arg(name).args(arguments);
    command.output().expect("it runs")
}

fn told(output: &Output) -> String {
    let (out, err) = (&output.stdout, &output.stderr);
    format!(
        "{}{}",
        String::from_utf8_lossy(out),
        String::from_utf8_lossy(err)
    )
}

async fn bag(programme: &TestProgramme, folder: &Path) -> PathBuf {
    let export = programme.manager.get("/export").await;
    assert_eq!(export.status, 200);
    let path = folder.join("bag.tar.gz");
    std::fs::write(&path, &export.bytes).expect("written");
    path
}

fn with_key(path: &Path, key: &VerifierKey, kept: Option<&str>) -> Report {
    let options = Options {
        key: Some(key.clone()),
        kept_checkpoint: kept.map(str::to_owned),
        witnesses: Vec::new(),
    };
    verify(path, &options)
}

async fn add_household(programme: &TestProgramme, code: &str) {
    let line = format!("{code},NORTH,1,1,1,0");
    let file = rows("households", &[&line]);
    let sent = programme.manager.upload("households", None, file).await;
    sent.ok(201);
}

fn size_of(note: &str) -> u64 {
    note.lines()
        .nth(1)
        .expect("a size")
        .parse()
        .expect("a number")
}

#[tokio::test(flavor = "multi_thread")]
async fn a_new_key_takes_over_by_an_entry_and_the_old_one_still_leads_to_the_head() {
    let programme = TestProgramme::start().await;
    programme.small_register().await;
    let manager = &programme.manager;
    let name = format!("{ORIGIN}/{}", programme.code);
    let signer = NoteSigner::from_seed(&name, &LOG_KEY_SEED).expect("a key");
    let first = signer.verifier_key();
    let kept = manager.get("/trail/checkpoint").await.text();
    let old_size = size_of(&kept);

    let changed = programme
        .app
        .service
        .rotate_log_key()
        .await
        .expect("changed");
    assert_eq!(changed.len(), 1);
    assert_eq!(changed[0].old_key, first.to_string());
    assert_eq!(changed[0].sequence, old_size);
    let entry = manager
        .get(&format!("/trail/entries/{old_size}"))
        .await
        .ok(200);
    assert_eq!(entry["kind"], "log-key-changed");
    let note = entry["content"]["note"].as_str().expect("a note");
    let change = KeyChange::open(note).expect("both keys signed it");
    assert_eq!((change.size, &change.old), (old_size, &first));
    assert_eq!(change.new.to_string(), changed[0].new_key);

    // The head is the new key's; what the old one signed is handed out as it was.
    let head = manager.get("/trail/checkpoint").await.text();
    let mut chain = KeyChain::new(first.clone());
    assert!(chain.open(&head).is_err());
    chain.follow(note).expect("it follows");
    assert_eq!(chain.open(&head).expect("signed").1, change.new);
    let again = manager
        .get(&format!("/trail/checkpoints/{old_size}"))
        .await
        .text();
    assert_eq!(again, kept);
    // A checkpoint of an earlier size that nobody had asked for.
    let early = manager.get("/trail/checkpoints/3").await.text();
    assert_eq!(chain.open(&early).expect("signed").0.size, 3);
    let shown = manager.get("").await.ok(200);
    assert_eq!(shown["checkpoint_key"], json!(change.new.to_string()));

    add_household(&programme, "HH-90").await;
    let second = programme
        .app
        .service
        .rotate_log_key()
        .await
        .expect("changed");
    add_household(&programme, "HH-91").await;
    let keys = manager.get("/trail/keys").await.ok(200);
    let keys = keys.as_array().expect("keys");
    assert_eq!(keys.len(), 3);
    assert_eq!(keys[0]["retired_at"], json!(old_size));
    assert_eq!(keys[2]["key"], json!(second[0].new_key));
    assert_eq!(keys[2]["retired_at"], Value::Null);

    let folder = tempfile::tempdir().expect("a folder");
    let path = bag(&programme, folder.path()).await;
    let newest: VerifierKey = second[0].new_key.parse().expect("a key");
    for key in [&first, &change.new, &newest] {
        let report = with_key(&path, key, Some(&kept));
        assert!(report.is_sound(), "{key}: {report}");
        let audited = audited_with(&programme, key, Some(&kept)).await;
        assert!(audited.is_sound(), "{key}: {audited}");
        let led = report
            .remarks
            .iter()
            .any(|each| each.contains("leads to it"));
        assert_eq!(led, *key != newest, "{report}");
    }
    let stranger = NoteSigner::from_seed(&name, &[8; 32]).expect("a key");
    assert!(!with_key(&path, &stranger.verifier_key(), None).is_sound());
    let audited = audited_with(&programme, &stranger.verifier_key(), None).await;
    assert!(audited.to_string().contains("never signed"), "{audited}");
    // A stolen old key can sign no more of what came after it.
    let forged = emberbook::trail::checkpoint::Checkpoint {
        origin: name,
        size: old_size + 1,
        root: emberbook::trail::merkle::leaf_hash(b"forged"),
    };
    let report = with_key(&path, &first, Some(&forged.sign(&signer)));
    assert!(!report.is_sound());
    assert!(report.to_string().contains("put out of force"), "{report}");
    let audited = audited_with(&programme, &first, Some(&forged.sign(&signer))).await;
    assert!(
        audited.to_string().contains("put out of force"),
        "{audited}"
    );
}

/// The audit of the live database, by a reader who holds this key.
async fn audited_with(
    programme: &TestProgramme,
    key: &VerifierKey,
    kept: Option<&str>,
) -> AuditReport {
    let mut connection = programme.app.pool.acquire().await.expect("a connection");
    let options = AuditOptions {
        key: Some(key.clone()),
        kept_checkpoint: kept.map(str::to_owned),
        ..AuditOptions::default()
    };
    let reports = audit(&mut connection, Some(&programme.code), &options).await;
    reports.expect("an audit").pop().expect("a report")
}

#[tokio::test]
async fn a_change_that_broke_off_is_brought_to_its_end_and_a_new_programme_begins_with_the_new_key()
{
    let programme = TestProgramme::start().await;
    let service = &programme.app.service;
    service.rotate_log_key().await.expect("changed");
    let second = crate::support::programme::create_programme(&programme.app, "later-isles").await;
    let keys = programme.manager.get("/trail/keys").await.ok(200);
    let bytes = |key: &Value| {
        let text = key.as_str().expect("a key").to_owned();
        text.rsplit('+').next().expect("its bytes").to_owned()
    };
    let of_second = bytes(&second["programme"]["checkpoint_key"]);
    assert_eq!(of_second, bytes(&keys[1]["key"]));
    // The next change reaches both.
    assert_eq!(service.rotate_log_key().await.expect("changed").len(), 2);
}

/// What a witness of the tests has in hand.
struct Witness {
    folder: tempfile::TempDir,
    key: WitnessKey,
    verifier: Client,
}

impl Witness {
    fn file(&self, name: &str, text: &str) -> PathBuf {
        let path = self.folder.path().join(name);
        std::fs::write(&path, text).expect("written");
        path
    }

    fn cosign(&self, log_key: &str, checkpoint: &Path, more: &[&OsStr]) -> Output {
        let secret = self.folder.path().join("secret.txt");
        let mut arguments = vec![checkpoint.as_os_str(), OsStr::new("--key-file")];
        arguments.extend([
            secret.as_os_str(),
            OsStr::new("--log-key"),
            OsStr::new(log_key),
        ]);
        arguments.extend(more);
        command("cosign", arguments)
    }
}

/// Makes a witness's key by the command, and registers it as a verifier.
async fn witness(programme: &TestProgramme, name: &str) -> Witness {
    let folder = tempfile::tempdir().expect("a folder");
    let secret = folder.path().join("secret.txt");
    let arguments = [
        OsStr::new(name),
        OsStr::new("--key-file"),
        secret.as_os_str(),
    ];
    let made = command("witness-key", arguments);
    assert_eq!(made.status.code(), Some(0), "{}", told(&made));
    let key: WitnessKey = told(&made).trim().parse().expect("a key");
    // The file is the owner's alone, and is never replaced.
    assert_eq!(command("witness-key", arguments).status.code(), Some(2));
    let verifier = programme.client_of("verifier").await;
    let request = json!({"key": key.to_string()});
    let registered = verifier.post("/trail/witnesses", &request).await.ok(201);
    assert_eq!(registered["name"], json!(name));
    Witness {
        folder,
        key,
        verifier,
    }
}

/// The commands take the time of day from the computer: so does this server's clock.
fn today() -> Setup {
    let now = chrono::Utc::now().to_rfc3339_opts(chrono::SecondsFormat::Millis, true);
    Setup {
        now: now.leak(),
        ..Setup::default()
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_witness_cosigns_what_extends_its_kept_checkpoint_and_the_bag_carries_it() {
    let programme = TestProgramme::start_with(today()).await;
    programme.small_register().await;
    let log_key = programme.created["programme"]["checkpoint_key"]
        .as_str()
        .expect("a key");
    let witness = witness(&programme, "auditor.example/one").await;
    let kept_note = programme.manager.get("/trail/checkpoint").await.text();
    add_household(&programme, "HH-90").await;
    let note = programme.manager.get("/trail/checkpoint").await.text();
    let (old, size) = (size_of(&kept_note), size_of(&note));
    let asked = format!("/trail/consistency?old_size={old}&new_size={size}");
    let proof = programme.manager.get(&asked).await.text();
    let (kept, new) = (witness.file("kept", &kept_note), witness.file("new", &note));
    let proof = witness.file("proof.json", &proof);
    let (kept_flag, proof_flag) = (OsStr::new("--kept"), OsStr::new("--proof"));

    // Without the earlier checkpoint, or with a proof of another history, nothing is signed.
    assert_eq!(witness.cosign(log_key, &new, &[]).status.code(), Some(2));
    let wrong = witness.file("wrong.json", r#"{"path": []}"#);
    let more = [kept_flag, kept.as_os_str(), proof_flag, wrong.as_os_str()];
    let refused = witness.cosign(log_key, &new, &more);
    assert_eq!(refused.status.code(), Some(2));
    assert!(
        told(&refused).contains("not cosigned"),
        "{}",
        told(&refused)
    );
    let other_key = NoteSigner::from_seed("other.example", &[1; 32]).expect("a key");
    let other_key = other_key.verifier_key().to_string();
    let more = [kept_flag, kept.as_os_str(), proof_flag, proof.as_os_str()];
    assert_eq!(
        witness.cosign(&other_key, &new, &more).status.code(),
        Some(2)
    );

    let signed = witness.cosign(log_key, &new, &more);
    assert_eq!(signed.status.code(), Some(0), "{}", told(&signed));
    let line = told(&signed);
    let path = format!("/trail/checkpoints/{size}/cosignatures");
    let request = json!({"cosignature": line});
    let taken = witness.verifier.post(&path, &request).await.ok(201);
    assert_eq!(taken["witness"], "auditor.example/one");
    assert_eq!(witness.verifier.post(&path, &request).await.ok(201), taken);
    for address in [
        "/trail/checkpoint".to_owned(),
        format!("/trail/checkpoints/{size}"),
    ] {
        let cosigned = programme.manager.get(&address).await.text();
        assert_eq!(cosigned, format!("{note}{line}"));
        let found = cosignatures(&cosigned, std::slice::from_ref(&witness.key)).expect("it holds");
        assert_eq!(found.len(), 1);
    }
    let listed = programme.manager.get("/trail/cosignatures").await.ok(200);
    assert_eq!(listed, json!([taken]));

    // What follows it is a first visit to another server's copy: said, not assumed.
    let first = witness.cosign(log_key, &new, &[OsStr::new("--first")]);
    assert_eq!(first.status.code(), Some(0), "{}", told(&first));

    let archive = bag(&programme, witness.folder.path()).await;
    let options = |key: &WitnessKey| Options {
        witnesses: vec![key.clone()],
        ..Options::default()
    };
    let report = verify(&archive, &options(&witness.key));
    assert!(report.is_sound(), "{report}");
    let holds =
        format!("cosigned by auditor.example/one: its cosignature on the checkpoint over {size}");
    assert!(report.to_string().contains(&holds), "{report}");
    let another = WitnessSigner::from_seed("auditor.example/two", &[2; 32]).expect("a key");
    let report = verify(&archive, &options(&another.key()));
    assert!(!report.is_sound());
    let key = witness.key.to_string();
    let pinned = [
        archive.as_os_str(),
        OsStr::new("--witness"),
        OsStr::new(&key),
    ];
    let pinned = command("verify", pinned);
    assert_eq!(pinned.status.code(), Some(0), "{}", told(&pinned));
}

/// Registers a witness who cosigns the head.
pub async fn cosign_the_head(programme: &TestProgramme) {
    cosign_the_head_as(programme, "auditor.example", 2).await;
}

/// The same by a witness of this name, with this byte for its secret.
pub async fn cosign_the_head_as(programme: &TestProgramme, name: &str, secret: u8) {
    let verifier = programme.client_of("verifier").await;
    let signer = WitnessSigner::from_seed(name, &[secret; 32]).expect("a key");
    let request = json!({"key": signer.key().to_string()});
    verifier.post("/trail/witnesses", &request).await.ok(201);
    let note = programme.manager.get("/trail/checkpoint").await.text();
    let now = u64::try_from(programme.app.service.time().timestamp()).expect("a time");
    let line = signer.cosign(signed_text(&note).expect("a note"), now);
    let path = format!("/trail/checkpoints/{}/cosignatures", size_of(&note));
    let sent = verifier.post(&path, &json!({"cosignature": line})).await;
    sent.ok(201);
}

#[tokio::test]
async fn a_cosignature_that_does_not_fit_is_refused_and_nothing_is_kept() {
    let programme = TestProgramme::start().await;
    let verifier = programme.client_of("verifier").await;
    let signer = WitnessSigner::from_seed("auditor.example", &[2; 32]).expect("a key");
    let request = json!({"key": signer.key().to_string()});
    verifier.post("/trail/witnesses", &request).await.ok(201);
    let again = programme.manager.post("/trail/witnesses", &request).await;
    again.problem(409, "witness-known");
    for key in [
        "",
        "no key",
        programme.created["programme"]["checkpoint_key"]
            .as_str()
            .unwrap_or(""),
    ] {
        let refused = verifier
            .post("/trail/witnesses", &json!({"key": key}))
            .await;
        refused.problem(422, "invalid-fields");
    }
    let log = format!("{ORIGIN}/{}", programme.code);
    let own = WitnessSigner::from_seed(&log, &[2; 32])
        .expect("a key")
        .key()
        .to_string();
    let refused = verifier
        .post("/trail/witnesses", &json!({"key": own}))
        .await;
    refused.problem(422, "invalid-fields");

    let note = programme.manager.get("/trail/checkpoint").await.text();
    let (text, size) = (signed_text(&note).expect("a note"), size_of(&note));
    let now = u64::try_from(programme.app.service.time().timestamp()).expect("a time");
    let path = |size: u64| format!("/trail/checkpoints/{size}/cosignatures");
    let stranger = WitnessSigner::from_seed("stranger.example", &[3; 32]).expect("a key");
    let good = signer.cosign(text, now);
    for (what, line, place) in [
        ("of another checkpoint", good.clone(), size - 1),
        ("of a stranger", stranger.cosign(text, now), size),
        ("of a time to come", signer.cosign(text, now + 3600), size),
        ("of another text", signer.cosign("text\n", now), size),
        ("two lines", format!("{good}{good}"), size),
        ("no line", "no line".to_owned(), size),
    ] {
        let sent = verifier
            .post(&path(place), &json!({"cosignature": line}))
            .await;
        assert_eq!(sent.status, 422, "{what}: {}", sent.text());
    }
    let beyond = verifier
        .post(&path(size + 1), &json!({"cosignature": good}))
        .await;
    beyond.problem(404, "not-found");
    let not_a_verifier = programme
        .manager
        .post(&path(size), &json!({"cosignature": good}))
        .await;
    not_a_verifier.problem(403, "forbidden");
    assert_eq!(verifier.get("/trail/cosignatures").await.ok(200), json!([]));

    verifier
        .post(&path(size), &json!({"cosignature": good}))
        .await
        .ok(201);
    let later = json!({"cosignature": signer.cosign(text, now - 1)});
    let other = verifier.post(&path(size), &later).await;
    other.problem(409, "cosigned-already");
}
