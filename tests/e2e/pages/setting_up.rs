//! A new programme from its first page to a stated and closed period, by forms without script.

use crate::people::Browser;
use crate::support::TestProgramme;
use crate::support::seeded::seeded_programme;

#[tokio::test]
async fn a_new_programme_is_told_what_to_do_next_and_does_it_by_forms() {
    let programme = TestProgramme::start().await;
    let mut browser = Browser::new(&programme);
    let secret = programme.manager_secret.clone();
    browser.send("/sign-in", &[("token", &secret)]).await;
    let first = browser.get("/").await.text();
    for step in [
        "Add the first site",
        "Add the first stove model",
        "Send the list of households",
        "Open the first round",
        "Open the first monitoring period",
    ] {
        assert!(first.contains(step), "{step}: {first}");
    }

    let refused = browser
        .send("/sites", &[("code", "North Shore"), ("name", "North <b>")])
        .await;
    assert_eq!(refused.status, 422);
    let refused = refused.text();
    assert!(refused.contains("id=\"code-fault\"") && refused.contains("aria-invalid"));
    assert!(refused.contains("value=\"North Shore\"") && refused.contains("North &#60;b&#62;"));
    let site = [("code", "NORTH"), ("name", "North Shore")];
    assert_eq!(browser.send("/sites", &site).await.status, 303);
    let twice = browser.send("/sites", &site).await;
    assert_eq!(twice.status, 409, "{}", twice.text());

    let mut model = vec![
        ("code", "G1"),
        ("version", "first"),
        ("name", "First gasifier"),
        ("device", "gasifier"),
        ("char_making", "yes"),
    ];
    let refused = browser.send("/stove-models", &model).await;
    assert_eq!(refused.status, 422);
    assert!(refused.text().contains("id=\"version-fault\""));
    model[1] = ("version", "1");
    assert_eq!(browser.send("/stove-models", &model).await.status, 303);
    let page = browser.get("/sites").await.text();
    assert!(page.contains("North Shore") && page.contains("First gasifier"));
    let next = browser.get("/").await.text();
    assert!(!next.contains("Add the first site") && next.contains("Send the list of households"));
}

#[tokio::test]
async fn a_period_is_opened_stated_and_closed_by_forms() {
    let programme = seeded_programme().await;
    let mut browser = Browser::new(&programme);
    let secret = programme.manager_secret.clone();
    browser.send("/sign-in", &[("token", &secret)]).await;

    let wrong = [
        ("code", "2024"),
        ("starts_on", "2024-01-01"),
        ("ends_on", "soon"),
    ];
    let refused = browser.send("/periods", &wrong).await;
    assert_eq!(refused.status, 422);
    assert!(refused.text().contains("id=\"ends_on-fault\""));
    let period = [
        ("code", "2024"),
        ("starts_on", "2024-01-01"),
        ("ends_on", "2025-01-01"),
    ];
    let opened = browser.send("/periods", &period).await;
    assert_eq!(
        (opened.status, opened.header("location")),
        (303, "/statements")
    );
    let later = [
        ("code", "2027"),
        ("starts_on", "2027-01-01"),
        ("ends_on", "2028-01-01"),
    ];
    browser.send("/periods", &later).await;

    let early = [
        ("period", "2027"),
        ("methodology", "kitchen-test-households@1"),
    ];
    let early = browser.send("/statements", &early).await;
    assert_eq!(early.status, 422);
    assert!(early.text().contains("can be stated from that day on"));

    let without = [
        ("period", "2024"),
        ("methodology", "kitchen-test-households@1"),
    ];
    let without = browser.send("/statements", &without).await;
    assert_eq!(without.status, 422);
    let without = without.text();
    assert!(
        without.contains("The project group has 0 kitchens"),
        "{without}"
    );
    assert!(without.contains("<option value=\"2024\" selected>"));

    let made = [
        ("period", "2025"),
        ("methodology", "kitchen-test-households@1"),
    ];
    let made = browser.send("/statements", &made).await;
    assert_eq!(made.status, 303, "{}", made.text());
    let statement = made.header("location").to_owned();
    let page = browser.get(&statement).await.text();
    assert!(page.contains("Statement of 2025") && page.contains("From gross to claim"));
    let next = browser.get("/").await.text();
    assert!(
        next.contains("Period 2025") && next.contains("then close the period"),
        "{next}"
    );

    let closed = browser.send("/periods/2025/close", &[]).await;
    assert_eq!(closed.status, 303);
    let list = browser.get("/statements").await.text();
    assert!(list.contains("closed by"));
    let again = browser.send("/periods/2025/close", &[]).await;
    assert_eq!(again.status, 409, "{}", again.text());
}

