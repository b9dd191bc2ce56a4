//! The pages of rounds, by forms alone: a plan worked out, opened, framed, drawn and closed.

use crate::people::Browser;
use crate::support::seeded::seeded_programme;

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
    assert!(!list.contains("<script"));

    let worked = browser.send("/rounds/plan", &form("page-1", "0.85")).await;
    assert_eq!(worked.status, 200);
    let worked = worked.text();
    assert!(worked.contains("<b>46</b> must answer"), "{worked}");
    assert!(worked.contains("value=\"page-1\""), "what was typed stays");
    let wrong = browser.send("/rounds/plan", &form("page-1", "often")).await;
    assert_eq!(wrong.status, 422);
    assert!(wrong.text().contains("role=\"alert\""));

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
