//! The close of a round, tampered with by who holds the key of the log: only working it out
//! again from the rows can tell.

use crate::rounds::draw_a_round;
use crate::support::bag::SpoiltBag;
use crate::support::seeded::seeded_programme;
use emberbook::accounting::rounds::records::kind;
use emberbook::trail::canonical::canonical_json;
use emberbook::verify::Fault;
use serde_json::{Value, json};

const ROUND: &str = "usage-2026";

/// Fault on the close of the round.
fn named(fault: &Fault, words: &str) -> bool {
    fault.file == "data/trail/contents.jsonl"
        && fault
            .problem
            .starts_with(&format!("round {ROUND}: its close"))
        && fault.problem.contains(words)
}

#[tokio::test]
async fn a_close_that_its_rows_do_not_give_is_found_and_its_round_is_named() {
    let programme = seeded_programme().await;
    let manager = &programme.manager;
    draw_a_round(&programme, ROUND).await;
    let list = manager.get(&format!("/rounds/{ROUND}/field-list")).await;
    let mut csv =
        "household_code,serial,surveyed_on,outcome,days_used_last_week,share_of_meals\n".to_owned();
    for (at, line) in list.text().lines().skip(1).take(46).enumerate() {
        let cells: Vec<&str> = line.split(',').collect();
        let answer = match at {
            0 => "refused,,",
            at if at % 6 == 0 => "not_in_use,0,",
            _ => "in_use,7,0.60",
        };
        csv.push_str(&format!("{},{},2026-09-10,{answer}\n", cells[0], cells[1]));
    }
    manager
        .upload("usage_survey", Some(ROUND), csv)
        .await
        .ok(201);
    let path = format!("/rounds/{ROUND}/close");
    let closed = manager.post(&path, &json!({})).await.ok(200);
    // A round without a draw is closed too, and says nothing of its precision.
    manager
        .post("/rounds/usage-2025/close", &json!({}))
        .await
        .ok(200);
    let export = manager.get("/export").await.bytes;

    let honest = SpoiltBag::of(&export);
    let report = honest.verify();
    assert!(report.is_sound(), "{report}");
    let done = "1 draw(s) made again, 2 close(s) of rounds worked out again";
    assert!(report.to_string().contains(done), "{report}");

    for (place, better) in [
        ("/achieved/half_width", json!("0.0123")),
        ("/achieved/value", json!("0.99")),
        ("/achieved/answered", json!(46)),
        ("/counts/refused", json!(0)),
        ("/response", json!("1")),
    ] {
        assert_ne!(closed.pointer(place), Some(&better));
        let bag = SpoiltBag::of(&export);
        bag.forge_log(&programme.code, |event, content| {
            if event.kind == kind::ROUND_CLOSED && event.subject == ROUND {
                let mut record: Value = serde_json::from_str(content).expect("JSON");
                *record.pointer_mut(place).expect("a place") = better.clone();
                let bytes = canonical_json(&record).expect("canonical");
                *content = String::from_utf8(bytes).expect("text");
            }
        });
        let faults = bag.faults();
        let field = place.trim_start_matches('/').replace('/', ".");
        let found = faults.iter().any(|fault| named(fault, &field));
        assert!(found, "{place}: {faults:#?}");
        assert!(
            faults.iter().all(|fault| named(fault, "")),
            "{place}: {faults:#?}"
        );
    }
    let bag = SpoiltBag::of(&export);
    bag.forge_log(&programme.code, |event, content| {
        if event.kind == kind::ROUND_CLOSED && event.subject == "usage-2025" {
            *content = content.replace("no sample of it was drawn", "all of it was drawn");
        }
    });
    let faults = bag.faults();
    assert!(
        faults
            .iter()
            .any(|fault| fault.problem.contains("round usage-2025: its close")),
        "{faults:#?}"
    );
}
