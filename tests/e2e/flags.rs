//! Flags: invented files with planted oddities are accepted, flagged, read, answered; clean
//! files raise nothing; no row changes.

use crate::people::{Browser, add_person};
use crate::support::TestProgramme;
use crate::support::bag::SpoiltBag;
use emberbook::verify::{Options, verify};
use serde_json::{Value, json};
use std::collections::BTreeSet;

const KITCHEN: &str = "household_code,measured_on,device,fuel,stock_start_wet_kg,added_wet_kg,\
                       stock_end_wet_kg,moisture_wb,children_0_14,women_over_14,men_15_59,\
                       men_over_59,enumerator_code,started_at,ended_at";

/// One flag in a programme of the seed folder: a reading of wet fuel. Returns its id.
pub async fn planted_flag(programme: &TestProgramme) -> String {
    let manager = &programme.manager;
    let round = json!({"code": "wet", "kind": "moisture", "starts_on": "2025-01-01",
                       "ends_on": "2026-01-01", "design": "One reading."});
    manager.post("/rounds", &round).await.ok(201);
    let file = "household_code,measured_on,fuel,moisture_wb\nH-0001,2025-01-02,coconut_husk,0.25\n";
    let batch = manager.upload("moisture_reading", Some("wet"), file).await;
    let batch = batch.ok(201)["id"].as_str().expect("an id").to_owned();
    let flags = manager.get(&format!("/flags?batch={batch}")).await.ok(200);
    let flags = flags["items"].as_array().expect("flags");
    assert_eq!(flags.len(), 1, "{flags:?}");
    flags[0]["id"].as_str().expect("an id").to_owned()
}

/// Eleven days of two kitchens, the second copied from the first by one enumerator who reads
/// every scale to a whole 10 g, with one huge day, one day of three like masses, one of wet
/// fuel, and two visits five minutes apart.
fn planted_kitchens() -> String {
    let mut lines = vec![KITCHEN.to_owned()];
    for household in ["HH-1", "HH-3"] {
        for day in 1..=11 {
            let masses = match (household, day) {
                ("HH-1", 11) => "5.00,5.00,5.00,0.14".to_owned(),
                ("HH-3", 11) => "90.00,1.00,3.00,0.14".to_owned(),
                ("HH-3", 10) => "6.10,1.00,3.00,0.25".to_owned(),
                _ => format!("6.{day:02}0,1.00,3.00,0.14"),
            };
            let minute = if household == "HH-1" { "00" } else { "05" };
            let visit = match day {
                1 => format!("2025-05-01T09:{minute},2025-05-01T09:40"),
                _ => ",".to_owned(),
            };
            lines.push(format!(
                "{household},2025-05-{day:02},gasifier,wood,{masses},2,1,1,0,EN-1,{visit}"
            ));
        }
    }
    lines.join("\n") + "\n"
}

async fn flags(programme: &TestProgramme, query: &str) -> Vec<Value> {
    let page = programme.manager.get(&format!("/flags?{query}")).await;
    let page = page.ok(200);
    page["items"].as_array().expect("flags").clone()
}

async fn kinds_of_the_trail(programme: &TestProgramme) -> Vec<String> {
    let entries = programme.manager.get("/trail/entries?limit=1000").await;
    let entries = entries.ok(200);
    let kinds = entries.as_array().expect("entries").iter();
    kinds
        .map(|entry| entry["kind"].as_str().expect("a kind").to_owned())
        .collect()
}

fn text<'a>(value: &'a Value, name: &str) -> &'a str {
    value[name].as_str().expect(name)
}

