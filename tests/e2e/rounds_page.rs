//! The pages of rounds, by forms alone: a plan worked out, opened, framed, drawn and closed; and
//! in a real browser, where the arithmetic follows as one types.

use crate::browser::{Driver, overhang, sign_in};
use crate::people::Browser;
use crate::support::Answer;
use crate::support::seeded::seeded_programme;
use fantoccini::{Client, Locator};
use reqwest::Method;
use std::time::Duration;

fn form<'a>(code: &'a str, share: &'a str) -> Vec<(&'static str, &'a str)> {
    vec![
        ("code", code),
        ("kind", "usage_survey"),
        ("starts_on", "2026-09-01"),
        ("ends_on", "2026-10-13"),
        ("purpose", "Share in use <b>"),
        ("unit", "stove"),
        ("frame_on", "2026-01-01"),
        ("design", "stratified"),
        ("by_site", "yes"),
        ("units_in_each", ""),
        ("confidence", "0.90"),
        ("precision", "0.10"),
        ("precision_is", "relative"),
        ("expected_share", share),
        ("expected_mean", ""),
        ("expected_standard_deviation", ""),
        ("design_effect", "1"),
        ("expected_response", "0.9"),
        ("reserve", "2"),
    ]
}

#[tokio::test]
async fn a_round_is_planned_and_drawn_by_forms_without_script() {
    let programme = seeded_programme().await;
    let mut browser = Browser::new(&programme);
    let secret = programme.manager_secret.clone();
    let signed_in = browser.send("/sign-in", &[("token", &secret)]).await;
    assert_eq!(signed_in.status, 303, "{}", signed_in.text());
    let list = browser.get("/rounds").await.text();
    assert!(list.contains("href=\"/rounds/usage-2025\"") && list.contains("Plan a round"));
    // One script of this server, and a policy that lets no other run.
    assert_eq!(list.matches("<script src=\"/assets/").count(), 1);
    assert_eq!(list.matches("<script").count(), 1);
    let policy = browser.get("/rounds").await;
    let policy = policy.header("content-security-policy");
    assert!(policy.contains("script-src 'self'") && !policy.contains("unsafe"));

    let worked = browser.send("/rounds/plan", &form("page-1", "0.85")).await;
    assert_eq!(worked.status, 200);
    let worked = worked.text();
    assert!(worked.contains("<b>46</b> must answer"), "{worked}");
    assert!(worked.contains("value=\"page-1\""), "what was typed stays");
    let wrong = browser.send("/rounds/plan", &form("page-1", "often")).await;
    assert_eq!(wrong.status, 422);
    let wrong = wrong.text();
    assert!(wrong.contains("role=\"alert\""));
    let beside = "id=\"expected_share-fault\">Expected share cannot be read.<";
    assert!(wrong.contains(beside), "{wrong}");
    assert!(wrong.contains("value=\"often\""), "what was typed stays");
    let mut unfit = form("page-1", "0.85");
    unfit.push(("strata", "HILL; 0.5\nVALLEY; 0.9"));
    let unfit = browser.send("/rounds/plan", &unfit).await;
    assert_eq!(unfit.status, 422);
    let said = "id=\"strata-fault\">Strata names VALLEY, which the frame has not";
    assert!(unfit.text().contains(said), "{}", unfit.text());

    let opened = browser.send("/rounds", &form("page-1", "0.85")).await;
    assert_eq!(
        (opened.status, opened.header("location")),
        (303, "/rounds/page-1")
    );
    let page = browser.get("/rounds/page-1").await.text();
    assert!(page.contains("Share in use") && !page.contains("use <b>"));
    assert!(page.contains("Take the frame now") && !page.contains("Fix the seed and draw"));
    let framed = browser.send("/rounds/page-1/frame", &[]).await;
    assert_eq!(framed.status, 303);
    let fields = [("words", "07 14 22"), ("source", "invented for the tests")];
    let seeded = browser.send("/rounds/page-1/seed", &fields).await;
    assert_eq!(seeded.status, 303);
    let again = browser.send("/rounds/page-1/seed", &fields).await;
    assert_eq!(again.status, 409);

    let page = browser.get("/rounds/page-1").await.text();
    let detail = programme.manager.get("/rounds/page-1").await.ok(200);
    for value in [
        &detail["frame"]["record"]["sha256"],
        &detail["seed"]["record"]["seed"],
        &detail["seed"]["record"]["source"],
        &detail["draw"]["record"]["sha256"],
        &detail["units"][0]["unit"],
    ] {
        assert!(page.contains(value.as_str().expect("text")), "{value}");
    }
    let file = browser.get("/rounds/page-1/field-list").await;
    assert!(file.text().starts_with("household_code,serial,site_code,"));
    let closed = browser.send("/rounds/page-1/close", &[]).await;
    assert_eq!(closed.status, 303);
    let page = browser.get("/rounds/page-1").await.text();
    assert!(page.contains("The round is closed"));
    assert!(
        browser
            .get("/rounds")
            .await
            .text()
            .contains("<td data-label=\"State\">closed</td>")
    );
}

