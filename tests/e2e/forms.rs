//! Phone forms by the OpenRosa protocol, as a phone's client speaks it.

use crate::support::programme::programme_client;
use crate::support::{Answer, Client, TestProgramme, census};
use emberbook::trail::merkle::sha256;
use md5::{Digest, Md5};
use reqwest::{Method, RequestBuilder};
use roxmltree::Document;
use serde_json::json;
use std::path::Path;

const SUBMISSION: &str = "/forms/submission";
const FORM: &str = "usage_survey--usage-2026";

/// A register, two sites, a round that is open today and one in February of last year.
async fn field() -> TestProgramme {
    let programme = TestProgramme::start().await;
    programme.small_register().await;
    let manager = &programme.manager;
    let site = json!({"code": "HILL", "name": "Hill"});
    manager.post("/sites", &site).await.ok(201);
    for (code, starts_on, ends_on) in [
        ("usage-2026", "2026-02-01", "2026-03-01"),
        ("2025", "2025-06-01", "2025-07-01"),
    ] {
        let round = json!({"code": code, "kind": "usage_survey", "starts_on": starts_on,
                           "ends_on": ends_on, "design": "Simple random sample."});
        manager.post("/rounds", &round).await.ok(201);
    }
    programme
}

/// A request as a phone makes it: HTTP Basic with the token as the password.
fn phone(stranger: &Client, secret: &str, method: Method, path: &str) -> RequestBuilder {
    let request = stranger.request(method, path);
    request
        .basic_auth("enumerator", Some(secret))
        .header("X-OpenRosa-Version", "1.0")
}

/// A multipart body with these parts: name, file name, content.
fn multipart(request: RequestBuilder, parts: &[(&str, &str, &[u8])]) -> RequestBuilder {
    let mut body = Vec::new();
    for (name, file, content) in parts {
        let head = format!(
            "--frontier\r\nContent-Disposition: form-data; name=\"{name}\"; \
             filename=\"{file}\"\r\nContent-Type: text/xml\r\n\r\n"
        );
        body.extend_from_slice(head.as_bytes());
        body.extend_from_slice(content);
        body.extend_from_slice(b"\r\n");
    }
    body.extend_from_slice(b"--frontier--\r\n");
    request
        .header("Content-Type", "multipart/form-data; boundary=frontier")
        .body(body)
}

pub async fn send(programme: &TestProgramme, secret: &str, xml: &str) -> Answer {
    let request = phone(&programme.stranger(), secret, Method::POST, SUBMISSION);
    let parts: [(&str, &str, &[u8]); 1] = [("xml_submission_file", "a.xml", xml.as_bytes())];
    Answer::of(multipart(request, &parts)).await
}

/// The sentence in an OpenRosa response of this status.
#[track_caller]
fn message(answer: &Answer, status: u16) -> String {
    let text = answer.text();
    assert_eq!(answer.status, status, "{text}");
    assert_eq!(answer.header("x-openrosa-version"), "1.0");
    assert_eq!(answer.header("content-type"), "text/xml; charset=utf-8");
    let document = Document::parse(&text).expect("well-formed");
    let root = document.root_element();
    assert!(root.has_tag_name(("http://openrosa.org/http/response", "OpenRosaResponse")));
    let message = root.first_element_child().expect("a message");
    let nature = if status < 300 {
        "submit_success"
    } else {
        "submit_error"
    };
    assert_eq!(message.attribute("nature"), Some(nature));
    message.text().expect("a sentence").to_owned()
}

fn filled_in(household: &str, days: &str, instance: &str) -> String {
    format!(
        "<?xml version='1.0' ?><data id=\"{FORM}\" version=\"1\">\
         <household_code>{household}</household_code><serial>S-1</serial>\
         <surveyed_on>2026-02-02</surveyed_on><outcome>in_use</outcome>\
         <days_used_last_week>{days}</days_used_last_week>\
         <share_of_meals>5.0E-1</share_of_meals>\
         <meta><instanceID>{instance}</instanceID></meta></data>"
    )
}

/// Name, version, hash and address of each listed form.
fn listed(answer: &Answer) -> Vec<[String; 4]> {
    let text = answer.text();
    assert_eq!(answer.status, 200, "{text}");
    assert_eq!(answer.header("x-openrosa-version"), "1.0");
    let document = Document::parse(&text).expect("well-formed");
    let space = "http://openrosa.org/xforms/xformsList";
    assert!(document.root_element().has_tag_name((space, "xforms")));
    let forms = document
        .descendants()
        .filter(|node| node.has_tag_name((space, "xform")));
    let part = |form: &roxmltree::Node<'_, '_>, name: &str| {
        let found = form
            .children()
            .find(|node| node.has_tag_name((space, name)));
        found
            .and_then(|node| node.text())
            .expect("a part")
            .to_owned()
    };
    forms
        .map(|form| ["formID", "version", "hash", "downloadUrl"].map(|name| part(&form, name)))
        .collect()
}