#[tokio::test]
async fn a_form_without_the_token_of_its_session_does_nothing() {
    let programme = TestProgramme::start().await;
    let mut browser = Browser::new(&programme);
    let secret = programme.manager_secret.clone();
    browser.send("/sign-in", &[("token", &secret)]).await;
    let site = [("code", "NORTH"), ("name", "North Shore")];
    assert_eq!(browser.send_bare("/sites", &site).await.status, 403);
    let guessed = [site[0], site[1], ("form_token", "0000")];
    assert_eq!(browser.send_bare("/sites", &guessed).await.status, 403);
    let mut other = Browser::new(&programme);
    other.send("/sign-in", &[("token", &secret)]).await;
    let foreign = other.form_token().await.expect("a token");
    let foreign = [site[0], site[1], ("form_token", &foreign)];
    assert_eq!(browser.send_bare("/sites", &foreign).await.status, 403);
    let sites = programme.manager.get("/sites").await.ok(200);
    assert_eq!(sites.as_array().map(Vec::len), Some(0), "{sites}");
    assert_eq!(browser.send("/sites", &site).await.status, 303);
}

#[tokio::test]
async fn whoever_does_not_manage_sees_no_forms_and_is_refused() {
    let programme = seeded_programme().await;
    let verifier = programme.issue("verifier").await;
    let mut browser = Browser::new(&programme);
    browser.send("/sign-in", &[("token", &verifier)]).await;
    let list = browser.get("/statements").await.text();
    assert!(!list.contains("action=\"/periods\"") && !list.contains("action=\"/statements\""));
    let sites = browser.get("/sites").await.text();
    assert!(sites.contains("Stove models") && !sites.contains("action=\"/sites\""));
    let site = [("code", "NEW"), ("name", "New")];
    assert_eq!(browser.send("/sites", &site).await.status, 403);
    let period = [
        ("code", "2024"),
        ("starts_on", "2024-01-01"),
        ("ends_on", "2025-01-01"),
    ];
    assert_eq!(browser.send("/periods", &period).await.status, 403);
    assert_eq!(browser.send("/periods/2025/close", &[]).await.status, 403);
}

#[tokio::test]
async fn what_was_measured_is_drawn_with_its_numbers() {
    let programme = seeded_programme().await;
    let mut browser = Browser::new(&programme);
    let secret = programme.manager_secret.clone();
    browser.send("/sign-in", &[("token", &secret)]).await;
    let page = browser.get("/measured").await.text();
    for told in [
        "Before",
        "After",
        "Char yield",
        "Moisture of the fuel",
        "class=\"median\"",
    ] {
        assert!(page.contains(told), "{told}");
    }
    // The mean of the chart is the mean of the statement, found by another query.
    let statement: serde_json::Value =
        serde_json::from_slice(&crate::support::seeded::seeded().statement_bytes).expect("JSON");
    let before = statement["figures"]
        .as_array()
        .expect("figures")
        .iter()
        .find(|figure| figure["id"] == "fuel_per_household_day_baseline")
        .expect("the figure");
    let before: f64 = before["value"]
        .as_str()
        .expect("text")
        .parse()
        .expect("a number");
    assert!(page.contains(&format!("{before:.3}")), "{before} in {page}");
}

#[tokio::test]
async fn a_factor_has_a_page_with_its_uses_and_another_beside_it() {
    let programme = seeded_programme().await;
    let mut browser = Browser::new(&programme);
    let secret = programme.manager_secret.clone();
    browser.send("/sign-in", &[("token", &secret)]).await;
    let page = browser.get("/factors/gwp-ar5-100-ch4@1").await.text();
    assert!(page.contains("Statement of 2025") && page.contains("/trace?node="));
    let beside = browser
        .get("/factors/gwp-ar5-100-ch4@1?with=gwp-ar4-100-ch4@1")
        .await;
    assert_eq!(beside.status, 200);
    // IPCC AR4 WG1 table 2.14: 25; AR5 WG1 table 8.A.1: 28.
    assert!(beside.text().contains("less") || beside.text().contains("more"));
    assert_eq!(browser.get("/factors/no-such@1").await.status, 404);
    let narrowed = browser.get("/factors?species=CH4&mark=SEEN").await.text();
    assert!(narrowed.contains("gwp-ar5-100-ch4@1") && !narrowed.contains("gwp-ar5-100-n2o@1"));
}
