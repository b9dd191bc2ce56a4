//! Every operation of the API description, asked by every kind of caller: who may is what the
//! description says, and nobody else.

use crate::findings::{attached_hash, raise_with_file};
use crate::flags::planted_flag;
use crate::people::{Browser, add_person};
use crate::rounds::draw_a_round;
use crate::support::programme::{create_programme, programme_client};
use crate::support::seeded::seeded_programme;
use crate::support::{Answer, Client, TestProgramme, census, seeded};
use crate::uploads;
use reqwest::Method;
use serde_json::{Value, json};
use std::collections::BTreeSet;

/// The words that may stand beside an operation.
const WORDS: [&str; 6] = [
    "manager",
    "monitor",
    "monitor-of-every-site",
    "verifier",
    "holder",
    "operator",
];

/// The household, the stove and the row that the paths name belong to this site.
const RIGHT_SITE: &str = "LAGOON";
/// A round that reading can be asked of; nobody is let change it.
const DRAWN_ROUND: &str = "usage-2026";
const OTHER_SITE: &str = "HILL";

/// Where a monitor of another site is told that there is nothing.
const OF_ONE_SITE: [&str; 3] = [
    "/households/{code}",
    "/deployments/{serial}",
    "/batches/{batch}/rows/{line}/proof",
];

/// Where whoever is bound to sites is told that there is nothing but what they sent.
const OF_THE_SENDER: &str = "/batches/rejected/{file}";
/// Where only the role that began it is told of it; all of them were begun by the manager.
const OF_ITS_BEGINNER: [&str; 3] = ["/uploads/{upload}", "/jobs/{job}", "/jobs/{job}/events"];
const NOTHING: &str = "00000000-0000-0000-0000-000000000000";

/// What an answer must be.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Expected {
    /// 401: nobody that is known.
    Unknown,
    /// 403: known, and refused.
    Refused,
    /// 404: the row is of another site.
    Hidden,
    /// Let through: 2xx for a reading; for a change whatever the empty request deserves.
    Through,
}

/// What a caller is, in this table's own words.
#[derive(Clone, Copy)]
struct Kind {
    name: &'static str,
    /// Words beside an operation that let the caller in.
    words: &'static [&'static str],
    may_change: bool,
    standing: Standing,
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum Standing {
    Unknown,
    Member,
    /// Of a second programme.
    Foreign,
    Operator,
}

const fn kind(
    name: &'static str,
    standing: Standing,
    may_change: bool,
    words: &'static [&'static str],
) -> Kind {
    Kind {
        name,
        words,
        may_change,
        standing,
    }
}

use Standing::{Foreign, Member, Operator, Unknown};

const KINDS: [Kind; 16] = [
    kind("nobody", Unknown, false, &[]),
    kind("operator", Operator, true, &["operator"]),
    kind("manager", Member, true, &["manager", "holder"]),
    kind(
        "monitor of every site",
        Member,
        true,
        &["monitor", "monitor-of-every-site", "holder"],
    ),
    kind(
        "monitor of the right site",
        Member,
        true,
        &["monitor", "holder"],
    ),
    kind(
        "monitor of another site",
        Member,
        true,
        &["monitor", "holder"],
    ),
    kind("verifier", Member, true, &["verifier", "holder"]),
    kind("read-only manager", Member, false, &["manager", "holder"]),
    kind(
        "read-only monitor",
        Member,
        false,
        &["monitor", "monitor-of-every-site", "holder"],
    ),
    kind("expired token", Unknown, false, &[]),
    kind("revoked token", Unknown, false, &[]),
    kind("session of a disabled person", Unknown, false, &[]),
    kind("manager of a second programme", Foreign, true, &[]),
    kind("monitor of a second programme", Foreign, true, &[]),
    kind("verifier of a second programme", Foreign, true, &[]),
    kind(
        "read-only manager of a second programme",
        Foreign,
        false,
        &[],
    ),
];

struct Operation {
    method: Method,
    path: String,
    words: Vec<String>,
}

fn expected(kind: &Kind, operation: &Operation) -> Expected {
    let named = |word: &str| operation.words.iter().any(|each| each == word);
    if operation.words.is_empty() {
        return Expected::Through;
    }
    let reads = reads(operation);
    match kind.standing {
        Unknown => Expected::Unknown,
        Foreign => Expected::Refused,
        Member | Operator if !kind.words.iter().any(|word| named(word)) => Expected::Refused,
        Member if !reads && !kind.may_change && !named("holder") => Expected::Refused,
        Member
            if kind.name == "monitor of another site"
                && OF_ONE_SITE.iter().any(|end| operation.path.ends_with(end)) =>
        {
            Expected::Hidden
        }
        Member
            if kind.name.ends_with(" site")
                && !kind.name.contains("every")
                && operation.path.ends_with(OF_THE_SENDER) =>
        {
            Expected::Hidden
        }
        Member
            if reads
                && kind.words.contains(&"monitor")
                && OF_ITS_BEGINNER
                    .iter()
                    .any(|end| operation.path.ends_with(end)) =>
        {
            Expected::Hidden
        }
        Member | Operator => Expected::Through,
    }
}

