//! A verifier's first visit in a real browser: sign in, read the statement, open
//! a figure down to a raw row.
//!
//! Needs chromium and chromedriver on the path; `./dev ensure browser` brings them.

use super::support::seeded;
use super::support::seeded::seeded_programme;
use emberbook::accounting::statement::Statement;
use fantoccini::wd::Capabilities;
use fantoccini::{Client, ClientBuilder, Locator};
use hyper_util::client::legacy::connect::HttpConnector;
use serde_json::{Value, json};
use std::io::{BufRead, BufReader};
use std::os::unix::process::CommandExt;
use std::process::{Child, Command, Stdio};

/// A chromedriver of our own; ends with this value.
pub struct Driver {
    process: Child,
    port: u16,
    _profile: tempfile::TempDir,
    capabilities: Capabilities,
}

impl Driver {
    pub fn start() -> Self {
        Driver::start_with(&[])
    }

    /// With further arguments of the browser.
    pub fn start_with(further: &[&str]) -> Self {
        Driver::launch(further, &json!({}))
    }

    /// With scripts switched off, as in a browser's settings.
    pub fn without_script() -> Self {
        let off = json!({"profile.managed_default_content_settings.javascript": 2});
        Driver::launch(&[], &off)
    }

    fn launch(further: &[&str], preferences: &Value) -> Self {
        let profile = tempfile::tempdir().expect("a folder");
        let mut process = Command::new("chromedriver")
            .arg("--port=0")
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .process_group(0)
            .spawn()
            .expect("chromedriver is not on the PATH; ./dev ensure browser installs it");
        let output = process.stdout.take().expect("its output");
        let port = BufReader::new(output)
            .lines()
            .map_while(Result::ok)
            .find_map(|line| {
                let (_, port) = line.split_once("started successfully on port ")?;
                port.trim_end_matches('.').parse().ok()
            })
            .expect("chromedriver names its port");
        let folder = format!("--user-data-dir={}", profile.path().display());
        let mut arguments = vec![
            "--headless",
            "--no-sandbox",
            "--disable-gpu",
            "--disable-quic",
            "--no-first-run",
            "--disable-background-networking",
            "--disable-component-update",
            "--disable-sync",
            "--disable-dev-shm-usage",
            &folder,
        ];
        arguments.extend(further);
        let options = json!({"args": arguments, "prefs": preferences});
        let mut capabilities = Capabilities::new();
        capabilities.insert("goog:chromeOptions".to_owned(), options);
        Driver {
            process,
            port,
            _profile: profile,
            capabilities,
        }
    }

    pub async fn browser(&self) -> Client {
        ClientBuilder::new(HttpConnector::new())
            .capabilities(self.capabilities.clone())
            .connect(&format!("http://127.0.0.1:{}", self.port))
            .await
            .expect("a browser")
    }
}

impl Drop for Driver {
    fn drop(&mut self) {
        // With its browsers, which it would leave behind.
        let group = format!("-{}", self.process.id());
        let _ = Command::new("kill").args(["-KILL", "--", &group]).status();
        let _ = self.process.wait();
    }
}

/// The text of what the selector finds. A page that is left while it is looked at is waited for.
pub async fn text_of(browser: &Client, selector: &str) -> String {
    for _ in 0..20 {
        let found = browser.wait().for_element(Locator::Css(selector)).await;
        if let Ok(text) = found.expect(selector).text().await {
            return text;
        }
        tokio::time::sleep(std::time::Duration::from_millis(100)).await;
    }
    panic!("{selector} has no text that stays");
}

pub async fn attribute_of(browser: &Client, selector: &str, name: &str) -> String {
    let found = browser
        .wait()
        .for_element(Locator::Css(selector))
        .await
        .expect(selector);
    found.attr(name).await.expect("an answer").expect(name)
}

pub async fn follow(browser: &Client, locator: Locator<'_>) {
    let found = browser.wait().for_element(locator).await.expect("a link");
    found.click().await.expect("it can be followed");
}

