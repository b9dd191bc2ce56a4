//! Opinions of verification bodies: recorded by a verifier alone, shown as what they are.

use super::{flowing, pages, report, statement_id};
use crate::people::{Browser, add_person};
use crate::support::seeded::seeded_programme;
use crate::support::{TestProgramme, seeded};
use emberbook::verify::{Options, verify};
use serde_json::{Value, json};

const BODY: &str = "Harbour Assurance (invented)";

fn opinion() -> Value {
    json!({"body": BODY, "accreditation": "none: invented for a test", "assurance": "limited",
        "conclusion": "modified", "signed_on": "2026-02-03", "document_sha256": "ab".repeat(32)})
}

fn path() -> String {
    format!("/statements/{}/opinions", statement_id())
}

async fn text_of(programme: &TestProgramme) -> Vec<String> {
    let pdf = report(&programme.manager, "pdf", "").await;
    assert_eq!(pdf.status, 200, "{}", pdf.text());
    pages(&pdf.bytes).iter().map(|page| flowing(page)).collect()
}

#[tokio::test]
async fn a_recorded_opinion_stands_on_page_and_report_and_is_never_the_programs_own() {
    let programme = seeded_programme().await;
    let verifier = programme.client_of("verifier").await;
    let refused = programme.manager.post(&path(), &opinion()).await;
    refused.problem(403, "forbidden");
    let recorded = verifier.post(&path(), &opinion()).await.ok(201);
    assert_eq!(recorded["statement_sha256"], seeded().statement["sha256"]);
    let again = verifier.post(&path(), &opinion()).await;
    again.problem(409, "opinion-recorded");
    let listed = programme.manager.get(&path()).await.ok(200);
    assert_eq!(listed, json!([recorded]));

    let pages = text_of(&programme).await;
    let sentence = format!(
        "Opinion recorded by {BODY}: modified, at a level of limited assurance, signed on 2026-02-03"
    );
    assert!(pages[0].contains(&sentence), "{}", pages[0]);
    assert!(pages[0].contains("it has checked neither the document nor the accreditation"));
    for page in &pages {
        assert!(
            page.contains(&format!("Opinion recorded by {BODY}")),
            "{page}"
        );
        assert!(!page.contains("Not verified"), "{page}");
    }

    let password = add_person(&programme, "reader-1", "manager", None).await;
    let mut browser = Browser::new(&programme);
    browser.sign_in("reader-1", &password).await;
    let new = "a longer pass phrase 7";
    let fields = [("current", password.as_str()), ("new", new), ("again", new)];
    browser.send("/account", &fields).await;
    let page = browser
        .get(&format!("/statements/{}", statement_id()))
        .await;
    let page = page.text();
    assert!(page.contains(&sentence), "{page}");
    assert!(page.contains("/report.pdf"), "{page}");
}

#[tokio::test]
async fn the_bag_with_an_opinion_checks_out() {
    let programme = seeded_programme().await;
    let verifier = programme.client_of("verifier").await;
    verifier.post(&path(), &opinion()).await.ok(201);
    let folder = tempfile::tempdir().expect("a folder");
    let bag = folder.path().join("bag.tar.gz");
    std::fs::write(&bag, programme.manager.get("/export").await.bytes).expect("the bag");
    let report = verify(&bag, &Options::default());
    assert!(report.is_sound(), "{report}");
}

#[tokio::test]
async fn an_opinion_that_cannot_be_is_refused_field_by_field() {
    let programme = seeded_programme().await;
    let verifier = programme.client_of("verifier").await;
    for (field, wrong) in [
        ("body", json!("")),
        ("accreditation", json!(" ")),
        ("signed_on", json!("2999-01-01")),
        ("document_sha256", json!("abc")),
        ("document_sha256", json!("zz".repeat(32))),
    ] {
        let mut bent = opinion();
        bent[field] = wrong;
        let problem = verifier.post(&path(), &bent).await;
        let problem = problem.problem(422, "invalid-fields");
        assert_eq!(problem["errors"][0]["field"], field, "{problem}");
    }
    assert_eq!(programme.manager.get(&path()).await.ok(200), json!([]));
}