/// What the script of the form asks for: the same arithmetic as JSON, nothing written.
#[tokio::test]
async fn the_form_is_answered_in_json_where_that_is_asked_for() {
    let programme = seeded_programme().await;
    let mut browser = Browser::new(&programme);
    let secret = programme.manager_secret.clone();
    browser.send("/sign-in", &[("token", &secret)]).await;
    let before = crate::support::census(&programme.app.pool).await;
    let ask = async |share: &str| {
        let token = browser.form_token().await.expect("a token");
        let mut fields = form("", share);
        fields.push(("form_token", &token));
        let query = reqwest::Url::parse_with_params("http://x/", fields).expect("fields");
        let request = browser
            .request(Method::POST, "/rounds/plan")
            .header("accept", "application/json")
            .header("content-type", "application/x-www-form-urlencoded")
            .body(query.query().unwrap_or_default().to_owned());
        Answer::of(request).await
    };
    let sizes = ask("0.85").await.ok(200);
    assert_eq!(sizes["sizes"]["needed"], "46");
    assert_eq!(sizes["sizes"]["groups"][0][0], "HILL");
    let wrong = ask("often").await;
    let wrong = wrong.ok(422);
    assert!(wrong["sizes"].is_null());
    assert_eq!(
        wrong["faults"]["expected_share"],
        "Expected share cannot be read."
    );
    assert_eq!(crate::support::census(&programme.app.pool).await, before);
}

async fn fill(browser: &Client, id: &str, text: &str) {
    let field = browser.find(Locator::Id(id)).await.expect(id);
    field.clear().await.expect("cleared");
    field.send_keys(text).await.expect("typing");
}

/// Waits until the arithmetic holds some words.
async fn shown(browser: &Client, words: &str) -> String {
    let mut text = String::new();
    for _ in 0..100 {
        let region = browser.find(Locator::Id("arithmetic")).await;
        text = region.expect("the region").text().await.expect("its text");
        if text.contains(words) {
            return text;
        }
        tokio::time::sleep(Duration::from_millis(100)).await;
    }
    panic!("{words:?} is not in {text:?}");
}

#[tokio::test(flavor = "multi_thread")]
async fn the_arithmetic_follows_as_one_types() {
    let programme = seeded_programme().await;
    let address = format!("http://{}", programme.app.address);
    let driver = Driver::start();
    let browser = driver.browser().await;
    sign_in(&browser, &address, &programme.manager_secret).await;
    browser
        .wait()
        .for_element(Locator::Css("nav"))
        .await
        .expect("signed in");
    browser
        .goto(&format!("{address}/rounds"))
        .await
        .expect("rounds");
    // What the form has no use for is not shown.
    let clusters = browser
        .find(Locator::Id("units_in_each"))
        .await
        .expect("it");
    assert!(!clusters.is_displayed().await.expect("an answer"));
    let date = "document.getElementById('frame_on').value = '2026-01-01'";
    browser.execute(date, Vec::new()).await.expect("a day");
    fill(&browser, "expected_share", "0.85").await;
    let text = shown(&browser, "46 must answer").await;
    assert!(text.contains("How the number came about"), "{text}");
    fill(&browser, "precision", "0.05").await;
    // 1.644854^2 N p q / ((N - 1) (0.05 p)^2 + 1.644854^2 p q) = 159.70 for N 970, by hand.
    shown(&browser, "160 must answer").await;
    fill(&browser, "expected_share", "often").await;
    shown(&browser, "Expected share cannot be read.").await;
    let beside = browser.find(Locator::Id("expected_share-fault")).await;
    let beside = beside.expect("it").text().await.expect("its text");
    assert_eq!(beside, "Expected share cannot be read.");
    browser.set_window_size(390, 844).await.expect("a phone");
    assert!(overhang(&browser).await <= 0, "wider than a phone");
    browser.close().await.expect("it closes");
}
