//! The proof of a record in a real browser: its script checks it, sees what was bent, and
//! the commands that the page shows arrive at the same in a real shell.

use crate::browser::{Driver, attribute_of, overhang, sign_in, text_of};
use crate::corrections::id;
use crate::support::seeded;
use crate::support::seeded::seeded_programme;
use fantoccini::{Client, Locator};
use serde_json::Value;

async fn press_check(browser: &Client) -> String {
    let button = browser.wait().for_element(Locator::Css("#check")).await;
    button.expect("the button").click().await.expect("pressed");
    let outcome = attribute_of(browser, "#told[data-outcome]", "data-outcome").await;
    format!("{outcome}: {}", text_of(browser, "#told").await)
}

async fn run(browser: &Client, script: &str) -> Value {
    browser.execute(script, Vec::new()).await.expect("it runs")
}

#[tokio::test(flavor = "multi_thread")]
async fn a_proof_is_checked_on_its_page_and_by_its_commands() {
    let programme = seeded_programme().await;
    programme
        .app
        .service
        .rotate_log_key()
        .await
        .expect("changed");
    let address = format!("http://{}", programme.app.address);
    let verifier = programme.issue("verifier").await;
    let key = programme.manager.get("").await.ok(200)["checkpoint_key"].clone();
    let driver = Driver::start();
    let browser = driver.browser().await;
    sign_in(&browser, &address, &verifier).await;
    text_of(&browser, "main").await;

    let batch = id(&seeded().batches[0].1);
    let page = format!("{address}/proof?record=row&key={batch}/2");
    browser.goto(&page).await.expect("the proof");
    let outcome = press_check(&browser).await;
    assert!(outcome.starts_with("holds"), "{outcome}");
    assert!(outcome.contains("Row 2 leads to the root"), "{outcome}");
    let signed = outcome.contains("is signed by");
    assert!(
        signed || outcome.contains("cannot check Ed25519"),
        "{outcome}"
    );

    // The commands of the page, in a shell: the row's root, the entry's root, the signature.
    let recipes = run(
        &browser,
        "return [...document.querySelectorAll('.recipe')].map((each) => each.textContent)",
    )
    .await;
    let recipes: Vec<&str> = recipes
        .as_array()
        .expect("texts")
        .iter()
        .filter_map(Value::as_str)
        .collect();
    assert_eq!(recipes.len(), 3);
    let checkpoint = text_of(&browser, "[aria-label='Checkpoint text']").await;
    let row_root = text_of(&browser, "section[aria-labelledby=row] .hash").await;
    let root = checkpoint.lines().nth(2).expect("a root").to_owned();
    for (commands, expected) in
        recipes
            .iter()
            .zip([row_root.as_str(), &root, "Signature Verified Successfully"])
    {
        let folder = tempfile::tempdir().expect("a folder");
        let output = std::process::Command::new("sh")
            .args(["-e", "-c", commands])
            .current_dir(folder.path())
            .output()
            .expect("it runs");
        assert_eq!(
            String::from_utf8_lossy(&output.stdout).trim(),
            expected,
            "{commands}"
        );
    }

    // One character of what is shown is changed: the row, the signed text, the entry.
    for (what, from, to) in [
        ("the row", "LAGOON", "LAGOOM"),
        (
            "the head",
            r#""checkpoint": "tests.example"#,
            r#""checkpoint": "tests.examplf"#,
        ),
        ("the entry", r#"\"actor\":"#, r#"\"akter\":"#),
    ] {
        browser.goto(&page).await.expect("the proof");
        let literal = |text: &str| Value::from(text).to_string();
        let (from, to) = (literal(from), literal(to));
        let script = format!(
            "const shown = document.getElementById('proof-document');
             const before = shown.textContent;
             shown.textContent = before.replace({from}, {to});
             return before !== shown.textContent"
        );
        assert_eq!(
            run(&browser, &script).await,
            Value::Bool(true),
            "{what}: {script}"
        );
        let outcome = press_check(&browser).await;
        assert!(outcome.starts_with("fails"), "{what}: {outcome}");
    }
    browser.goto(&page).await.expect("the proof");
    let pin = browser.find(Locator::Css("#pin")).await.expect("a field");
    pin.send_keys(key.as_str().expect("a key"))
        .await
        .expect("typed");
    let outcome = press_check(&browser).await;
    assert!(outcome.starts_with("holds"), "{outcome}");
    if signed {
        let pin = browser.find(Locator::Css("#pin")).await.expect("a field");
        pin.send_keys("x").await.expect("typed");
        run(
            &browser,
            "delete document.getElementById('told').dataset.outcome; return 1",
        )
        .await;
        let outcome = press_check(&browser).await;
        assert!(outcome.starts_with("fails"), "{outcome}");
    }

    let statement = seeded().statement["id"].as_str().expect("an id").to_owned();
    browser.set_window_size(390, 844).await.expect("a phone");
    for path in [
        format!("/proof?record=row&key={batch}/2"),
        format!("/proof?record=statement&key={statement}"),
        "/trail".to_owned(),
        "/trail?kind=batch-accepted".to_owned(),
        format!("/trail?record={batch}"),
    ] {
        browser
            .goto(&format!("{address}{path}"))
            .await
            .expect(&path);
        assert!(
            overhang(&browser).await <= 0,
            "{path} is wider than a phone"
        );
    }
    let told = text_of(&browser, ".history").await;
    assert!(told.contains("sent the batch"), "{told}");
    browser.close().await.expect("it closes");
}
