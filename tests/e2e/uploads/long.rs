//! A batch longer than what is screened at a time: each part is looked at, and no row twice.

use super::programme;
use serde_json::{Value, json};

/// Invented readings of 60 households on each day of a year, one row each, with wet fuel where
/// `wet` says so; the header is line 1.
fn readings(wet: &[usize]) -> Vec<u8> {
    let first = chrono::NaiveDate::from_ymd_opt(2025, 1, 1).expect("a day");
    let days: Vec<_> = first.iter_days().take(365).collect();
    let mut text = "household_code,measured_on,fuel,moisture_wb\n".to_owned();
    let rows = (0..60).flat_map(|household| days.iter().map(move |day| (household, day)));
    for (line, (household, day)) in (2..).zip(rows) {
        let moisture = if wet.contains(&line) { "0.25" } else { "0.12" };
        text += &format!("HH-R{household},{day},wood,{moisture}\n");
    }
    text.into_bytes()
}

#[tokio::test]
async fn a_long_batch_is_screened_in_parts_and_each_row_is_flagged_once() {
    let programme = programme().await;
    let manager = &programme.manager;
    let rows: Vec<String> = (0..60).map(|n| format!("HH-R{n},NORTH,2,1,1,0")).collect();
    let rows: Vec<&str> = rows.iter().map(String::as_str).collect();
    let households = crate::batches::rows("households", &rows);
    manager.upload("households", None, households).await.ok(201);
    let round = json!({"code": "wet", "kind": "moisture", "starts_on": "2025-01-01",
                       "ends_on": "2026-01-01", "design": "Every household."});
    manager.post("/rounds", &round).await.ok(201);
    // The second part begins on line 20,002, and has rows from line 1,902 on for company.
    let planted = [2, 5_000, 20_001, 20_002, 21_901];
    let sent = manager
        .upload("moisture_reading", Some("wet"), readings(&planted))
        .await;
    let batch = sent.ok(201);
    assert_eq!(batch["rows"], 21_900);
    let page = manager.get("/flags?round=wet&limit=100").await.ok(200);
    let mut told = Vec::new();
    for flag in page["items"].as_array().expect("flags") {
        if flag["screen"] != "beyond_limits" {
            continue;
        }
        let id = flag["id"].as_str().expect("an id");
        let detail = manager.get(&format!("/flags/{id}")).await.ok(200);
        let lines = detail["places"].as_array().expect("places").iter();
        told.extend(lines.filter_map(|place| place["line"].as_u64()));
        assert_eq!(detail["rows"][0]["cells"]["moisture_wb"], "0.25");
    }
    assert_eq!(Value::from(told), json!(planted));
}
