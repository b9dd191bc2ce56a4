//! A small programme with a few rows in every table that is recorded; invented like the seed.

use crate::support::database::{clone_of, on_its_own_runtime};
use crate::support::{Answer, App, Setup, TestProgramme};
use emberbook::seed::{Scale, write_folder};
use serde_json::{Value, json};
use std::sync::LazyLock;

pub struct Small {
    pub database: String,
    pub manager_secret: String,
    /// The latest signed head.
    pub checkpoint: String,
    /// The export, a `.tar.gz`.
    pub bag: Vec<u8>,
}

static SMALL: LazyLock<Small> = LazyLock::new(|| on_its_own_runtime(make()));

pub fn small() -> &'static Small {
    &SMALL
}

pub const CODE: &str = "velora";

/// A server over a copy of the small programme's database.
pub async fn small_programme() -> TestProgramme {
    let database = clone_of(&small().database).await;
    let app = App::start_on(database, Setup::default()).await;
    TestProgramme::with_secret(app, CODE, Value::Null, &small().manager_secret)
}

/// The smallest seed of which no file is without rows.
fn seed_with_rows() -> tempfile::TempDir {
    for (deployments, weighed_households) in [(40, 2), (60, 3), (80, 4), (120, 5), (240, 10)] {
        let scale = Scale {
            deployments,
            kitchens: 6,
            answers_per_age_band: 4,
            weighed_households,
            ..Scale::default()
        };
        for number in 1..20 {
            let folder = tempfile::tempdir().expect("a folder");
            write_folder(folder.path(), &scale, number).expect("a seed");
            let files = std::fs::read_dir(folder.path()).expect("a folder");
            let full = files.map(|file| file.expect("a file").path()).all(|file| {
                let text = std::fs::read_to_string(&file).expect("text");
                text.lines().count() > 1
            });
            if full {
                return folder;
            }
        }
    }
    panic!("a larger scale is needed");
}

async fn make() -> Small {
    let folder = seed_with_rows();
    let app = App::start().await;
    let loaded = app.service.load_seed(folder.path()).await.expect("loaded");
    let secret = loaded.token;
    let programme = TestProgramme::with_secret(app, CODE, Value::Null, &secret);
    correct(&programme).await;
    find(&programme).await;
    let manager = &programme.manager;
    let names = json!({"Kode": "household_code"});
    for names in [&names, &json!({"Code": "household_code"})] {
        let save = manager.request(reqwest::Method::PUT, "/mappings/households");
        Answer::of(save.json(names)).await.ok(200);
    }
    for name in ["ama.n", "kofi.s", "esi.h"] {
        crate::people::add_person(&programme, name, "verifier", None).await;
    }
    let off = json!({"role": "verifier", "disabled": true});
    let change = manager.request(reqwest::Method::POST, "/people/kofi.s/change");
    Answer::of(change.json(&off)).await.ok(200);
    give_an_opinion(&programme).await;
    // An earlier head is kept as well, and two witnesses have cosigned earlier ones.
    assert_eq!(manager.get("/trail/checkpoint").await.status, 200);
    crate::witnesses::cosign_the_head_as(&programme, "one.example", 2).await;
    crate::witnesses::cosign_the_head_as(&programme, "two.example", 3).await;
    manager
        .post("/periods/2025/close", &json!({}))
        .await
        .ok(200);
    let period = json!({"code": "2026", "starts_on": "2026-01-01", "ends_on": "2027-01-01"});
    manager.post("/periods", &period).await.ok(201);
    manager.post("/rounds/wet/close", &json!({})).await.ok(200);
    let checkpoint = manager.get("/trail/checkpoint").await.text();
    let bag = manager.get("/export").await.bytes;
    Small {
        bag,
        database: programme.app.close().await,
        manager_secret: secret,
        checkpoint,
    }
}

/// Two flags with answers; a row superseded, a row excluded, a batch withdrawn and sent again.
async fn correct(programme: &TestProgramme) {
    let manager = &programme.manager;
    let flag = crate::flags::planted_flag(programme).await;
    let answer = json!({"disposition": "stands", "reason": "read again"});
    let path = format!("/flags/{flag}/disposition");
    manager.post(&path, &answer).await.ok(200);
    manager.post(&path, &answer).await.ok(200);
    let header = "household_code,measured_on,fuel,moisture_wb\n";
    let rows = "H-0002,2025-02-02,coconut_husk,0.12\nH-0003,2025-02-02,coconut_husk,0.13\n\
                H-0004,2025-02-02,coconut_husk,0.26\n";
    let send = async |file: String| {
        let sent = manager.upload("moisture_reading", Some("wet"), file).await;
        crate::corrections::id(&sent.ok(201))
    };
    let first = send(format!("{header}{rows}")).await;
    crate::corrections::withdraw(programme, &first)
        .await
        .ok(201);
    let second =
        send(format!("{header}{rows}#").replace('#', "H-0005,2025-02-02,coconut_husk,0.14\n"))
            .await;
    crate::corrections::exclude(programme, &second, 3)
        .await
        .ok(201);
    let cells = json!({"moisture_wb": "0.11"});
    crate::corrections::supersede(programme, &second, 2, cells)
        .await
        .ok(201);
}

/// An opinion on the statement, invented.
async fn give_an_opinion(programme: &TestProgramme) {
    let statements = programme.manager.get("/statements").await.ok(200);
    let id = statements[0]["id"].as_str().expect("a statement");
    let opinion = json!({"body": "Harbour Assurance (invented)", "assurance": "limited",
        "accreditation": "none: invented for a test", "conclusion": "modified",
        "signed_on": "2026-02-03", "document_sha256": "ab".repeat(32)});
    let verifier = programme.client_of("verifier").await;
    let path = format!("/statements/{id}/opinions");
    verifier.post(&path, &opinion).await.ok(201);
}

/// Findings on a period, a household and a row, with a file and an answer.
async fn find(programme: &TestProgramme) {
    let class = "clarification_request";
    let verifier = crate::findings::raise_with_file(programme, class).await;
    for (kind, key) in [("household", "H-0001"), ("deployment", "")] {
        let key = match key {
            "" => deployment(programme).await,
            key => key.to_owned(),
        };
        let new = json!({"class": class, "subject": {"kind": kind, "key": key},
                         "text": "What is it?", "attachments": []});
        verifier.post("/findings", &new).await.ok(201);
    }
    let line = json!({"text": "It is so.", "attachments": []});
    let answer = programme
        .manager
        .post("/findings/F-001/answer", &line)
        .await;
    answer.ok(200);
}

/// Key of a deployment, as findings name it.
async fn deployment(programme: &TestProgramme) -> String {
    let (serial, day): (String, String) =
        sqlx::query_as("select serial, installed_on::text from deployment order by serial limit 1")
            .fetch_one(&programme.app.pool)
            .await
            .expect("a deployment");
    format!("{serial}/{day}")
}
