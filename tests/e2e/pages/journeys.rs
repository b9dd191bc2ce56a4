//! Three people's days in a real browser: a manager plans, draws and states; a field worker sends
//! a wrong file, mends it and sends it again; a verifier opens a figure to its row, looks at its
//! proof and raises a finding. At desktop and phone width, with script and without.

use crate::browser::{Driver, attribute_of, follow, overhang, sign_in, text_of};
use crate::support::TestProgramme;
use crate::support::seeded::{seeded, seeded_programme};
use crate::uploads::{USAGE, programme, workers};
use fantoccini::{Client, Locator};
use serde_json::{Value, json};

/// What a browser is like.
struct View {
    width: u32,
    script: bool,
}

const VIEWS: [View; 4] = [
    View {
        width: 1280,
        script: true,
    },
    View {
        width: 1280,
        script: false,
    },
    View {
        width: 390,
        script: true,
    },
    View {
        width: 390,
        script: false,
    },
];

async fn opened(driver: &Driver, view: &View) -> Client {
    let browser = driver.browser().await;
    browser
        .set_window_size(view.width, 900)
        .await
        .expect("a size");
    browser
}

fn driver_of(view: &View) -> Driver {
    if view.script {
        Driver::start()
    } else {
        Driver::without_script()
    }
}

/// Sets a field as if it had been typed; days are typed in the order of a country.
async fn fill(browser: &Client, field: &str, value: &str) {
    let script = "const field = document.querySelector(`main [name='${arguments[0]}']`);
                  field.value = arguments[1];
                  field.dispatchEvent(new Event('input', {bubbles: true}));
                  return field.value";
    let set = browser
        .execute(script, vec![json!(field), json!(value)])
        .await;
    assert_eq!(set.expect(field), Value::from(value), "{field}");
}

/// Signs in, and waits until the header says so.
async fn enter(browser: &Client, address: &str, secret: &str) {
    sign_in(browser, address, secret).await;
    text_of(browser, ".who").await;
}

async fn go(browser: &Client, address: &str) {
    browser.goto(address).await.expect(address);
}

/// The page fits its window.
async fn fits(browser: &Client, place: &str) {
    assert!(
        overhang(browser).await <= 0,
        "{place} is wider than its window"
    );
}

#[tokio::test(flavor = "multi_thread")]
async fn a_manager_plans_draws_and_states() {
    let programme = seeded_programme().await;
    let address = format!("http://{}", programme.app.address);
    for (place, view) in VIEWS.iter().enumerate() {
        let driver = driver_of(view);
        let browser = opened(&driver, view).await;
        enter(&browser, &address, &programme.manager_secret).await;
        let overview = text_of(&browser, "main").await;
        assert!(overview.contains("What is to be done next"), "{overview}");

        let code = format!("walk-{place}");
        go(&browser, &format!("{address}/rounds")).await;
        for (field, value) in [
            ("code", code.as_str()),
            ("starts_on", "2026-09-01"),
            ("ends_on", "2026-10-13"),
            ("purpose", "Share in use"),
            ("frame_on", "2026-01-01"),
            ("expected_share", "0.85"),
        ] {
            fill(&browser, field, value).await;
        }
        follow(&browser, Locator::Css("button[formaction='/rounds/plan']")).await;
        let arithmetic = text_of(&browser, "#arithmetic b").await;
        assert_eq!(
            arithmetic, "46",
            "by the formula of the sheet of sample sizes"
        );
        fits(&browser, "the plan").await;
        follow(&browser, Locator::Css("form.plan button:not([formaction])")).await;
        follow(&browser, Locator::Css("form[action$='/frame'] button")).await;
        text_of(&browser, "form[action$='/seed']").await;
        fill(&browser, "words", "07 14 22").await;
        fill(&browser, "source", "invented for the tests").await;
        follow(&browser, Locator::Css("form[action$='/seed'] button")).await;
        text_of(&browser, "form[action$='/close']").await;
        fits(&browser, "the round").await;

        go(&browser, &format!("{address}/statements")).await;
        fill(&browser, "period", "2025").await;
        fill(&browser, "methodology", "kitchen-test-households@1").await;
        follow(&browser, Locator::Css("#state button")).await;
        let title = text_of(&browser, "h1").await;
        assert_eq!(title, "Statement of 2025");
        let shown = attribute_of(&browser, "[data-figure=reductions_co2e]", "value").await;
        assert!(
            shown.parse::<f64>().is_ok_and(|tonnes| tonnes > 0.0),
            "{shown}"
        );
        fits(&browser, "the statement").await;
        go(&browser, &format!("{address}/trail")).await;
        attribute_of(&browser, "a[href='/export']", "href").await;
        browser.close().await.expect("it closes");
    }
}

/// A survey of which the second row names no state that there is.
fn spoilt() -> Vec<u8> {
    let rows = [USAGE[0].to_owned(), USAGE[1].replace("in_use", "perhaps")];
    let rows: Vec<&str> = rows.iter().map(String::as_str).collect();
    crate::batches::rows("usage_survey", &rows)
}