pub async fn sign_in(browser: &Client, address: &str, token: &str) {
    browser
        .goto(&format!("{address}/sign-in"))
        .await
        .expect("the page");
    let field = browser
        .find(Locator::Css("input[name=token]"))
        .await
        .expect("the field");
    field.send_keys(token).await.expect("typing");
    follow(
        browser,
        Locator::Css("form[aria-labelledby='by-token'] button"),
    )
    .await;
}

/// Pixels that a page is wider than its window.
pub async fn overhang(browser: &Client) -> i64 {
    let script = "return document.documentElement.scrollWidth - window.innerWidth";
    let pixels: Value = browser.execute(script, Vec::new()).await.expect("a width");
    pixels.as_i64().expect("a number")
}

#[tokio::test(flavor = "multi_thread")]
async fn a_visitor_signs_in_reads_the_statement_and_opens_a_figure_down_to_its_row() {
    let programme = seeded_programme().await;
    let address = format!("http://{}", programme.app.address);
    let statement: Statement =
        serde_json::from_slice(&seeded().statement_bytes).expect("a statement");
    let reductions = statement.figure("reductions_co2e").expect("the figure");
    let verifier = programme.issue("verifier").await;
    let driver = Driver::start();
    let browser = driver.browser().await;

    sign_in(&browser, &address, "not-a-token").await;
    let refused = text_of(&browser, "[role=alert]").await;
    assert!(!refused.is_empty());

    sign_in(&browser, &address, &verifier).await;
    let shown = attribute_of(&browser, "[data-figure=reductions_co2e]", "value").await;
    assert_eq!(shown, reductions.value.to_string());
    let claimed = text_of(&browser, "[data-claim=reductions]").await;
    assert_eq!(
        claimed,
        statement.claims.reductions.tonnes.tonnes().to_string()
    );

    let page = format!(
        "{address}/statements/{}",
        seeded().statement["id"].as_str().expect("an id")
    );
    browser.goto(&page).await.expect("the statement");
    assert!(text_of(&browser, "h1").await.contains("2025"));
    for figure in &statement.figures {
        let selector = format!("[data-figure={}]", figure.id);
        let shown = attribute_of(&browser, &selector, "value").await;
        assert_eq!(shown, figure.value.to_string(), "{}", figure.id);
    }
    let removed = attribute_of(&browser, ".removals [data-figure=removals_co2]", "value").await;
    assert_eq!(
        removed,
        statement
            .figure("removals_co2")
            .expect("the figure")
            .value
            .to_string()
    );

    browser
        .goto(&format!("{page}/trace?node=use/rate/band/1"))
        .await
        .expect("the node");
    let source = text_of(&browser, "main").await;
    assert!(source.contains("usage-2025"), "{source}");
    follow(&browser, Locator::Css("main a[href^='/rows/']")).await;
    let row = text_of(&browser, "main").await;
    assert!(row.contains("surveyed_on"), "{row}");
    assert!(row.contains("sha256sum"), "{row}");

    browser
        .goto(&format!("{page}/trace?node=factor/gwp-ar5-100-ch4@1"))
        .await
        .expect("the node");
    let factor = text_of(&browser, "main").await;
    assert!(
        factor.contains("AR5") && factor.contains("SEEN"),
        "{factor}"
    );

    browser.set_window_size(390, 844).await.expect("a phone");
    for path in ["/", "/statements", "/register", "/factors", "/trail"] {
        browser.goto(&format!("{address}{path}")).await.expect(path);
        assert!(
            overhang(&browser).await <= 0,
            "{path} is wider than a phone"
        );
    }
    browser.goto(&page).await.expect("the statement");
    assert!(
        overhang(&browser).await <= 0,
        "the statement is wider than a phone"
    );

    browser.goto(&address).await.expect("the overview");
    follow(&browser, Locator::Css("form[action='/sign-out'] button")).await;
    browser.goto(&page).await.expect("the statement's address");
    assert!(
        browser
            .current_url()
            .await
            .expect("an address")
            .path()
            .starts_with("/sign-in")
    );
    browser.close().await.expect("it closes");
}
