//! The committed seed folder, sent over HTTP once; its database is then cloned by
//! each test that starts from it.

use super::database::{clone_of, on_its_own_runtime};
use super::programme::TestProgramme;
use super::{App, Setup};
use serde_json::{Value, json};
use std::path::{Path, PathBuf};
use std::sync::LazyLock;

/// What a client has in hand after the main job.
#[derive(Clone)]
pub struct Seeded {
    pub database: String,
    pub code: String,
    pub manager_secret: String,
    pub created: Value,
    /// The answers to the uploads, by file name, in the order they were sent.
    pub batches: Vec<(String, Value)>,
    /// The signed head when only the frame stood.
    pub early_checkpoint: String,
    pub statement: Value,
    /// The statement's exact bytes.
    pub statement_bytes: Vec<u8>,
    /// The export, a `.tar.gz`.
    pub bag: Vec<u8>,
}

static SEEDED: LazyLock<Seeded> = LazyLock::new(|| {
    on_its_own_runtime(async {
        let app = App::start().await;
        let (programme, mut seeded) = do_the_main_job(app).await;
        seeded.database = programme.app.close().await;
        seeded
    })
});

pub fn seeded() -> &'static Seeded {
    &SEEDED
}

/// A server over a copy of the seeded database.
pub async fn seeded_programme() -> TestProgramme {
    let seeded = seeded();
    let database = clone_of(&seeded.database).await;
    let app = App::start_on(database, Setup::default()).await;
    let created = seeded.created.clone();
    TestProgramme::with_secret(app, &seeded.code, created, &seeded.manager_secret)
}

pub fn seed_folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("seed")
}

pub fn seed_file(name: &str) -> Vec<u8> {
    std::fs::read(seed_folder().join(name)).expect(name)
}

/// All that a programme's office does for its first statement, request by request.
pub async fn do_the_main_job(app: App) -> (TestProgramme, Seeded) {
    let file: Value = serde_json::from_slice(&seed_file("programme.json")).expect("JSON");
    let code = file["code"].as_str().expect("a code").to_ascii_lowercase();
    let programme = TestProgramme::found(app, &code).await;
    send_frame(&programme, &file).await;
    let manager = &programme.manager;
    let early_checkpoint = manager.get("/trail/checkpoint").await.text();
    let mut batches = Vec::new();
    for (kind, round, name) in uploads(&file) {
        programme.app.clock.advance_seconds(60);
        let answer = manager
            .upload(&kind, round.as_deref(), seed_file(&name))
            .await;
        batches.push((name, answer.ok(201)));
    }
    let request = json!({"period": file["period"]["code"], "methodology": file["methodology"]});
    let statement = manager.post("/statements", &request).await.ok(201);
    let id = statement["id"].as_str().expect("an id");
    let statement_bytes = manager.get(&format!("/statements/{id}")).await;
    statement_bytes.ok(200);
    let export = manager.get("/export").await;
    assert_eq!(export.status, 200);
    let seeded = Seeded {
        database: programme.app.database.clone(),
        code,
        manager_secret: programme.manager_secret.clone(),
        created: programme.created.clone(),
        batches,
        early_checkpoint,
        statement: statement.clone(),
        statement_bytes: statement_bytes.bytes,
        bag: export.bytes,
    };
    (programme, seeded)
}

async fn send_frame(programme: &TestProgramme, file: &Value) {
    let manager = &programme.manager;
    for site in list(file, "sites") {
        manager.post("/sites", site).await.ok(201);
    }
    for model in list(file, "stove_models") {
        let request = json!({
            "code": model["code"], "version": model["version"], "name": model["name"],
            "device": model["device_class"], "char_making": model["char_making"],
        });
        manager.post("/stove-models", &request).await.ok(201);
    }
    for round in list(file, "rounds") {
        let mut request = round.clone();
        request.as_object_mut().expect("an object").remove("file");
        manager.post("/rounds", &request).await.ok(201);
    }
    manager.post("/periods", &file["period"]).await.ok(201);
}

fn list<'a>(file: &'a Value, name: &str) -> &'a [Value] {
    file[name].as_array().expect(name)
}

/// Kind, round and file of every batch of the seed folder.
fn uploads(file: &Value) -> Vec<(String, Option<String>, String)> {
    let register = [
        ("households", "households.csv"),
        ("deployments", "deployments.csv"),
        ("deployment_ends", "deployment-ends.csv"),
    ]
    .map(|(kind, name)| (kind.to_owned(), None, name.to_owned()));
    let text = |value: &Value| value.as_str().expect("text").to_owned();
    let rounds = list(file, "rounds").iter().map(|round| {
        let kind = match round["kind"].as_str() {
            Some("kitchen_baseline" | "kitchen_project") => "kitchen_test",
            Some("moisture") => "moisture_reading",
            Some(kind) => kind,
            None => panic!("a round without a kind"),
        };
        let code = Some(text(&round["code"]));
        (kind.to_owned(), code, text(&round["file"]))
    });
    register.into_iter().chain(rounds).collect()
}
