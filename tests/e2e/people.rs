//! People: added and shut out by a manager, in by name and password, braked when guessing.

use crate::access::tables_that_hold;
use crate::support::TestProgramme;
use crate::support::bag::SpoiltBag;
use crate::support::seeded::seeded_programme;
pub use crate::support::visitor::Browser;
use emberbook::verify::{Options, verify};
use serde_json::{Value, json};

/// Adds a person over the API; returns the first password.
pub async fn add_person(
    programme: &TestProgramme,
    name: &str,
    role: &str,
    sites: Option<&[&str]>,
) -> String {
    let request = json!({"name": name, "role": role, "sites": sites});
    let added = programme.manager.post("/people", &request).await.ok(201);
    assert_eq!(added["first_password"], true);
    added["password"].as_str().expect("a password").to_owned()
}

/// Kinds and contents of the trail's entries about people and tokens.
async fn trail_of_access(programme: &TestProgramme) -> Vec<(String, Value)> {
    let entries = programme
        .manager
        .get("/trail/entries?limit=1000")
        .await
        .ok(200);
    let mut found = Vec::new();
    for entry in entries.as_array().expect("entries") {
        let kind = entry["kind"].as_str().expect("a kind").to_owned();
        if ["person", "password", "token"]
            .iter()
            .any(|word| kind.starts_with(word))
        {
            let path = format!("/trail/entries/{}", entry["sequence"]);
            let entry = programme.manager.get(&path).await.ok(200);
            found.push((kind, entry["content"].clone()));
        }
    }
    found
}

const CHOSEN: &str = "four dry sticks of bamboo";

#[tokio::test]
async fn a_person_comes_in_with_a_first_password_and_replaces_it_before_anything_else() {
    let programme = TestProgramme::start().await;
    programme.frame().await;
    let first = add_person(&programme, "north-1", "monitor", Some(&["NORTH"])).await;
    let mut browser = Browser::new(&programme);
    assert_eq!(browser.get("/").await.header("location"), "/sign-in");
    let came = browser.sign_in("north-1", &first).await;
    assert_eq!((came.status, came.header("location")), (303, "/"));
    for page in ["/", "/register", "/batches", "/people"] {
        assert_eq!(
            browser.get(page).await.header("location"),
            "/account",
            "{page}"
        );
    }
    for (current, new) in [
        ("wrong", CHOSEN),
        (first.as_str(), "too short"),
        (first.as_str(), "hello-north-1-hello"),
        (first.as_str(), first.as_str()),
    ] {
        assert_eq!(browser.choose(current, new).await.status, 422, "{new}");
    }
    let elsewhere = browser.session.clone();
    let changed = browser.choose(&first, CHOSEN).await;
    assert_eq!((changed.status, changed.header("location")), (303, "/"));
    assert_eq!(browser.get("/").await.status, 200);
    // Every earlier session has ended.
    let mut old = Browser::new(&programme);
    old.session = elsewhere;
    assert_eq!(old.get("/").await.header("location"), "/sign-in");
    assert_eq!(old.sign_in("north-1", &first).await.status, 422);
    assert_eq!(old.sign_in("north-1", CHOSEN).await.status, 303);
    // Twelve hours later the session is over.
    programme.app.clock.advance_seconds(12 * 3_600);
    assert_eq!(browser.get("/").await.header("location"), "/sign-in");
}

#[tokio::test]
async fn a_disabled_person_is_out_at_once_and_can_be_let_in_again() {
    let programme = TestProgramme::start().await;
    let first = add_person(&programme, "office-2", "manager", None).await;
    let mut browser = Browser::new(&programme);
    browser.sign_in("office-2", &first).await;
    browser.choose(&first, CHOSEN).await;
    let mut own = browser.session.clone();
    assert_eq!(browser.get("/people").await.status, 200);
    let own_change = [("role", "verifier"), ("sites", "")];
    let shut = browser.send("/people/office-2/change", &own_change).await;
    assert_eq!(shut.status, 409, "nobody shuts themselves out");

    let change = |disabled: bool| json!({"role": "manager", "disabled": disabled});
    let path = "/people/office-2/change";
    let disabled = programme.manager.post(path, &change(true)).await.ok(200);
    assert!(disabled["disabled_at"].is_string());
    assert_eq!(browser.get("/people").await.header("location"), "/sign-in");
    assert_eq!(browser.sign_in("office-2", CHOSEN).await.status, 422);
    programme.manager.post(path, &change(false)).await.ok(200);
    std::mem::swap(&mut browser.session, &mut own);
    assert_eq!(browser.get("/people").await.header("location"), "/sign-in");
    assert_eq!(browser.sign_in("office-2", CHOSEN).await.status, 303);
    assert_eq!(browser.get("/people").await.status, 200);
    // A new first password ends the sessions and the chosen one.
    let renewed = programme
        .manager
        .post("/people/office-2/new-password", &json!({}))
        .await
        .ok(200);
    assert_eq!(browser.get("/people").await.header("location"), "/sign-in");
    assert_eq!(browser.sign_in("office-2", CHOSEN).await.status, 422);
    let password = renewed["password"].as_str().expect("a password");
    assert_eq!(browser.sign_in("office-2", password).await.status, 303);
}

