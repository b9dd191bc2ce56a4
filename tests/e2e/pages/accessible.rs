//! Each page is asked by axe-core (Deque Systems, MPL-2.0), an independent checker of WCAG
//! rules, in a real browser. `./dev ensure browser` brings it.

use super::{addresses, story};
use crate::browser::{Driver, sign_in, text_of};
use crate::support::seeded::seeded_programme;
use fantoccini::Client;
use serde_json::Value;
use std::path::PathBuf;

/// The checker's source, as `./dev` installed it.
fn checker() -> String {
    let path = match std::env::var_os("EMBERBOOK_AXE") {
        Some(path) => PathBuf::from(path),
        None => PathBuf::from(env!("CARGO_MANIFEST_DIR"))
            .join("target/axe/node_modules/axe-core/axe.min.js"),
    };
    std::fs::read_to_string(&path).unwrap_or_else(|error| {
        panic!(
            "{}: {error}; ./dev ensure browser installs it",
            path.display()
        )
    })
}

const ASK: &str = "const done = arguments[arguments.length - 1]; \
    axe.run(document, {resultTypes: ['violations']}).then( \
        result => done(result.violations.map(v => [v.impact, v.id, v.nodes.length, \
            v.nodes[0].html.slice(0, 200)])), \
        error => done([['failed', String(error), 0, '']]))";

/// What the checker calls serious or worse on the page at hand.
async fn serious_faults(browser: &Client, checker: &str) -> Vec<Value> {
    browser
        .execute(checker, Vec::new())
        .await
        .expect("the checker runs");
    let found = browser.execute_async(ASK, Vec::new()).await;
    let found = found.expect("an answer");
    let minor = ["minor", "moderate"];
    found
        .as_array()
        .expect("a list")
        .iter()
        .filter(|fault| {
            !fault[0]
                .as_str()
                .is_some_and(|impact| minor.contains(&impact))
        })
        .cloned()
        .collect()
}

#[tokio::test(flavor = "multi_thread")]
async fn no_page_has_a_serious_fault_of_accessibility() {
    let programme = seeded_programme().await;
    let address = format!("http://{}", programme.app.address);
    let checker = checker();
    let driver = Driver::start();
    let browser = driver.browser().await;

    // The checker must be able to find something, or its silence says nothing.
    browser
        .goto(&format!("{address}/sign-in"))
        .await
        .expect("a page");
    let spoil =
        "document.querySelector('label').remove(); document.querySelectorAll('img, svg').length";
    browser
        .execute(spoil, Vec::new())
        .await
        .expect("a label less");
    let found = serious_faults(&browser, &checker).await;
    assert!(!found.is_empty(), "a field without a label was not found");

    sign_in(&browser, &address, &programme.manager_secret).await;
    text_of(&browser, ".who").await;
    let mut asked = addresses();
    asked.push(story(&programme).await);
    asked.push("/sign-in".to_owned());
    let mut faults = Vec::new();
    for (width, height) in [(1280, 900), (390, 844)] {
        browser
            .set_window_size(width, height)
            .await
            .expect("a size");
        for path in &asked {
            browser.goto(&format!("{address}{path}")).await.expect(path);
            for fault in serious_faults(&browser, &checker).await {
                faults.push(format!("{path} at {width}: {fault}"));
            }
        }
    }
    assert!(faults.is_empty(), "{}", faults.join("\n"));
    browser.close().await.expect("it closes");
}
