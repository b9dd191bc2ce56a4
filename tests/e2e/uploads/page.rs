//! The pages: a file sent by the plain form, its job, and what a script may do there.

use super::{ended, programme, tus, usage, workers};
use crate::people::Browser;
use crate::support::{Answer, TestProgramme};
use reqwest::Method;

const FRONTIER: &str = "----edge-of-the-form";

fn form(file: &[u8]) -> Vec<u8> {
    let mut body = Vec::new();
    for (name, value) in [("kind", "usage_survey"), ("round", "usage")] {
        let field = format!(
            "--{FRONTIER}\r\nContent-Disposition: form-data; name=\"{name}\"\r\n\r\n{value}\r\n"
        );
        body.extend_from_slice(field.as_bytes());
    }
    let head = format!(
        "--{FRONTIER}\r\nContent-Disposition: form-data; name=\"file\"; filename=\"walk.csv\"\r\n\
         Content-Type: text/csv\r\n\r\n"
    );
    body.extend_from_slice(head.as_bytes());
    body.extend_from_slice(file);
    body.extend_from_slice(format!("\r\n--{FRONTIER}--\r\n").as_bytes());
    body
}

async fn signed_in(programme: &TestProgramme, secret: &str) -> Browser {
    let mut browser = Browser::new(programme);
    browser.send("/sign-in", &[("token", secret)]).await;
    assert!(browser.session.is_some());
    browser
}

fn send_form(browser: &Browser, file: &[u8]) -> reqwest::RequestBuilder {
    let kind = format!("multipart/form-data; boundary={FRONTIER}");
    let request = browser.request(Method::POST, "/uploads");
    request.header("content-type", kind).body(form(file))
}

#[tokio::test]
async fn the_plain_form_sends_a_file_and_shows_its_job_until_it_has_ended() {
    let programme = programme().await;
    let browser = signed_in(&programme, &programme.manager_secret).await;
    let page = browser.get("/batches").await;
    assert!(page.text().contains("enctype=\"multipart/form-data\""));
    let sent = Answer::of(send_form(&browser, &usage())).await;
    assert_eq!(sent.status, 303, "{}", sent.text());
    let job = sent.header("location").to_owned();
    let waiting = browser.get(&job).await.text();
    assert!(waiting.contains("http-equiv=\"refresh\""), "{waiting}");
    assert!(waiting.contains("walk.csv"));
    let _workers = workers(&programme, 1);
    let id = job.rsplit('/').next().expect("an id");
    let view = ended(&programme.manager, id).await;
    assert_eq!(view["state"], "succeeded", "{view:#}");
    let done = browser.get(&job).await.text();
    assert!(!done.contains("http-equiv=\"refresh\""));
    let batch = view["result"]["id"].as_str().expect("an id");
    assert!(done.contains(&format!("/batches/{batch}")));
}

#[tokio::test]
async fn the_one_script_runs_on_the_page_of_the_form_and_nowhere_else() {
    let programme = programme().await;
    let browser = signed_in(&programme, &programme.manager_secret).await;
    let evidence = browser.get("/batches").await;
    let policy = evidence.header("content-security-policy");
    for part in [
        "default-src 'none'",
        "script-src 'self'",
        "connect-src 'self'",
        "base-uri 'none'",
        "frame-ancestors 'none'",
        "form-action 'self'",
    ] {
        assert!(policy.contains(part), "{policy}");
    }
    assert!(!policy.contains("unsafe"), "{policy}");
    let text = evidence.text();
    assert_eq!(text.matches("<script").count(), 1);
    let script = text.split("<script src=\"").nth(1).expect("a script");
    let script = browser.get(script.split('"').next().expect("a path")).await;
    assert_eq!(script.status, 200);
    assert_eq!(
        script.header("content-type"),
        "text/javascript; charset=utf-8"
    );
    for page in ["/", "/register", "/people", "/trail", "/jobs/x"] {
        let answer = browser.get(page).await;
        let policy = answer.header("content-security-policy");
        assert!(policy.starts_with("default-src 'none'"), "{page}");
        assert!(!policy.contains("script-src"), "{page}");
        assert!(!policy.contains("connect-src"), "{page}");
        assert!(!answer.text().contains("<script"), "{page}");
    }
    let verifier = signed_in(&programme, &programme.issue("verifier").await).await;
    assert!(!verifier.get("/batches").await.text().contains("<script"));
}

#[tokio::test]
async fn the_session_opens_the_uploads_to_the_own_page_and_to_no_other_site() {
    let programme = programme().await;
    let browser = signed_in(&programme, &programme.manager_secret).await;
    let path = format!("/api/v1/programmes/{}/uploads", programme.code);
    let begin = |site: &str| {
        tus(browser.request(Method::POST, &path))
            .header("Upload-Length", 10)
            .header("Upload-Metadata", "kind aG91c2Vob2xkcw==")
            .header("Sec-Fetch-Site", site.to_owned())
    };
    assert_eq!(Answer::of(begin("same-origin")).await.status, 201);
    for site in ["cross-site", "same-site"] {
        let refused = Answer::of(begin(site)).await;
        refused.problem(401, "unauthenticated");
    }
    // The rest of the API takes tokens alone.
    let sites = browser
        .get(&format!("/api/v1/programmes/{}/sites", programme.code))
        .await;
    sites.problem(401, "unauthenticated");
}