#[tokio::test]
async fn a_phone_lists_fetches_and_sends_a_form_and_a_repeat_is_harmless() {
    let programme = field().await;
    let secret = programme.issue("monitor").await;
    let stranger = programme.stranger();
    let get = |path: &str| Answer::of(phone(&stranger, &secret, Method::GET, path));
    let forms = listed(&get("/forms/formList").await);
    let names: Vec<&str> = forms.iter().map(|[name, ..]| name.as_str()).collect();
    // The rounds of last year have ended; their forms are there for who still needs one.
    assert_eq!(
        names,
        ["households", "deployments", "deployment_ends", FORM]
    );
    assert_eq!(get("/forms/usage_survey--usage").await.status, 200);
    message(&get("/forms/usage_survey--no-such").await, 404);
    message(&get("/forms/char_lab--usage").await, 404);
    let one = listed(&get(&format!("/forms/formList?formID={FORM}")).await);
    assert_eq!(one, forms[3..]);
    let [_, version, hash, place] = &one[0];
    let path = place
        .split_once("/api/v1/programmes/test-isles")
        .expect("an address")
        .1;
    assert!(place.starts_with("http://127.0.0.1:"), "{place}");
    let form = get(path).await;
    assert_eq!(form.status, 200);
    assert_eq!(
        *hash,
        format!("md5:{}", hex::encode(Md5::digest(&form.bytes)))
    );
    assert!(
        form.text()
            .contains(&format!("id=\"{FORM}\" version=\"{version}\""))
    );

    let head = Answer::of(phone(&stranger, &secret, Method::HEAD, SUBMISSION)).await;
    assert_eq!(head.status, 204);
    assert!(
        head.header("location")
            .ends_with("/api/v1/programmes/test-isles/forms/submission")
    );
    assert!(
        head.header("x-openrosa-accept-content-length")
            .parse::<u64>()
            .expect("bytes")
            > 0
    );

    let xml = filled_in("HH-1", "6", "uuid:1");
    let taken = send(&programme, &secret, &xml).await;
    let said = message(&taken, 201);
    let batches = programme.manager.get("/batches").await.ok(200);
    let batch = batches
        .as_array()
        .expect("batches")
        .last()
        .expect("a batch")
        .clone();
    assert!(
        said.contains(batch["id"].as_str().expect("an id")),
        "{said}"
    );
    assert_eq!(batch["file_name"], "uuid:1");
    assert_eq!(batch["file_sha256"], sha256(xml.as_bytes()).to_string());
    assert_eq!(
        (&batch["kind"], &batch["round"]),
        (&json!("usage_survey"), &json!("usage-2026"))
    );
    let id = batch["id"].as_str().expect("an id");
    let rows = programme
        .manager
        .get(&format!("/batches/{id}/rows"))
        .await
        .ok(200);
    let cells = json!({"household_code": "HH-1", "serial": "S-1", "surveyed_on": "2026-02-02",
                       "outcome": "in_use", "days_used_last_week": "6", "share_of_meals": "0.5"});
    assert_eq!(rows[0]["cells"], cells);

    let before = census(&programme.app.pool).await;
    let again = send(&programme, &secret, &xml).await;
    assert_eq!(
        message(&again, 202),
        "This form was taken before; nothing was added."
    );
    let changed = send(&programme, &secret, &filled_in("HH-1", "5", "uuid:1")).await;
    assert!(message(&changed, 409).contains("with other answers"));
    // Another filling-in of the same visit is the same row a second time.
    let twice = send(&programme, &secret, &filled_in("HH-1", "6", "uuid:2")).await;
    message(&twice, 422);
    assert_eq!(census(&programme.app.pool).await, before);
}

#[tokio::test]
async fn instances_of_an_independent_converters_forms_become_rows() {
    let programme = field().await;
    let secret = programme.issue("monitor").await;
    let household = "household_code,site_code,children_0_14,women_over_14,men_15_59,men_over_59\n\
                     HH-0001,NORTH,1,1,1,0\n";
    let manager = &programme.manager;
    manager.upload("households", None, household).await.ok(201);
    // Made by pyxform, see tests/reference/forms.py.
    for name in ["deployments", "usage_survey"] {
        let file = format!("tests/reference/forms/{name}.filled.xml");
        let file = Path::new(env!("CARGO_MANIFEST_DIR")).join(file);
        let xml = std::fs::read_to_string(file).expect("a filled-in form");
        message(&send(&programme, &secret, &xml).await, 201);
    }
    let stove = manager.get("/deployments/GS-000001").await.ok(200);
    assert_eq!(
        stove["deployments"][0]["cells"]["household_code"],
        "HH-0001"
    );
}

