//! What corrections do to statements: nothing at an earlier position, all of it in a restatement;
//! and what a verifier finds where the trail of them was tampered with.

use super::{exclude, id, replacement, supersede, withdraw};
use crate::support::bag::SpoiltBag;
use crate::support::seeded::seeded_programme;
use crate::support::{TestProgramme, seeded};
use crate::verifier::assert_sound_export;
use emberbook::accounting::records::kind;
use serde_json::{Value, json};

fn batch(file: &str) -> String {
    let known = seeded().batches.iter().find(|(name, _)| name == file);
    id(&known.expect(file).1)
}

async fn state(programme: &TestProgramme, restate: bool) -> Value {
    let request =
        json!({"period": "2025", "methodology": "kitchen-test-households@1", "restate": restate});
    programme
        .manager
        .post("/statements", &request)
        .await
        .ok(201)
}

async fn read(programme: &TestProgramme, view: &Value) -> Value {
    programme
        .manager
        .get(&format!("/statements/{}", id(view)))
        .await
        .ok(200)
}

fn figure(statement: &Value, id: &str) -> Value {
    let figures = statement["figures"].as_array().expect("figures");
    figures.iter().find(|figure| figure["id"] == id).expect(id)["value"].clone()
}

/// Ids of the batches that a statement read, of every role.
fn batches_read(statement: &Value) -> Vec<String> {
    let mut found = Vec::new();
    let sets = statement["evidence"].as_array().expect("evidence sets");
    for set in sets {
        for batch in set["batches"].as_array().expect("batches") {
            found.push(id(batch));
        }
    }
    found
}

/// Of each kind of correction one, on rows that the seeded statement reads.
async fn correct_three(programme: &TestProgramme) -> Vec<Value> {
    let usage = batch("usage-2025.csv");
    let outcome =
        json!({"outcome": "not_in_use", "days_used_last_week": "0", "share_of_meals": ""});
    let kitchen = exclude(programme, &batch("kitchen-project.csv"), 2)
        .await
        .ok(201);
    let answer = supersede(programme, &usage, 2, outcome).await.ok(201);
    let withdrawn = withdraw(programme, &batch("char-weighings-2025.csv"))
        .await
        .ok(201);
    vec![kitchen, answer, withdrawn]
}

#[tokio::test]
async fn a_correction_after_the_closing_shows_in_a_restatement_alone() {
    let programme = seeded_programme().await;
    let manager = &programme.manager;
    manager
        .post("/periods/2025/close", &json!({}))
        .await
        .ok(200);
    let at_closing = state(&programme, false).await;
    let bytes = manager
        .get(&format!("/statements/{}", id(&at_closing)))
        .await
        .bytes;
    let corrections = correct_three(&programme).await;

    // The same evidence at the same position: the same bytes, so the same statement.
    assert_eq!(state(&programme, false).await, at_closing);
    let again = manager
        .get(&format!("/statements/{}", id(&at_closing)))
        .await
        .bytes;
    assert_eq!(again, bytes);

    let restated = state(&programme, true).await;
    assert_eq!(restated["restatement"], true);
    let (old, new) = (
        read(&programme, &at_closing).await,
        read(&programme, &restated).await,
    );
    assert_eq!(
        figure(&old, "stoves_in_service_days"),
        figure(&new, "stoves_in_service_days")
    );
    assert_ne!(figure(&old, "use_rate"), figure(&new, "use_rate"));
    // A withdrawn batch is read no more; the row in place of another is.
    let (read_then, read_now) = (batches_read(&old), batches_read(&new));
    let gone = batch("char-weighings-2025.csv");
    assert!(read_then.contains(&gone) && !read_now.contains(&gone));
    let in_place = replacement(&corrections[1]);
    assert!(!read_then.contains(&in_place) && read_now.contains(&in_place));
    assert_sound_export(&programme).await;
}

#[tokio::test]
async fn in_an_open_period_the_next_statement_reads_what_stands_and_the_last_one_stays() {
    let programme = seeded_programme().await;
    correct_three(&programme).await;
    let statement = state(&programme, false).await;
    assert_ne!(id(&statement), id(&seeded().statement));
    let earlier = programme
        .manager
        .get(&format!("/statements/{}", id(&seeded().statement)))
        .await;
    assert_eq!(earlier.bytes, seeded().statement_bytes);
    // Computes both again from the rows, each at its own position.
    assert_sound_export(&programme).await;
}

async fn corrected_bag() -> SpoiltBag {
    let programme = seeded_programme().await;
    correct_three(&programme).await;
    state(&programme, false).await;
    let bag = SpoiltBag::of(&programme.manager.get("/export").await.bytes);
    let report = bag.verify();
    assert!(report.is_sound(), "{report}");
    bag
}

const ENTRIES: &str = "data/trail/entries.jsonl";
const CONTENTS: &str = "data/trail/contents.jsonl";

fn place_of(bag: &SpoiltBag, kind: &str) -> usize {
    let entries = String::from_utf8(bag.read(ENTRIES)).expect("text");
    let wanted = format!("\"kind\":\"{kind}\"");
    entries
        .lines()
        .position(|line| line.contains(&wanted))
        .expect(kind)
}

#[tokio::test]
async fn a_correction_that_is_cut_out_or_changed_is_found() {
    let bag = corrected_bag().await;
    let whole = (bag.read(ENTRIES), bag.read(CONTENTS));
    for kind in kind::CORRECTIONS {
        let place = place_of(&bag, kind);
        for file in [ENTRIES, CONTENTS] {
            bag.edit_lines(file, |lines| {
                lines.remove(place);
            });
        }
        bag.seal();
        let faults = bag.faults();
        assert!(
            faults.iter().any(|fault| fault.file.contains("trail/")),
            "{kind}: {faults:#?}"
        );
        bag.write(ENTRIES, &whole.0);
        bag.write(CONTENTS, &whole.1);

        bag.edit_lines(ENTRIES, |lines| {
            lines[place] = lines[place].replace("\"reason\":\"", "\"reason\":\"Not so: ");
        });
        bag.seal();
        let faults = bag.faults();
        assert!(
            faults.iter().any(|fault| fault.file.contains("trail/")),
            "{kind}: {faults:#?}"
        );
        bag.write(ENTRIES, &whole.0);
        bag.seal();
    }
    assert!(bag.verify().is_sound());
}

#[tokio::test]
async fn whoever_holds_the_key_and_moves_a_correction_is_told_by_the_figures() {
    let bag = corrected_bag().await;
    bag.forge_log(&seeded().code, |event, content| {
        if event.kind == kind::ROW_EXCLUDED {
            *content = content.replace("\"line\":2", "\"line\":3");
            assert!(content.contains("\"line\":3"), "{content}");
        }
    });
    let faults = bag.faults();
    let told = |fault: &emberbook::verify::Fault| fault.file.starts_with("data/statements/");
    assert!(faults.iter().any(told), "{faults:#?}");
    let bag = corrected_bag().await;
    bag.forge_log(&seeded().code, |event, content| {
        if event.kind == kind::ROW_EXCLUDED {
            *content = content.replace("\"line\":2", "\"line\":2000000");
        }
    });
    let faults = bag.faults();
    assert!(
        faults
            .iter()
            .any(|fault| fault.problem.contains("has no line")),
        "{faults:#?}"
    );
}