fn reads(operation: &Operation) -> bool {
    let begins_a_submission = operation.path.ends_with("forms/submission");
    operation.method == Method::GET || (operation.method == Method::HEAD && !begins_a_submission)
}

fn is_as_expected(expected: Expected, reads: bool, status: u16) -> bool {
    match expected {
        Expected::Unknown => status == 401,
        Expected::Refused => status == 403,
        Expected::Hidden => status == 404,
        Expected::Through if reads => status == 200,
        Expected::Through => status < 500 && status != 401 && status != 403,
    }
}

/// Every operation of the description with the words beside it.
fn operations() -> Vec<Operation> {
    let text = emberbook::api::openapi_json().expect("a description");
    let document: Value = serde_json::from_str(&text).expect("JSON");
    let mut operations = Vec::new();
    for (path, methods) in document["paths"].as_object().expect("paths") {
        for (method, operation) in methods.as_object().expect("methods") {
            let words = operation["security"][0]["token"].as_array();
            let words: Vec<String> = words
                .into_iter()
                .flatten()
                .map(|word| word.as_str().expect("a word").to_owned())
                .collect();
            // An operation that says nothing of who may is missing from the table.
            assert_eq!(
                words.is_empty(),
                path.starts_with("/health/"),
                "{method} {path}"
            );
            for word in &words {
                assert!(WORDS.contains(&word.as_str()), "{method} {path}: {word}");
            }
            operations.push(Operation {
                method: method.to_ascii_uppercase().parse().expect("a method"),
                path: path.clone(),
                words,
            });
        }
    }
    operations
}

fn ends_a_token(operation: &Operation) -> bool {
    operation.path.ends_with("token/revoke")
}

/// What the manager began: an upload on its way, the job of another one that was cancelled, and
/// a refused file.
struct Begun {
    upload: String,
    job: String,
    refused: String,
}

async fn begun(programme: &TestProgramme) -> Begun {
    let manager = &programme.manager;
    let upload = uploads::begin(manager, "households", None, 10).await;
    let job = uploads::send(manager, "households", None, b"household_code").await;
    let cancel = format!("/jobs/{job}/cancel");
    manager.post(&cancel, &json!({})).await.ok(200);
    let wrong = manager.upload("households", None, "a,b\n1,2\n").await;
    let problem = wrong.problem(422, "rejected-batch");
    let marked = problem["marked_file"].as_str().expect("a marked file");
    Begun {
        upload: uploads::id_of(&upload),
        job,
        refused: marked.rsplit('/').next().expect("an id").to_owned(),
    }
}

fn address(operation: &Operation, programme: &str, begun: &Begun, flag: &str) -> String {
    let id = |value: &Value| value["id"].as_str().expect("an id").to_owned();
    let read = operation.method == Method::GET;
    let path = operation
        .path
        .replace("{round}", if read { DRAWN_ROUND } else { "no-such-round" })
        .replace("{programme}", programme)
        .replace("{statement}", &id(&seeded().statement))
        .replace("{file}", &begun.refused)
        .replace("{batch}", &id(&seeded().batches[0].1))
        .replace("{flag}", flag)
        .replace("{token}", NOTHING)
        .replace("{job}", &begun.job)
        .replace(
            "{upload}",
            // What is begun stays for those who only look at it.
            if reads(operation) {
                &begun.upload
            } else {
                NOTHING
            },
        )
        .replace("{serial}", "HB1-000001")
        .replace("{code}", "H-0001")
        .replace("/periods/{period}/findings", "/periods/2025/findings")
        .replace("/periods/{period}/methods", "/periods/2025/methods")
        .replace("{finding}", "F-001")
        .replace("{sha256}", &attached_hash())
        .replace("{line}", "2")
        .replace("{sequence}", "0")
        .replace("{size}", "1")
        .replace("{kind}", "households")
        .replace("{form}", "households")
        .replace(['{', '}'], "");
    let query = match path.rsplit('/').next() {
        Some("inclusion") => "?index=0",
        Some("consistency") => "?old_size=1",
        Some("proof") if path.contains("/statements/") => "?figure=reductions_co2e",
        Some("proof" | "proof-file") if !path.contains("/rows/") => {
            return format!("{path}?record=batch&key={}", id(&seeded().batches[0].1));
        }
        Some("difference") => return format!("{path}?from={}", id(&seeded().statement)),
        _ => "",
    };
    path + query
}