#[tokio::test]
async fn what_a_person_cannot_be_is_refused_and_a_password_is_shown_once() {
    let programme = TestProgramme::start().await;
    programme.frame().await;
    let manager = &programme.manager;
    for wrong in [
        json!({"name": "Ann Other", "role": "verifier"}),
        json!({"name": "", "role": "verifier"}),
        json!({"name": "n1", "role": "monitor"}),
        json!({"name": "n1", "role": "monitor", "sites": []}),
        json!({"name": "n1", "role": "monitor", "sites": ["SOUTH"]}),
        json!({"name": "n1", "role": "verifier", "sites": ["NORTH"]}),
        json!({"name": "n1", "role": "owner"}),
    ] {
        manager
            .post("/people", &wrong)
            .await
            .problem(422, "invalid-fields");
    }
    let right = json!({"name": "n1", "role": "monitor", "sites": ["NORTH"]});
    manager.post_once("/people", &right, "k1").await.ok(201);
    manager
        .post_once("/people", &right, "k1")
        .await
        .problem(409, "shown-once");
    manager
        .post("/people", &right)
        .await
        .problem(409, "name-taken");
    let unknown = json!({"role": "manager", "disabled": false});
    manager
        .post("/people/n2/change", &unknown)
        .await
        .problem(404, "not-found");
    manager
        .post("/people/%00/new-password", &json!({}))
        .await
        .problem(404, "not-found");
    assert_eq!(
        manager
            .get("/people")
            .await
            .ok(200)
            .as_array()
            .map(Vec::len),
        Some(1)
    );
}

#[tokio::test]
async fn every_change_of_a_person_is_in_the_trail_and_no_password_is_anywhere() {
    let programme = seeded_programme().await;
    let first = add_person(&programme, "check-1", "verifier", None).await;
    let change = json!({"role": "monitor", "sites": ["HILL"], "disabled": false});
    programme
        .manager
        .post("/people/check-1/change", &change)
        .await
        .ok(200);
    let mut browser = Browser::new(&programme);
    browser.sign_in("check-1", &first).await;
    assert_eq!(browser.choose(&first, CHOSEN).await.status, 303);
    let disable = json!({"role": "monitor", "sites": ["HILL"], "disabled": true});
    programme
        .manager
        .post("/people/check-1/change", &disable)
        .await
        .ok(200);

    let trail = trail_of_access(&programme).await;
    let kinds: Vec<&str> = trail.iter().map(|(kind, _)| kind.as_str()).collect();
    assert_eq!(
        kinds,
        [
            "person-added",
            "person-changed",
            "password-set",
            "person-changed"
        ]
    );
    let id = trail[0].1["id"].clone();
    let person = |role: &str, sites: Value, disabled: bool| json!({"id": id, "name": "check-1", "role": role, "sites": sites, "disabled": disabled});
    assert_eq!(trail[0].1, person("verifier", Value::Null, false));
    assert_eq!(trail[1].1, person("monitor", json!(["HILL"]), false));
    assert_eq!(
        trail[2].1,
        json!({"id": id, "name": "check-1", "first": false})
    );
    assert_eq!(trail[3].1, person("monitor", json!(["HILL"]), true));

    let pool = &programme.app.pool;
    for password in [first.as_str(), CHOSEN] {
        assert_eq!(
            tables_that_hold(pool, password, password.as_bytes()).await,
            [""; 0]
        );
    }
    let hash = "$argon2id$v=19$m=19456,t=2,p=1$";
    assert_eq!(
        tables_that_hold(pool, hash, hash.as_bytes()).await,
        ["person.password_hash"]
    );
    // The offline verifier reads these entries too.
    let bag = programme.manager.get("/export").await;
    let report = verify(&SpoiltBag::of(&bag.bytes).root, &Options::default());
    assert!(report.is_sound(), "{report}");
}

#[tokio::test]
async fn guessing_is_braked_for_an_account_wherever_it_comes_from() {
    let programme = TestProgramme::start().await;
    let first = add_person(&programme, "office-3", "manager", None).await;
    let mut browser = Browser::new(&programme);
    for from in [
        "192.0.2.1",
        "192.0.2.2",
        "192.0.2.3",
        "192.0.2.4",
        "192.0.2.5",
    ] {
        browser.from = from;
        assert_eq!(browser.sign_in("office-3", "guess").await.status, 422);
    }
    let braked = browser.sign_in("office-3", &first).await;
    assert_eq!(braked.status, 429, "even the right one waits now");
    assert!(braked.text().contains("15 minutes"), "{}", braked.text());
    programme.app.clock.advance_seconds(15 * 60);
    assert_eq!(browser.sign_in("office-3", &first).await.status, 303);
}