#[tokio::test]
async fn planted_rows_are_accepted_and_flagged_by_each_screen() {
    let programme = TestProgramme::start().await;
    programme.small_register().await;
    let manager = &programme.manager;
    let kitchens = manager
        .upload("kitchen_test", Some("project"), planted_kitchens())
        .await
        .ok(201);
    assert_eq!(kitchens["rows"], 22);
    let twice = "household_code,weighed_on,feedstock,fuel_burnt_wet_kg,fuel_moisture_wb,\
                 char_wet_kg,char_moisture_wb,fate\n\
                 HH-1,2025-03-01,wood,10,0.1,1.8,0.05,soil\n\
                 HH-1,2025-03-01,wood,11,0.1,1.9,0.05,soil\n";
    let weighings = manager.upload("char_weighing", Some("char"), twice).await;
    weighings.ok(201);
    let of_round = |round: &str| format!("round={round}");
    let raised = flags(&programme, &of_round("project")).await;
    let screens: BTreeSet<&str> = raised.iter().map(|flag| text(flag, "screen")).collect();
    let expected = [
        "beyond_limits",
        "digit_heaping",
        "extreme_value",
        "near_twins",
        "pace",
        "straight_line",
    ];
    assert_eq!(screens, BTreeSet::from(expected));
    assert!(raised.iter().all(|flag| flag["batch"] == kitchens["id"]));
    let duplicates = flags(&programme, &of_round("char")).await;
    assert_eq!(duplicates.len(), 1);
    assert_eq!(text(&duplicates[0], "screen"), "duplicate_unit");
    let wet = raised
        .iter()
        .find(|flag| flag["screen"] == "beyond_limits")
        .expect("a flag");
    let detail = manager.get(&format!("/flags/{}", text(wet, "id"))).await;
    let detail = detail.ok(200);
    assert_eq!(
        detail["places"],
        json!([{"batch": kitchens["id"], "line": 22}])
    );
    assert_eq!(detail["rows"][0]["cells"]["moisture_wb"], "0.25");
    assert_eq!(detail["rows"][0]["cells"]["enumerator_code"], "EN-1");
    // One entry for the flags of a batch, after that of the batch.
    let kinds = kinds_of_the_trail(&programme).await;
    let last: Vec<&str> = kinds.iter().rev().take(4).map(String::as_str).collect();
    let expected = [
        "flags-raised",
        "batch-accepted",
        "flags-raised",
        "batch-accepted",
    ];
    assert_eq!(last, expected);
    // Rows and pages of a longer list go on where they ended.
    let first = manager.get("/flags?limit=2").await.ok(200);
    let next = text(&first, "next").to_owned();
    let rest = flags(&programme, &format!("after={next}")).await;
    assert_eq!(rest.len() + 2, raised.len() + duplicates.len());
}

#[tokio::test]
async fn clean_rows_raise_nothing_and_later_rows_are_held_against_earlier_ones() {
    let programme = TestProgramme::start().await;
    programme.small_register().await;
    let manager = &programme.manager;
    let day = |household: &str, day: u32, start: &str, visit: &str| {
        format!(
            "{household},2025-05-{day:02},gasifier,wood,{start},0.52,3.07,0.14,2,1,1,0,{visit}\n"
        )
    };
    let mut clean = format!("{KITCHEN}\n");
    for (at, start) in [(1, "6.31"), (2, "5.94"), (3, "7.12")] {
        let visit = format!("EN-1,2025-05-{at:02}T08:00,2025-05-{at:02}T08:20");
        clean += &day("HH-1", at, start, &visit);
    }
    let batch = manager.upload("kitchen_test", Some("project"), clean).await;
    batch.ok(201);
    assert!(flags(&programme, "").await.is_empty());
    let kinds = kinds_of_the_trail(&programme).await;
    assert!(!kinds.contains(&"flags-raised".to_owned()));
    // A second file of the round repeats the weighings of the first at another household.
    let mut copied = format!("{KITCHEN}\n");
    for (at, start) in [(1, "6.31"), (2, "5.94"), (3, "7.12")] {
        copied += &day("HH-3", at, start, "EN-1,,");
    }
    let later = manager
        .upload("kitchen_test", Some("project"), copied.clone())
        .await;
    let later = later.ok(201);
    let raised = flags(&programme, "open=true").await;
    assert_eq!(raised.len(), 3, "{raised:?}");
    for flag in &raised {
        assert_eq!(text(flag, "screen"), "near_twins");
        let detail = manager.get(&format!("/flags/{}", text(flag, "id"))).await;
        let detail = detail.ok(200);
        let places = detail["places"].as_array().expect("places");
        assert_eq!(places.len(), 2);
        assert_ne!(places[0]["batch"], later["id"]);
        assert_eq!(places[1]["batch"], later["id"]);
    }
    // The file sent again is known, and raises nothing again.
    let again = manager
        .upload("kitchen_test", Some("project"), copied)
        .await;
    assert_eq!(again.ok(200)["repeated"], true);
    assert_eq!(flags(&programme, "open=true").await.len(), 3);
    // A row in place of another is screened like any batch, and not held against the row that
    // it replaces.
    let cells = json!({"stock_start_wet_kg": "6.47", "moisture_wb": "0.25"});
    let replaced = crate::corrections::supersede(&programme, text(&later, "id"), 2, cells).await;
    let replaced = replaced.ok(201);
    let of_new_row = format!("batch={}", text(&replaced, "replaced_by"));
    let raised = flags(&programme, &of_new_row).await;
    let screens: Vec<&str> = raised.iter().map(|flag| text(flag, "screen")).collect();
    assert_eq!(screens, ["beyond_limits"]);
}