#[tokio::test]
async fn what_is_wrong_is_said_in_the_words_of_the_form_and_nothing_is_kept() {
    let programme = field().await;
    let secret = programme.issue("monitor").await;
    let before = census(&programme.app.pool).await;
    let wrong = filled_in("", "8", "uuid:1").replace("2026-02-02", "2.2.2026");
    let said = message(&send(&programme, &secret, &wrong).await, 422);
    assert_eq!(
        said,
        "Household code: this question must be answered. Surveyed on: `2.2.2026` is not read as \
         a date: write dates as YYYY-MM-DD. Days used last week (days): `8` is outside 0 to 7. \
         Nothing was kept."
    );
    let unknown = filled_in("HH-77", "6", "uuid:1");
    let said = message(&send(&programme, &secret, &unknown).await, 422);
    assert!(said.contains("HH-77") && !said.contains("line"), "{said}");
    let bomb = format!(
        "<!DOCTYPE d [<!ENTITY a \"ha\"><!ENTITY b \"&a;&a;&a;&a;&a;&a;\">]>{}",
        filled_in("&b;", "6", "uuid:1").replace("<?xml version='1.0' ?>", "")
    );
    let said = message(&send(&programme, &secret, &bomb).await, 422);
    assert!(said.contains("document type"), "{said}");
    let lost = filled_in("HH-1", "6", "uuid:1").replace("usage-2026", "no-such");
    message(&send(&programme, &secret, &lost).await, 404);

    let good = filled_in("HH-1", "6", "uuid:1");
    let photo: [(&str, &str, &[u8]); 2] = [
        ("xml_submission_file", "a.xml", good.as_bytes()),
        ("kitchen.jpg", "kitchen.jpg", b"\xff\xd8"),
    ];
    let stranger = programme.stranger();
    let post = || phone(&stranger, &secret, Method::POST, SUBMISSION);
    let said = message(&Answer::of(multipart(post(), &photo)).await, 422);
    assert!(said.contains("pictures"), "{said}");
    let empty = Answer::of(multipart(post(), &[("*isIncomplete*", "", b"yes")])).await;
    assert!(message(&empty, 422).contains("xml_submission_file"));
    let huge = vec![b' '; 300_000];
    let huge = multipart(post(), &[("xml_submission_file", "a.xml", &huge)]);
    message(&Answer::of(huge).await, 413);
    let plain = post().header("Content-Type", "text/xml").body(good);
    message(&Answer::of(plain).await, 415);
    let cut = post().header("Content-Type", "multipart/form-data; boundary=frontier");
    let cut = cut.body("--frontier\r\nContent-Disposition: form-data; name=\"xml_sub");
    message(&Answer::of(cut).await, 400);
    assert_eq!(census(&programme.app.pool).await, before);
}

#[tokio::test]
async fn only_who_may_upload_sends_forms_and_a_stranger_is_asked_for_the_token() {
    let programme = field().await;
    let stranger = programme.stranger();
    let good = filled_in("HH-1", "6", "uuid:1");
    for method in [Method::GET, Method::HEAD] {
        let path = if method == Method::GET {
            "/forms/formList"
        } else {
            SUBMISSION
        };
        let bare = Answer::of(stranger.request(method.clone(), path)).await;
        assert_eq!(bare.status, 401);
        let offered: Vec<_> = bare.headers.get_all("www-authenticate").iter().collect();
        assert_eq!(offered.len(), 2, "{offered:?}");
        assert!(bare.header("www-authenticate").starts_with("Basic realm="));
        let wrong = Answer::of(phone(&stranger, "secret", method, path)).await;
        assert_eq!(wrong.status, 401);
    }
    assert_eq!(send(&programme, "secret", &good).await.status, 401);
    let verifier = programme.issue("verifier").await;
    message(&send(&programme, &verifier, &good).await, 403);
    let elsewhere = json!({"role": "monitor", "label": "hill", "sites": ["HILL"]});
    let elsewhere = programme.manager.post("/tokens", &elsewhere).await.ok(201);
    let elsewhere = elsewhere["secret"].as_str().expect("a secret");
    let before = programme.manager.get("/batches").await.ok(200);
    let said = message(&send(&programme, elsewhere, &good).await, 403);
    assert!(said.contains("site"), "{said}");
    let secret = programme.issue("monitor").await;
    // What a page of another site could make a browser send has no such header.
    let request = stranger.request(Method::POST, SUBMISSION);
    let request = request.basic_auth("x", Some(&secret));
    let parts: [(&str, &str, &[u8]); 1] = [("xml_submission_file", "a.xml", good.as_bytes())];
    let said = message(&Answer::of(multipart(request, &parts)).await, 403);
    assert!(said.contains("X-OpenRosa-Version"), "{said}");
    assert_eq!(programme.manager.get("/batches").await.ok(200), before);
    // A bearer token does as well as a password.
    let bearer = programme_client(&programme.app, &programme.code).with_token(&secret);
    let request = bearer.request(Method::POST, SUBMISSION);
    message(&Answer::of(multipart(request, &parts)).await, 201);
    // To someone of another site, a form that was taken is still not theirs.
    message(&send(&programme, elsewhere, &good).await, 403);
}
