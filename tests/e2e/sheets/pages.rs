//! The pages on which a person sends files and names columns.

use super::XLSX;
use crate::people::{Browser, add_person};
use crate::support::programme::HOUSEHOLDS;
use crate::support::{Answer, TestProgramme, census};
use reqwest::Method;

#[tokio::test]
async fn a_person_checks_sends_and_mends_a_file_on_the_pages() {
    let programme = TestProgramme::start().await;
    programme.frame().await;
    let browser = signed_in(&programme).await;
    let page = browser.get("/batches/send").await.text();
    for part in [
        "Check only",
        "/templates/households.xlsx",
        "/templates/households.csv",
    ] {
        assert!(page.contains(part), "{page}");
    }
    let template = browser.get("/templates/households.xlsx").await;
    assert_eq!(template.header("content-type"), XLSX);
    let before = census(&programme.app.pool).await;
    let checked = post_file(&browser, "check", HOUSEHOLDS).await;
    assert!(
        checked.text().contains("4 rows would be accepted"),
        "{}",
        checked.text()
    );
    assert_eq!(census(&programme.app.pool).await, before);
    let refused = post_file(&browser, "accept", &HOUSEHOLDS.replace("HH-1", "=1")).await;
    assert_eq!(refused.status, 422);
    let text = refused.text();
    assert!(text.contains("formula"), "{text}");
    let link = text
        .split("href=\"/batches/rejected/")
        .nth(1)
        .expect("a link");
    let id = link.split('"').next().expect("an id");
    let marked = browser.get(&format!("/batches/rejected/{id}")).await;
    assert!(
        marked.text().starts_with("household_code,"),
        "{}",
        marked.text()
    );
    let accepted = post_file(&browser, "accept", HOUSEHOLDS).await;
    assert!(
        accepted.text().contains("4 rows were added"),
        "{}",
        accepted.text()
    );

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

async fn post_file(browser: &Browser, what: &str, csv: &str) -> Answer {
    let boundary = "sheet-of-the-tests";
    let mut body = String::new();
    for (name, value) in [
        ("kind", "households"),
        ("round", ""),
        ("mapping", ""),
        ("do", what),
    ] {
        body.push_str(&format!(
            "--{boundary}\r\nContent-Disposition: form-data; name=\"{name}\"\r\n\r\n{value}\r\n"
        ));
    }
    body.push_str(&format!(
        "--{boundary}\r\nContent-Disposition: form-data; name=\"file\"; filename=\"h.csv\"\r\n\
         Content-Type: text/csv\r\n\r\n{csv}\r\n--{boundary}--\r\n"
    ));
    let request = browser
        .request(Method::POST, "/batches/send")
        .header(
            "content-type",
            format!("multipart/form-data; boundary={boundary}"),
        )
        .body(body);
    Answer::of(request).await
}