async fn send(browser: &Client, folder: &std::path::Path, name: &str, file: &[u8]) {
    let path = folder.join(name);
    std::fs::write(&path, file).expect("the file");
    let field = browser
        .find(Locator::Css("#file"))
        .await
        .expect("the field");
    field
        .send_keys(path.to_str().expect("a path"))
        .await
        .expect("picked");
    follow(browser, Locator::Css("#send button")).await;
}

/// Waits on the page of the job until it says these words.
async fn waits_for(browser: &Client, words: &str) {
    let began = std::time::Instant::now();
    loop {
        let told = browser.source().await.unwrap_or_default();
        if told.contains(words) {
            return;
        }
        assert!(began.elapsed().as_secs() < 60, "{words}: {told}");
        tokio::time::sleep(std::time::Duration::from_millis(100)).await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_field_worker_sends_a_wrong_file_mends_it_and_sends_it_again() {
    for view in VIEWS {
        let programme: TestProgramme = programme().await;
        let _workers = workers(&programme, 1);
        let address = format!("http://{}", programme.app.address);
        let monitor = programme.issue("monitor").await;
        let folder = tempfile::tempdir().expect("a folder");
        let driver = driver_of(&view);
        let browser = opened(&driver, &view).await;
        enter(&browser, &address, &monitor).await;
        go(&browser, &format!("{address}/batches")).await;
        fill(&browser, "kind", "usage_survey").await;
        fill(&browser, "round", "usage").await;
        send(&browser, folder.path(), "walk.csv", &spoilt()).await;
        waits_for(&browser, "Fetch the file with its faults marked").await;
        let faults = text_of(&browser, "table").await;
        assert!(
            faults.contains('3') && faults.contains("perhaps"),
            "{faults}"
        );
        fits(&browser, "the refused file").await;
        // The link back keeps what was chosen.
        follow(&browser, Locator::Css("a.action")).await;
        let chosen = "return [document.querySelector('#kind').value, \
                      document.querySelector('#round').value]";
        text_of(&browser, "#send").await;
        let chosen = browser.execute(chosen, Vec::new()).await.expect("choices");
        assert_eq!(chosen, json!(["usage_survey", "usage"]));
        send(
            &browser,
            folder.path(),
            "mended.csv",
            &crate::uploads::usage(),
        )
        .await;
        waits_for(&browser, "Open the batch").await;
        follow(&browser, Locator::LinkText("Open the batch")).await;
        let batch = text_of(&browser, "main").await;
        assert!(batch.contains("mended.csv"), "{batch}");
        fits(&browser, "the batch").await;
        browser.close().await.expect("it closes");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_verifier_opens_a_figure_to_its_row_checks_a_proof_and_raises_a_finding() {
    let programme = seeded_programme().await;
    let address = format!("http://{}", programme.app.address);
    let statement = seeded().statement["id"].as_str().expect("an id").to_owned();
    let verifier = programme.issue("verifier").await;
    for (place, view) in VIEWS.iter().enumerate() {
        let driver = driver_of(view);
        let browser = opened(&driver, view).await;
        enter(&browser, &address, &verifier).await;
        let node = format!("{address}/statements/{statement}/trace?node=use/rate/band/1");
        go(&browser, &node).await;
        fits(&browser, "the node").await;
        follow(&browser, Locator::Css("main a[href^='/rows/']")).await;
        let row = text_of(&browser, "main").await;
        assert!(row.contains("surveyed_on"), "{row}");
        let row = browser.current_url().await.expect("an address");
        fits(&browser, "the row").await;

        follow(&browser, Locator::Css("main a[href^='/proof']")).await;
        let proof = text_of(&browser, "h1").await;
        assert!(proof.starts_with("Proof of"), "{proof}");
        fits(&browser, "the proof").await;
        if view.script {
            follow(&browser, Locator::Css("#check")).await;
            let outcome = attribute_of(&browser, "#told[data-outcome]", "data-outcome").await;
            assert_eq!(outcome, "holds");
        } else {
            let told = text_of(&browser, "section[aria-labelledby=checking]").await;
            assert!(told.contains("Scripts are off"), "{told}");
        }

        go(&browser, row.as_str()).await;
        follow(&browser, Locator::Css("main a[href^='/findings/new']")).await;
        let said = format!("Which day does this answer stand for? ({place})");
        fill(&browser, "text", &said).await;
        follow(&browser, Locator::Css("main form button:last-of-type")).await;
        let finding = text_of(&browser, "main").await;
        assert!(finding.contains(&said), "{finding}");
        fits(&browser, "the finding").await;
        browser.close().await.expect("it closes");
    }
    let found = programme.manager.get("/findings").await.ok(200);
    assert_eq!(found["items"].as_array().map(Vec::len), Some(VIEWS.len()));
}
