//! The list for the field as a workbook, and a round of a large frame a page at a time.

use crate::people::Browser;
use crate::rounds::draw_a_round;
use crate::rounds_kinds::{drawn, measured};
use crate::support::seeded::seeded_programme;
use crate::support::{Answer, TestProgramme};
use calamine::{Data, Reader, Xlsx};
use reqwest::Method;
use serde_json::json;
use std::io::{Cursor, Read};
use std::time::{Duration, Instant};

const XLSX: &str = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet";

fn cells(bytes: &[u8]) -> Vec<Vec<Data>> {
    let mut book: Xlsx<_> = Xlsx::new(Cursor::new(bytes.to_vec())).expect("a workbook");
    let range = book.worksheet_range("field list").expect("the sheet");
    range.rows().map(<[Data]>::to_vec).collect()
}

fn texts(rows: &[Vec<Data>]) -> Vec<String> {
    rows.iter()
        .map(|row| {
            let cells: Vec<String> = row.iter().map(ToString::to_string).collect();
            cells.join(",")
        })
        .collect()
}

/// The XML of the sheet, as any program reads it.
fn sheet_xml(bytes: &[u8]) -> String {
    let mut archive = zip::ZipArchive::new(Cursor::new(bytes)).expect("an archive");
    let mut file = archive
        .by_name("xl/worksheets/sheet1.xml")
        .expect("a sheet");
    let mut xml = String::new();
    file.read_to_string(&mut xml).expect("text");
    xml
}

#[tokio::test]
async fn the_list_for_the_field_is_the_same_as_csv_and_as_a_workbook() {
    let programme = seeded_programme().await;
    let manager = &programme.manager;
    draw_a_round(&programme, "listed").await;
    let csv = manager.get("/rounds/listed/field-list").await.text();
    let file = manager.get("/rounds/listed/field-list.xlsx").await;
    assert_eq!((file.status, file.header("content-type")), (200, XLSX));
    assert!(
        file.header("content-disposition")
            .contains("listed-field-list.xlsx")
    );
    let rows = cells(&file.bytes);
    let lines: Vec<String> = csv.lines().map(str::to_owned).collect();
    assert_eq!(lines.len(), 1 + 46 + 8);
    assert_eq!(texts(&rows), lines);
    // Codes are text, ages and places numbers.
    for row in &rows[1..] {
        assert!(matches!(row[0], Data::String(_)) && matches!(row[1], Data::String(_)));
        assert!(matches!(row[7], Data::Float(_) | Data::Int(_)), "{row:?}");
    }
    let xml = sheet_xml(&file.bytes);
    assert!(xml.contains("state=\"frozen\"") && xml.contains("<col "));
    assert!(!xml.contains("<f>"));
    let request = manager
        .request(Method::GET, "/rounds/listed/field-list")
        .header("Accept", XLSX);
    let by_type = Answer::of(request).await;
    assert_eq!(by_type.header("content-type"), XLSX);
    assert_eq!(by_type.bytes, file.bytes);

    let mut browser = Browser::new(&programme);
    let secret = programme.manager_secret.clone();
    browser.send("/sign-in", &[("token", &secret)]).await;
    let page = browser.get("/rounds/listed").await.text();
    assert!(page.contains("href=\"/rounds/listed/field-list.xlsx\""));
    let from_page = browser.get("/rounds/listed/field-list.xlsx").await;
    assert_eq!(from_page.bytes, file.bytes);
    let none = manager.get("/rounds/usage-2025/field-list.xlsx").await;
    none.problem(404, "not-found");

    let mut plan = measured("char_weighing");
    plan["frame_from"] = json!("2025-01-01");
    drawn(manager, "samples", "char_lab", &plan).await;
    let file = manager.get("/rounds/samples/field-list.xlsx").await;
    let rows = cells(&file.bytes);
    let header = "sample_code,household_code,site_code,weighed_on,feedstock,group,standing,place";
    assert_eq!(texts(&rows[..1]), [header]);
    let first = texts(&rows[1..2]).remove(0);
    assert!(first.starts_with('W') && first.contains(",H-"), "{first}");
}

/// Households and stoves in any number, written behind the program's back.
async fn large_register(programme: &TestProgramme, households: i32) {
    programme.small_register().await;
    for sql in [
        "insert into household (programme_id, household_code, site_code, children_0_14,
             women_over_14, men_15_59, men_over_59, batch_id, line, sequence, row_hash)
         select programme_id, 'L-' || lpad(k::text, 6, '0'), site_code, 1, 1, 1, 0, batch_id,
                1000 + k, sequence, row_hash
         from (select * from household where household_code = 'HH-1') one,
              generate_series(1, $1) k",
        "insert into deployment (programme_id, serial, model_code, model_version, household_code,
             installed_on, second_stove, batch_id, line, sequence, row_hash)
         select programme_id, 'T-' || lpad(k::text, 6, '0'), model_code, model_version,
                'L-' || lpad(k::text, 6, '0'), installed_on, false, batch_id, 1000 + k, sequence,
                row_hash
         from (select * from deployment where serial = 'S-1') one, generate_series(1, $1) k",
        "analyze",
    ] {
        let query = sqlx::query(sqlx::AssertSqlSafe(sql));
        let query = if sql == "analyze" {
            query
        } else {
            query.bind(households)
        };
        query.execute(&programme.app.pool).await.expect(sql);
    }
}

#[tokio::test]
async fn a_round_of_a_hundred_thousand_units_is_shown_a_page_at_a_time() {
    let programme = TestProgramme::start().await;
    large_register(&programme, 100_000).await;
    let manager = &programme.manager;
    let mut plan = measured("stove");
    for (name, value) in [
        ("expected_mean", json!(null)),
        ("expected_standard_deviation", json!(null)),
        ("expected_share", json!("0.5")),
        ("precision", json!("0.0821")),
    ] {
        plan[name] = value;
    }
    let began = Instant::now();
    let (units, frame) = drawn(manager, "large", "usage_survey", &plan).await;
    println!("opened, framed, drawn and listed in {:?}", began.elapsed());
    assert_eq!((units.len(), frame), (400, 100_002));

    let began = Instant::now();
    let detail = manager.get("/rounds/large?limit=150&after=300").await;
    let detail = detail.ok(200);
    println!("read by the API in {:?}", began.elapsed());
    assert_eq!(detail["units"].as_array().map(Vec::len), Some(100));
    assert_eq!(detail["unit_count"], 400);
    assert!(detail["next"].is_null());
    assert_eq!(detail["units"][0]["unit"], units[300][1].as_str());
    manager
        .get("/rounds/large?limit=0")
        .await
        .problem(422, "invalid-fields");

    let mut browser = Browser::new(&programme);
    let secret = programme.manager_secret.clone();
    browser.send("/sign-in", &[("token", &secret)]).await;
    let began = Instant::now();
    let page = browser.get("/rounds/large").await.text();
    let taken = began.elapsed();
    println!("the page came in {taken:?}");
    assert!(taken < Duration::from_secs(5), "{taken:?}");
    assert_eq!(page.matches("data-label=\"Standing\"").count(), 100);
    assert!(page.contains("units 1 to 100 of 400"), "{page}");
    assert!(page.contains("href=\"/rounds/large?after=100#draw\""));
    let last = browser.get("/rounds/large?after=300").await.text();
    assert!(last.contains("units 301 to 400 of 400") && !last.contains("Further units"));
    assert!(last.contains(&units[399][1]) && !page.contains(&units[399][1]));
}
