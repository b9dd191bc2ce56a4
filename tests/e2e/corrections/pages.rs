//! The forms of the row and batch pages, sent as a browser without script sends them.

use super::{id, send};
use crate::people::{Browser, add_person};
use crate::support::TestProgramme;

async fn signed_in(programme: &TestProgramme, role: &str) -> Browser {
    let name = format!("{role}-1");
    let first = add_person(programme, &name, role, None).await;
    let mut browser = Browser::new(programme);
    assert_eq!(browser.sign_in(&name, &first).await.status, 303);
    let chosen = "a longer pass phrase of mine";
    let fields = [
        ("current", first.as_str()),
        ("new", chosen),
        ("again", chosen),
    ];
    let answer = browser.send("/account", &fields).await;
    assert!(answer.status < 400, "{}", answer.text());
    browser
}

#[tokio::test]
async fn a_manager_corrects_on_the_pages_and_everyone_reads_the_chain() {
    let programme = TestProgramme::start().await;
    programme.small_register().await;
    let rows = [
        "HH-1,S-1,2025-09-03,not_in_use,,",
        "HH-2,S-2,2025-09-03,in_use,7,0.9",
    ];
    let batch = send(&programme, "usage_survey", Some("usage"), &rows).await;
    let mut manager = signed_in(&programme, "manager").await;
    let verifier = signed_in(&programme, "verifier").await;
    let row = format!("/rows/{batch}/2");
    assert!(manager.get(&row).await.text().contains("/supersede\""));
    assert!(!verifier.get(&row).await.text().contains("/supersede\""));

    let mut fields = vec![
        ("cell-household_code", "HH-1"),
        ("cell-serial", "S-1"),
        ("cell-surveyed_on", "2025-09-03"),
        ("cell-outcome", "in_use"),
        ("cell-days_used_last_week", "6"),
        ("cell-share_of_meals", ""),
        ("reason", ""),
    ];
    let refused = manager.send(&format!("{row}/supersede"), &fields).await;
    assert_eq!(refused.status, 422);
    let text = refused.text();
    assert!(
        text.contains("must say why") && text.contains("value=\"6\""),
        "{text}"
    );
    fields.pop();
    fields.push(("reason", "Sheet misread <b>twice</b>"));
    let done = manager.send(&format!("{row}/supersede"), &fields).await;
    assert_eq!(done.status, 303, "{}", done.text());
    let new = done.header("location").to_owned();
    for page in [
        row.as_str(),
        new.as_str(),
        &format!("/batches/{batch}"),
        "/batches",
        "/corrections",
    ] {
        for text in [
            manager.get(page).await.text(),
            verifier.get(page).await.text(),
        ] {
            assert!(text.contains("Sheet misread"), "{page}: {text}");
            assert!(!text.contains("<b>twice</b>"), "{page}: a reason is text");
        }
    }
    let old = manager.get(&row).await.text();
    assert!(
        old.contains("This row is superseded") && old.contains(&new),
        "{old}"
    );
    assert!(!old.contains("/supersede\""));

    // While the new row stands, the batch is not withdrawn: its page and the refusal name it.
    let page = format!("/batches/{batch}");
    let refused = manager
        .send(&format!("{page}/withdraw"), &[("reason", "Twice sent")])
        .await;
    assert_eq!(refused.status, 409);
    for text in [refused.text(), manager.get(&page).await.text()] {
        assert!(
            text.contains(&format!("in place of line 2: <a href=\"{new}\"")),
            "{text}"
        );
        assert!(!text.contains("<button>Withdraw"), "{text}");
    }
    assert!(
        refused
            .text()
            .contains("withdraw first the batches that hold them now")
    );

    let other = format!("/rows/{batch}/3");
    let reason = [("reason", "A feast day")];
    assert_eq!(
        manager
            .send(&format!("{other}/exclude"), &reason)
            .await
            .status,
        303
    );
    assert!(
        verifier
            .get(&other)
            .await
            .text()
            .contains("This row is excluded")
    );
    assert_eq!(
        manager
            .send(&format!("{other}/exclude"), &reason)
            .await
            .status,
        409
    );

    let second = send(
        &programme,
        "usage_survey",
        Some("usage"),
        &["HH-3,S-3,2025-09-03,in_use,7,"],
    )
    .await;
    let page = format!("/batches/{second}");
    assert!(manager.get(&page).await.text().contains("/withdraw\""));
    assert_eq!(
        manager
            .send(&format!("{page}/withdraw"), &reason)
            .await
            .status,
        303
    );
    let text = manager.get(&page).await.text();
    assert!(text.contains("withdrawn: none of its rows counts") && !text.contains("/withdraw\""));
    assert_eq!(
        manager
            .send(&format!("{page}/withdraw"), &reason)
            .await
            .status,
        409
    );

    let listed = programme.manager.get("/corrections?limit=2").await.ok(200);
    let kinds = |page: &serde_json::Value| -> Vec<String> {
        let items = page["items"].as_array().expect("items");
        items.iter().map(|each| each["kind"].to_string()).collect()
    };
    assert_eq!(kinds(&listed), ["\"withdrawn\"", "\"excluded\""]);
    let next = listed["next"].as_str().expect("a cursor");
    let rest = programme
        .manager
        .get(&format!("/corrections?limit=2&after={next}"))
        .await
        .ok(200);
    assert_eq!(kinds(&rest), ["\"superseded\""]);
    assert!(new.contains(&id(
        &serde_json::json!({"id": rest["items"][0]["replaced_by"]})
    )));
}
