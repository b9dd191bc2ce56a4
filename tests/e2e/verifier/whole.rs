//! A bag of a programme that has used everything: files of each format, own column names,
//! a file sent again, typed rows, corrections, a drawn round, a finding with a file.

use super::independent;
use crate::findings::{FILE, attached_hash, raise_with_file};
use crate::support::bag::SpoiltBag;
use crate::support::seeded::seeded_programme;
use crate::support::{Answer, TestProgramme, census};
use emberbook::trail::merkle::sha256;
use reqwest::Method;
use serde_json::json;
use std::collections::BTreeMap;

const OWN_NAMES: &str = "Kode,site_code,children_0_14,women_over_14,men_15_59,men_over_59\n\
                         W-1,NORTH,1,1,1,0\n";
const WORKBOOK: &str = "household_code,site_code,children_0_14,women_over_14,men_15_59,men_over_59\n\
                        W-2,HILL,0,2,1,0\nW-3,HILL,0,1,0,1\n";
const FORM: &str = "<?xml version='1.0' ?><data id=\"households\" version=\"1\">\
                    <household_code>W-4</household_code><site_code>HILL</site_code>\
                    <children_0_14>2</children_0_14><women_over_14>1</women_over_14>\
                    <men_15_59>1</men_15_59><men_over_59>0</men_over_59>\
                    <meta><instanceID>uuid:w-4</instanceID></meta></data>";

async fn export(programme: &TestProgramme) -> Vec<u8> {
    let export = programme.manager.get("/export").await;
    assert_eq!(export.status, 200, "{}", export.text());
    export.bytes
}

/// Sends a file under this name; the bytes tell its format.
async fn send(programme: &TestProgramme, file_name: &str, file: Vec<u8>) -> String {
    let request = programme.manager.request(Method::POST, "/batches");
    let request = request.query(&[("kind", "households"), ("file_name", file_name)]);
    let request = request.header("Content-Type", "text/csv").body(file);
    crate::corrections::id(&Answer::of(request).await.ok(201))
}

/// Uses everything once, and returns the bytes of the workbook.
async fn use_everything(programme: &TestProgramme) -> Vec<u8> {
    let manager = &programme.manager;
    let save = manager.request(Method::PUT, "/mappings/households");
    let names = json!({"Kode": "household_code"});
    Answer::of(save.json(&names)).await.ok(200);
    let first = send(programme, "own.csv", OWN_NAMES.into()).await;
    crate::corrections::withdraw(programme, &first)
        .await
        .ok(201);
    let again = send(programme, "=1+1|calc", OWN_NAMES.into()).await;
    assert_ne!(again, first);
    let workbook = crate::sheets::workbook(WORKBOOK);
    let rows = send(programme, "+1+1", workbook.clone()).await;
    let cells = json!({"women_over_14": "3"});
    let superseded = crate::corrections::supersede(programme, &rows, 2, cells).await;
    superseded.ok(201);
    let secret = programme.issue("monitor").await;
    let form = crate::forms::send(programme, &secret, FORM).await;
    assert_eq!(form.status, 201, "{}", form.text());
    let typed = json!({"household_code": "W-5", "site_code": "HILL", "children_0_14": 0,
                       "women_over_14": 1, "men_15_59": 0, "men_over_59": 0});
    manager.post("/households", &typed).await.ok(201);
    let round = json!({"code": "lab", "kind": "char_lab", "starts_on": "2026-02-01",
                       "ends_on": "2026-03-01", "design": "=HYPERLINK(\"http://192.0.2.1\")"});
    manager.post("/rounds", &round).await.ok(201);
    crate::rounds::draw_a_round(programme, "usage-2026").await;
    raise_with_file(programme, "clarification_request").await;
    workbook
}

#[tokio::test]
async fn a_bag_of_everything_is_whole_repeatable_and_valid_to_all() {
    let programme = seeded_programme().await;
    let workbook = use_everything(&programme).await;
    let bytes = export(&programme).await;
    assert!(
        bytes == export(&programme).await,
        "two exports at one position differ"
    );
    let bag = SpoiltBag::of(&bytes);
    let report = bag.verify();
    assert!(report.is_sound(), "{report}");

    // What came is there as it came, by its hash; the withdrawn and the second sending share it.
    for sent in [OWN_NAMES.as_bytes(), FORM.as_bytes(), &workbook] {
        let name = format!("data/files/{}", sha256(sent));
        assert_eq!(bag.read(&name), sent);
        let listed = String::from_utf8(bag.read("data/batches.csv")).expect("text");
        let times = listed.matches(&name).count();
        assert_eq!(times, if sent == OWN_NAMES.as_bytes() { 2 } else { 1 });
    }
    let attached = format!("data/attachments/{}", attached_hash());
    assert_eq!(bag.read(&attached), FILE);
    let kept = bag.files();
    let kept = kept.iter().filter(|file| file.starts_with("data/files/"));
    let files: i64 = sqlx::query_scalar("select count(*) from uploaded_file")
        .fetch_one(&programme.app.pool)
        .await
        .expect("a count");
    assert_eq!(kept.count() as i64, files);
    // The typed row and the corrected one came in no file.
    let batches = table(&bag, "data/batches.csv");
    let without = batches.iter().filter(|row| row["file"].is_empty());
    assert_eq!(without.count(), 2);

    no_formulas(&bag);
    for script in ["check_bagit.py", "check_tables.py", "check_provenance.py"] {
        independent::passes(script, &bag);
    }
    // Rows that came later change nothing of the statement.
    independent::passes("recompute.py", &bag);
}

fn table(bag: &SpoiltBag, file: &str) -> Vec<BTreeMap<String, String>> {
    let bytes = bag.read(file);
    let mut csv = csv::Reader::from_reader(bytes.as_slice());
    csv.deserialize().map(|row| row.expect("a row")).collect()
}

/// OWASP's rule for CSV: no cell begins with = + - @ tab or carriage return, but for numbers.
fn no_formulas(bag: &SpoiltBag) {
    let mut neutralised = 0;
    for file in bag.files().iter().filter(|file| file.ends_with(".csv")) {
        for row in table(bag, file) {
            for (column, cell) in row {
                let starts = cell.starts_with(['=', '+', '-', '@', '\t', '\r']);
                assert!(
                    !starts || cell.parse::<f64>().is_ok(),
                    "{file} {column}: {cell}"
                );
                neutralised += u64::from(cell.starts_with('\''));
            }
        }
    }
    assert_eq!(neutralised, 3, "two file names and a design");
}

#[tokio::test]
async fn a_file_that_is_refused_or_only_tried_is_not_kept() {
    let programme = TestProgramme::start().await;
    programme.small_register().await;
    let before = census(&programme.app.pool).await;
    assert_eq!(before["uploaded_file"].0, 2);
    let refused = programme
        .manager
        .upload("households", None, OWN_NAMES)
        .await;
    refused.problem(422, "rejected-batch");
    let good = OWN_NAMES.replace("Kode", "household_code");
    let tried = programme.manager.upload_request("households", None, good);
    Answer::of(tried.query(&[("dry_run", "true")]))
        .await
        .ok(200);
    assert_eq!(census(&programme.app.pool).await, before);
}
