//! The pages on which a person sends files and names columns.

use super::XLSX;
use crate::people::{Browser, add_person};
use crate::support::TestProgramme;
use crate::support::programme::HOUSEHOLDS;
use crate::uploads;

#[tokio::test]
async fn a_person_tries_sends_and_mends_a_file_on_the_pages() {
    let programme = TestProgramme::start().await;
    programme.frame().await;
    let _workers = uploads::workers(&programme, 1);
    let browser = signed_in(&programme).await;
    let page = browser.get("/batches").await.text();
    for part in [
        "Try it without keeping anything",
        "/templates/households.xlsx",
        "/templates/households.csv",
    ] {
        assert!(page.contains(part), "{page}");
    }
    let template = browser.get("/templates/households.xlsx").await;
    assert_eq!(template.header("content-type"), XLSX);
    let before = counts(&programme).await;
    let tried = outcome(&programme, &browser, "yes", HOUSEHOLDS).await;
    assert!(tried.contains("4 rows would be accepted"), "{tried}");
    assert!(!tried.contains("Open the batch"), "{tried}");
    let again = "href=\"/batches?kind=households#send\">Send the file to be kept";
    assert!(tried.contains(again), "{tried}");
    // Tried or not, a refused file names each wrong row and comes back marked.
    for how in ["yes", ""] {
        let wrong = HOUSEHOLDS.replace("HH-1", "=1");
        let refused = outcome(&programme, &browser, how, &wrong).await;
        assert!(refused.contains("formula"), "{refused}");
        let link = refused.split("href=\"/batches/rejected/").nth(1);
        let id = link.expect("a link").split('"').next().expect("an id");
        let marked = browser.get(&format!("/batches/rejected/{id}")).await;
        assert!(
            marked.text().starts_with("household_code,"),
            "{}",
            marked.text()
        );
        let mended = refused.split("href=\"/batches?").nth(1).expect("a link");
        assert_eq!(
            mended.contains("&#38;tried=yes#send"),
            how == "yes",
            "{mended}"
        );
    }
    assert_eq!(counts(&programme).await, before);
    let accepted = outcome(&programme, &browser, "", HOUSEHOLDS).await;
    assert!(accepted.contains("4 rows were added"), "{accepted}");
    assert!(accepted.contains("Open the batch"), "{accepted}");
    let repeated = outcome(&programme, &browser, "", HOUSEHOLDS).await;
    assert!(
        repeated.contains("accepted before; nothing was added"),
        "{repeated}"
    );

    let chosen = browser
        .get("/batches?kind=char_weighing&round=char&mapping=own&tried=yes")
        .await;
    let chosen = chosen.text();
    for part in [
        "value=\"char_weighing\" data-round=\"yes\" selected",
        "value=\"char\" selected",
        "value=\"own\"",
        "value=\"yes\" checked",
    ] {
        assert!(chosen.contains(part), "{chosen}");
    }

    let mut browser = browser;
    let fields = [
        ("kind", "deployment_ends"),
        ("name", "default"),
        ("column:serial", "Numéro"),
    ];
    let saved = browser.send("/batches/columns", &fields).await;
    assert!(saved.text().contains("<b>Saved.</b>"), "{}", saved.text());
    let shown = browser
        .get("/batches/columns?kind=deployment_ends")
        .await
        .text();
    assert!(shown.contains("value=\"Numéro\""), "{shown}");
    let fields = [("kind", "deployment_ends"), ("column:serial", "phone")];
    let refused = browser.send("/batches/columns", &fields).await;
    assert_eq!(refused.status, 422);
    assert!(
        refused.text().contains("telephone number"),
        "{}",
        refused.text()
    );
}

async fn signed_in(programme: &TestProgramme) -> Browser {
    let password = add_person(programme, "desk-1", "manager", None).await;
    let mut browser = Browser::new(programme);
    assert_eq!(browser.sign_in("desk-1", &password).await.status, 303);
    let chosen = "a long enough password of the tests";
    let fields = [
        ("current", password.as_str()),
        ("new", chosen),
        ("again", chosen),
    ];
    browser.send("/account", &fields).await;
    browser
}

/// The page of the job that a file came to.
async fn outcome(programme: &TestProgramme, browser: &Browser, tried: &str, csv: &str) -> String {
    let fields = [
        ("kind", "households"),
        ("round", ""),
        ("mapping", ""),
        ("tried", tried),
    ];
    let sent = uploads::page::send_form(browser, &fields, "h.csv", csv.as_bytes()).await;
    assert_eq!(sent.status, 303, "{}", sent.text());
    let page = sent.header("location").to_owned();
    let id = page.rsplit('/').next().expect("an id");
    uploads::ended(&programme.manager, id).await;
    browser.get(&page).await.text()
}

/// Rows of the record: entries of the trail, batches, households.
async fn counts(programme: &TestProgramme) -> (i64, i64, i64) {
    sqlx::query_as(
        "select (select count(*) from trail_entry), (select count(*) from batch),
                (select count(*) from household)",
    )
    .fetch_one(&programme.app.pool)
    .await
    .expect("counts")
}