#[tokio::test]
async fn guessing_is_braked_for_an_address_whatever_the_account() {
    let programme = TestProgramme::start().await;
    let mut browser = Browser::new(&programme);
    for number in 0..30 {
        let fields = [("token", "not.one")];
        let answer = match number % 10 {
            0 => browser.sign_in(&format!("nobody-{number}"), "guess").await,
            _ => browser.send("/sign-in", &fields).await,
        };
        assert_eq!(answer.status, 422, "{number}");
    }
    let secret = programme.manager_secret.clone();
    let right = [("token", secret.as_str())];
    assert_eq!(browser.send("/sign-in", &right).await.status, 429);
    browser.from = "192.0.2.9";
    assert_eq!(browser.send("/sign-in", &right).await.status, 303);
}

#[tokio::test]
async fn the_pages_of_access_open_to_those_they_are_for() {
    let programme = seeded_programme().await;
    let mut browsers = Vec::new();
    for (name, role, sites) in [
        ("p-man", "manager", None),
        ("p-mon", "monitor", Some(&["HILL"][..])),
        ("p-ver", "verifier", None),
    ] {
        let first = add_person(&programme, name, role, sites).await;
        let mut browser = Browser::new(&programme);
        browser.sign_in(name, &first).await;
        browser.choose(&first, CHOSEN).await;
        browsers.push(browser);
    }
    let statement = crate::support::seeded().statement["id"]
        .as_str()
        .expect("an id");
    let difference = format!("/statements/{statement}/difference?from={statement}");
    let statement = format!("/statements/{statement}");
    let households = crate::support::seeded().batches[0].1["id"].as_str();
    let households = households.expect("an id");
    let batch = format!("/batches/{households}");
    // H-0001 lives at LAGOON, H-0002 at HILL.
    let (lagoon, hill) = (
        format!("/rows/{households}/2"),
        format!("/rows/{households}/3"),
    );
    for (page, expected) in [
        ("/", [200, 200, 200]),
        ("/account", [200, 200, 200]),
        ("/register", [200, 200, 200]),
        ("/batches", [200, 200, 200]),
        (batch.as_str(), [200, 200, 200]),
        (lagoon.as_str(), [200, 404, 200]),
        (hill.as_str(), [200, 200, 200]),
        ("/factors", [200, 200, 200]),
        ("/people", [200, 403, 403]),
        ("/denials", [200, 403, 200]),
        ("/statements", [200, 403, 200]),
        (statement.as_str(), [200, 403, 200]),
        (difference.as_str(), [200, 403, 200]),
        ("/methods/2025", [200, 403, 200]),
        ("/trail", [200, 403, 200]),
        ("/export", [200, 403, 200]),
    ] {
        for (browser, status) in browsers.iter().zip(expected) {
            let answer = browser.get(page).await;
            assert_eq!(answer.status, status, "{page}");
            if status == 200 && page != "/export" {
                // No tab leads to a refusal.
                let text = answer.text();
                assert_eq!(
                    text.contains("<li><a href=\"/people\""),
                    expected_tab(browser, &browsers, 0)
                );
                assert_eq!(
                    text.contains("<li><a href=\"/trail\""),
                    !expected_tab(browser, &browsers, 1)
                );
            }
        }
    }
    let denied = browsers[0].get("/denials").await.text();
    assert!(
        denied.contains("monitor: p-mon") && denied.contains("/export"),
        "{denied}"
    );
    let add = [
        ("name", "p-new"),
        ("role", "monitor"),
        ("sites", "HILL, LAGOON"),
    ];
    let added = browsers[0].send("/people", &add).await;
    assert!(
        added.text().contains("First password of p-new"),
        "{}",
        added.text()
    );
    let token = [
        ("label", "tablet 9"),
        ("role", "monitor"),
        ("sites", ""),
        ("days", "30"),
    ];
    let issued = browsers[0].send("/tokens", &token).await;
    assert!(
        issued.text().contains("Token tablet 9"),
        "{}",
        issued.text()
    );
    assert_eq!(browsers[1].send("/tokens", &token).await.status, 403);
}

/// Whether `browser` is the one at this place.
fn expected_tab(browser: &Browser, browsers: &[Browser], place: usize) -> bool {
    browsers
        .get(place)
        .is_some_and(|each| std::ptr::eq(each, browser))
}