/// A client for each of [`KINDS`], in their order.
async fn callers(programme: &TestProgramme) -> Vec<(Kind, Client)> {
    let app = &programme.app;
    let of = |client: &Client, role: &str, more: Value| {
        let mut request = json!({"role": role, "label": format!("{role} of the matrix")});
        let members = more.as_object().cloned().unwrap_or_default();
        request.as_object_mut().expect("an object").extend(members);
        let client = client.clone();
        async move {
            let token = client.post("/tokens", &request).await.ok(201);
            let secret = token["secret"].as_str().expect("a secret").to_owned();
            (token["id"].as_str().expect("an id").to_owned(), secret)
        }
    };
    let own = &programme.manager;
    let second = create_programme(app, "second-isles").await;
    let secret = second["manager_token"]["secret"]
        .as_str()
        .expect("a secret");
    let other = programme_client(app, "second-isles").with_token(secret);
    let (_, expired) = of(own, "manager", json!({"expires_in_days": 1})).await;
    app.clock.advance_seconds(86_400);
    let (id, revoked) = of(own, "manager", json!({})).await;
    let revoke = own.post(&format!("/tokens/{id}/revoke"), &json!({})).await;
    revoke.ok(200);
    let operator = app
        .service
        .issue_operator_token("tests")
        .await
        .expect("a token");
    let read_only = json!({"read_only": true});
    let secrets = [
        operator,
        of(own, "manager", json!({})).await.1,
        of(own, "monitor", json!({})).await.1,
        of(own, "monitor", json!({"sites": [RIGHT_SITE]})).await.1,
        of(own, "monitor", json!({"sites": [OTHER_SITE]})).await.1,
        of(own, "verifier", json!({})).await.1,
        of(own, "manager", read_only.clone()).await.1,
        of(own, "monitor", read_only.clone()).await.1,
        expired,
        revoked,
        session_of_a_disabled_person(programme).await,
        of(&other, "manager", json!({})).await.1,
        of(&other, "monitor", json!({})).await.1,
        of(&other, "verifier", json!({})).await.1,
        of(&other, "manager", read_only).await.1,
    ];
    let stranger = app.client();
    let clients = secrets.iter().map(|secret| stranger.with_token(secret));
    let clients: Vec<Client> = std::iter::once(stranger.clone()).chain(clients).collect();
    assert_eq!(clients.len(), KINDS.len());
    KINDS.into_iter().zip(clients).collect()
}

async fn session_of_a_disabled_person(programme: &TestProgramme) -> String {
    let password = add_person(programme, "gone-1", "manager", None).await;
    let mut browser = Browser::new(programme);
    assert_eq!(browser.sign_in("gone-1", &password).await.status, 303);
    let change = json!({"role": "manager", "disabled": true});
    let disabled = programme
        .manager
        .post("/people/gone-1/change", &change)
        .await;
    disabled.ok(200);
    browser.session.expect("a session")
}

#[tokio::test]
async fn every_operation_answers_every_kind_of_caller_as_the_description_says() {
    let programme = seeded_programme().await;
    let flag = planted_flag(&programme).await;
    draw_a_round(&programme, DRAWN_ROUND).await;
    let callers = callers(&programme).await;
    let operations = operations();
    raise_with_file(&programme, "clarification_request").await;
    let begun = begun(&programme).await;
    let before = census(&programme.app.pool).await;
    let denied = programme.app.service.denials_counted();
    let mut requests: Vec<(&Operation, &Kind, &Client, Expected)> = Vec::new();
    for operation in &operations {
        for (kind, client) in &callers {
            requests.push((operation, kind, client, expected(kind, operation)));
        }
    }
    // Whoever ends the own token does so after all else.
    let last = |operation: &Operation, expected: Expected| {
        ends_a_token(operation) && expected == Expected::Through
    };
    requests.sort_by_key(|(operation, _, _, expected)| last(operation, *expected));
    let mut counted_before_the_last = false;
    let (mut wrong, mut refused, mut seen) = (Vec::new(), 0, BTreeSet::new());
    for (operation, kind, client, expected) in &requests {
        if last(operation, *expected) && !counted_before_the_last {
            // Nothing that was refused, and no empty request, has changed anything.
            assert_eq!(census(&programme.app.pool).await, before);
            counted_before_the_last = true;
        }
        let reads = reads(operation);
        let address = address(operation, &programme.code, &begun, &flag);
        let request = client.request(operation.method.clone(), &address);
        let request = request.header("Tus-Resumable", "1.0.0");
        let request = if reads {
            request
        } else {
            request.json(&json!({}))
        };
        let answer = Answer::of(request).await;
        refused += u64::from(answer.status == 401 || answer.status == 403);
        seen.insert(format!("{expected:?}"));
        if !is_as_expected(*expected, reads, answer.status) {
            let text: String = answer.text().chars().take(200).collect();
            wrong.push(format!(
                "{} {}, {}: {expected:?}, was {} {text}",
                operation.method, operation.path, kind.name, answer.status
            ));
        }
    }
    println!(
        "{} operations x {} kinds of caller = {} requests, {refused} of them refused",
        operations.len(),
        callers.len(),
        requests.len()
    );
    assert!(wrong.is_empty(), "{wrong:#?}");
    assert!(counted_before_the_last);
    assert_eq!(seen.len(), 4, "every expectation was met with: {seen:?}");
    assert_eq!(programme.app.service.denials_counted() - denied, refused);
}