#[tokio::test]
async fn an_answer_is_a_managers_word_with_a_reason_and_changes_no_row() {
    let programme = TestProgramme::start().await;
    programme.small_register().await;
    let manager = &programme.manager;
    let batch = manager
        .upload("kitchen_test", Some("project"), planted_kitchens())
        .await
        .ok(201);
    let rows = format!("/batches/{}/rows", text(&batch, "id"));
    let before = manager.get(&rows).await.ok(200);
    let raised = flags(&programme, "open=true").await;
    let path = format!("/flags/{}/disposition", text(&raised[0], "id"));
    let answer = |word: &str, reason: &str| json!({"disposition": word, "reason": reason});
    let refused = manager.post(&path, &answer("stands", " ")).await;
    refused.problem(422, "invalid-fields");
    let refused = manager
        .post(&path, &answer("deleted", "no such word"))
        .await;
    assert_eq!(refused.status, 422);
    for role in ["monitor", "verifier"] {
        let client = programme.client_of(role).await;
        let refused = client
            .post(&path, &answer("stands", "not mine to say"))
            .await;
        refused.problem(403, "forbidden");
        client.get("/flags").await.ok(200);
    }
    let unknown = "/flags/00000000-0000-0000-0000-000000000000/disposition";
    let refused = manager
        .post(unknown, &answer("stands", "nothing there"))
        .await;
    refused.problem(404, "not-found");
    let once = manager
        .post_once(&path, &answer("to_be_corrected", "the scale was off"), "k1")
        .await;
    assert_eq!(once.ok(200)["disposition"], "to_be_corrected");
    let again = manager
        .post_once(&path, &answer("to_be_corrected", "the scale was off"), "k1")
        .await;
    again.ok(200);
    let last = manager
        .post(&path, &answer("stands", "weighed again: right"))
        .await;
    last.ok(200);
    let detail = manager
        .get(&format!("/flags/{}", text(&raised[0], "id")))
        .await;
    let detail = detail.ok(200);
    let answers = detail["answers"].as_array().expect("answers");
    assert_eq!(answers.len(), 2);
    assert_eq!(answers[1]["disposition"], "stands");
    assert_eq!(answers[1]["who"], "manager: office");
    assert_eq!(detail["disposition"], "stands");
    assert_eq!(flags(&programme, "open=true").await.len(), raised.len() - 1);
    assert_eq!(flags(&programme, "open=false").await.len(), 1);
    assert_eq!(manager.get(&rows).await.ok(200), before);
    let kinds = kinds_of_the_trail(&programme).await;
    assert_eq!(
        kinds.iter().filter(|kind| *kind == "flag-answered").count(),
        2
    );
    // Rows with the later columns, flags and answers: the bag checks.
    let export = manager.get("/export").await;
    assert_eq!(export.status, 200);
    let bag = SpoiltBag::of(&export.bytes);
    let report = verify(&bag.root, &Options::default());
    assert!(report.is_sound(), "{report}");
}

#[tokio::test]
async fn the_pages_show_open_flags_first_and_take_an_answer() {
    let programme = TestProgramme::start().await;
    programme.small_register().await;
    let batch = programme
        .manager
        .upload("kitchen_test", Some("project"), planted_kitchens())
        .await
        .ok(201);
    let raised = flags(&programme, "").await;
    let flag = format!("/flags/{}", text(&raised[0], "id"));
    let password = add_person(&programme, "office-1", "manager", None).await;
    let mut browser = Browser::new(&programme);
    assert_eq!(browser.sign_in("office-1", &password).await.status, 303);
    let chosen = [
        ("current", password.as_str()),
        ("new", "a long enough phrase 7"),
        ("again", "a long enough phrase 7"),
    ];
    assert_eq!(browser.send("/account", &chosen).await.status, 303);
    let list = browser.get("/flags").await;
    assert_eq!(list.status, 200);
    assert!(list.text().contains(&format!("Open: {}", raised.len())));
    assert!(browser.get("/batches").await.text().contains("/flags"));
    let batch = browser
        .get(&format!("/batches/{}", text(&batch, "id")))
        .await;
    assert!(batch.text().contains(&flag));
    let page = browser.get(&flag).await.text();
    assert!(page.contains("/rows/") && page.contains("<form"), "{page}");
    let form = format!("{flag}/disposition");
    let empty = [("disposition", "stands"), ("reason", "")];
    assert_eq!(browser.send(&form, &empty).await.status, 422);
    let given = [("disposition", "stands"), ("reason", "seen in the kitchen")];
    assert_eq!(browser.send(&form, &given).await.status, 303);
    assert!(
        browser
            .get(&flag)
            .await
            .text()
            .contains("seen in the kitchen")
    );
    let list = browser.get("/flags").await.text();
    assert!(list.contains(&format!("Open: {}", raised.len() - 1)));
    let (open, answered) = list.split_once("id=\"answered\"").expect("both lists");
    assert!(!open.contains(&flag) && answered.contains(&flag));
}
