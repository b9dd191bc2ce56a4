//! Findings in the bag and on the pages.

use super::{CLASSES, batch_of, file, finding, ids, raise_with_file, statement_id};
use crate::people::{Browser, add_person};
use crate::support::bag::SpoiltBag;
use crate::support::seeded;
use crate::support::seeded::seeded_programme;
use serde_json::{Value, json};

#[tokio::test]
async fn the_bag_holds_the_findings_and_what_is_done_to_them_is_found() {
    const FINDINGS: &str = "data/findings.json";
    let programme = seeded_programme().await;
    let verifier = raise_with_file(&programme, CLASSES[0]).await;
    let second = finding(CLASSES[2], "round", "usage-2025");
    let rounds = programme.manager.get("/rounds").await.ok(200);
    let mut second = second;
    second["subject"]["key"] = rounds[0]["code"].clone();
    verifier.post("/findings", &second).await.ok(201);
    programme
        .manager
        .post("/findings/F-001/answer", &json!({"text": "So."}))
        .await
        .ok(200);
    let export = programme.manager.get("/export").await;
    let bag = SpoiltBag::of(&export.bytes);
    assert!(bag.verify().is_sound(), "{}", bag.verify());
    let told: Value = serde_json::from_slice(&bag.read(FINDINGS)).expect("JSON");
    assert_eq!(ids(&told), ["F-001", "F-002"]);
    assert_eq!(told[0]["dialogue"][1]["text"], "So.");
    assert_eq!(told[0]["dialogue"][0]["attachments"][0], file());
    let spoilt = |change: &dyn Fn(&mut Vec<String>), words: &str| {
        let bag = SpoiltBag::of(&export.bytes);
        bag.edit_lines(FINDINGS, |lines| change(lines));
        bag.seal();
        let faults = bag.faults();
        let named = |fault: &emberbook::verify::Fault| {
            fault.file == FINDINGS && fault.problem.contains(words)
        };
        assert!(faults.iter().any(named), "{words}: {faults:#?}");
        assert!(
            faults.iter().all(|fault| fault.file == FINDINGS),
            "{faults:#?}"
        );
    };
    spoilt(
        &|lines| lines[1] = lines[1].replace("So.", "No."),
        "F-001 differs",
    );
    spoilt(
        &|lines| lines[2] = lines[2].replace("\"open\"", "\"closed\""),
        "F-002 differs",
    );
    let drop_first = |lines: &mut Vec<String>| drop(lines.remove(1));
    spoilt(&drop_first, "F-001 is in the trail and not here");
    spoilt(
        &|lines| lines[2] = lines[2].replace("F-002", "F-003"),
        "not in the trail",
    );
    spoilt(
        &|lines| lines[1] = lines[1].replacen("\":", "\": ", 1),
        "order or form",
    );
    // Who holds the key of the log cannot let the programme close a finding itself.
    let forged = SpoiltBag::of(&export.bytes);
    forged.forge_log(&seeded().code, |event, content| {
        if event.kind == "finding-answered" {
            *content = content.replace("\"number\":1", "\"number\":7");
        }
    });
    let faults = forged.faults();
    assert!(
        faults
            .iter()
            .any(|fault| fault.problem.contains("F-007 was never opened")),
        "{faults:#?}"
    );
}

#[tokio::test]
async fn the_pages_carry_the_dialogue_without_script() {
    let programme = seeded_programme().await;
    let mut browsers = Vec::new();
    for (name, role) in [
        ("ver-1", "verifier"),
        ("man-1", "manager"),
        ("mon-1", "monitor"),
    ] {
        let sites: Option<&[&str]> = (role == "monitor").then_some(&["LAGOON"]);
        let first = add_person(&programme, name, role, sites).await;
        let mut browser = Browser::new(&programme);
        browser.sign_in(name, &first).await;
        let chosen = "four dry sticks of bamboo";
        let fields = [
            ("current", first.as_str()),
            ("new", chosen),
            ("again", chosen),
        ];
        browser.send("/account", &fields).await;
        browsers.push(browser);
    }
    let [verifier, manager, monitor] = &mut browsers[..] else {
        panic!("three browsers");
    };
    let id = statement_id();
    let batch = batch_of("deployments.csv");
    let overview = verifier.get("/").await.text();
    assert!(overview.contains("No finding is open.") && overview.contains("href=\"/findings\""));
    for page in [
        format!("/rows/{batch}/2"),
        format!("/batches/{batch}"),
        format!("/statements/{id}"),
        format!("/statements/{id}/trace"),
        "/factors/gwp-ar5-100-ch4@1".to_owned(),
        "/findings".to_owned(),
    ] {
        let raise = "href=\"/findings/new?kind=";
        assert!(verifier.get(&page).await.text().contains(raise), "{page}");
        assert!(!manager.get(&page).await.text().contains(raise), "{page}");
    }
    let form = format!("/findings/new?kind=figure&key={id}/fuel_saved");
    assert_eq!(manager.get(&form).await.status, 403);
    assert!(
        verifier
            .get(&form)
            .await
            .text()
            .contains("Figure fuel saved")
    );
    let key = format!("{id}/fuel_saved");
    let mut fields = vec![
        ("kind", "figure"),
        ("key", key.as_str()),
        ("class", CLASSES[0]),
        ("text", "Why <so> much?"),
        ("sha256", "abc"),
        ("size_bytes", "3"),
    ];
    let refused = verifier.send("/findings", &fields).await;
    assert_eq!(refused.status, 422);
    assert!(
        refused.text().contains("Why &#60;so&#62; much?"),
        "{}",
        refused.text()
    );
    fields.truncate(4);
    let opened = verifier.send("/findings", &fields).await;
    assert_eq!(
        (opened.status, opened.header("location")),
        (303, "/findings/F-001")
    );
    let page = manager.get("/findings/F-001").await.text();
    assert!(page.contains("Corrective action request") && page.contains("/F-001/answer"));
    assert!(!page.contains("/F-001/close") && !page.contains("<script"));
    let answer = [("text", "Because.")];
    assert_eq!(
        verifier
            .send("/findings/F-001/answer", &answer)
            .await
            .status,
        403
    );
    assert_eq!(
        manager.send("/findings/F-001/answer", &answer).await.status,
        303
    );
    assert!(
        manager
            .get("/")
            .await
            .text()
            .contains("Period 2025 cannot be closed before")
    );
    let page = verifier.get("/findings").await.text();
    assert!(page.contains("answered: waits for the verifier"), "{page}");
    assert_eq!(
        verifier.send("/findings/F-001/close", &answer).await.status,
        303
    );
    assert_eq!(
        verifier.send("/findings/F-001/close", &answer).await.status,
        409
    );
    assert!(
        verifier
            .get("/findings/F-001")
            .await
            .text()
            .contains("/F-001/reopen")
    );
    assert_eq!(monitor.get("/findings").await.status, 403);
    assert!(!monitor.get("/").await.text().contains("/findings"));
}
