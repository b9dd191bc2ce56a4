//! The pages: a file sent by the plain form, its job, and what a script may do there.

use super::{ended, programme, programme_with, tus, usage, workers};
use crate::people::Browser;
use crate::support::{Answer, Setup, TestProgramme};
use reqwest::Method;
use serde_json::json;

const FRONTIER: &str = "----edge-of-the-form";

/// The form of the page Evidence as a browser without script sends it.
pub fn form(fields: &[(&str, &str)], file_name: &str, file: &[u8]) -> Vec<u8> {
    let mut body = Vec::new();
    for (name, value) in fields {
        let field = format!(
            "--{FRONTIER}\r\nContent-Disposition: form-data; name=\"{name}\"\r\n\r\n{value}\r\n"
        );
        body.extend_from_slice(field.as_bytes());
    }
    let head = format!(
        "--{FRONTIER}\r\nContent-Disposition: form-data; name=\"file\"; \
         filename=\"{file_name}\"\r\n\
         Content-Type: text/csv\r\n\r\n"
    );
    body.extend_from_slice(head.as_bytes());
    body.extend_from_slice(file);
    body.extend_from_slice(format!("\r\n--{FRONTIER}--\r\n").as_bytes());
    body
}

pub async fn signed_in(programme: &TestProgramme, secret: &str) -> Browser {
    let mut browser = Browser::new(programme);
    browser.send("/sign-in", &[("token", secret)]).await;
    assert!(browser.session.is_some());
    browser
}

/// Sends it; `file_name` and `file` are empty where none was chosen.
pub async fn send_form(
    browser: &Browser,
    fields: &[(&str, &str)],
    file_name: &str,
    file: &[u8],
) -> Answer {
    let kind = format!("multipart/form-data; boundary={FRONTIER}");
    let token = browser.form_token().await.unwrap_or_default();
    let request = browser.request(Method::POST, &format!("/batches?form_token={token}"));
    let body = form(fields, file_name, file);
    Answer::of(request.header("content-type", kind).body(body)).await
}

const OF_USAGE: [(&str, &str); 2] = [("kind", "usage_survey"), ("round", "usage")];

#[tokio::test]
async fn the_plain_form_sends_a_file_and_shows_its_job_until_it_has_ended() {
    let programme = programme().await;
    let browser = signed_in(&programme, &programme.manager_secret).await;
    let page = browser.get("/batches").await;
    assert!(page.text().contains("enctype=\"multipart/form-data\""));
    let sent = send_form(&browser, &OF_USAGE, "walk.csv", &usage()).await;
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
async fn a_form_that_cannot_be_taken_says_why_and_keeps_what_was_chosen() {
    let programme = programme_with(Setup {
        upload_bytes_max: Some(1_000_000),
        ..Setup::default()
    })
    .await;
    let browser = signed_in(&programme, &programme.manager_secret).await;
    let fields = |round| {
        [
            ("kind", "char_weighing"),
            ("round", round),
            ("mapping", ""),
            ("tried", "yes"),
        ]
    };
    let long = vec![b'x'; 2_500_000];
    for (round, name, file, status, why) in [
        ("char", "", &b""[..], 422, "File must be chosen."),
        (
            "char",
            "empty.csv",
            b"",
            422,
            "File is empty: it has not a single byte.",
        ),
        (
            "",
            "walk.csv",
            b"x",
            422,
            "Round name the round that these rows belong to.",
        ),
        (
            "usage",
            "walk.csv",
            b"x",
            422,
            "Round round usage is for usage_survey, not for char",
        ),
        (
            "char",
            "long.csv",
            &long,
            413,
            "the most that is taken; send its rows in several files",
        ),
    ] {
        let refused = send_form(&browser, &fields(round), name, file).await;
        let text = refused.text();
        assert_eq!(refused.status, status, "{text}");
        assert!(text.contains(why), "{why}: {text}");
        assert!(
            text.contains("value=\"char_weighing\" data-round=\"yes\" selected"),
            "{text}"
        );
        let chosen = format!("<option value=\"{round}\" selected>");
        assert!(round.is_empty() || text.contains(&chosen), "{text}");
        assert!(text.contains("value=\"yes\" checked"), "{text}");
        assert!(text.contains("<script"), "the page is the same");
    }
    assert_eq!(
        programme.manager.get("/jobs").await.ok(200)["items"],
        json!([])
    );
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
