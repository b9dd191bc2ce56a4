//! Files as the field has them: workbooks in and out, dry runs, marked files, own column names.

mod marked;
mod pages;

use crate::support::programme::HOUSEHOLDS;
use crate::support::{Answer, TestProgramme, census};
use crate::uploads;
use calamine::{Reader, Xlsx};
use reqwest::Method;
use rust_xlsxwriter::Workbook;
use serde_json::{Value, json};
use std::io::Cursor;

const XLSX: &str = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet";

/// A workbook of text cells from comma-separated lines.
pub fn workbook(csv: &str) -> Vec<u8> {
    let mut workbook = Workbook::new();
    let sheet = workbook.add_worksheet();
    sheet.set_name("Field").expect("a name");
    for (row, line) in (0_u32..).zip(csv.lines()) {
        for (at, cell) in (0_u16..).zip(line.split(',')) {
            sheet.write_string(row, at, cell).expect("a cell");
        }
    }
    workbook.save_to_buffer().expect("a workbook")
}

async fn send(programme: &TestProgramme, query: &str, media_type: &str, file: Vec<u8>) -> Answer {
    let request = programme
        .manager
        .request(Method::POST, &format!("/batches?{query}"))
        .header("Content-Type", media_type)
        .body(file);
    Answer::of(request).await
}

/// The cells of a sheet as texts, row by row.
fn cells(bytes: &[u8], sheet: &str) -> Vec<Vec<String>> {
    let mut book: Xlsx<_> = Xlsx::new(Cursor::new(bytes.to_vec())).expect("a workbook");
    let range = book.worksheet_range(sheet).expect("the sheet");
    let row = |row: &[calamine::Data]| row.iter().map(ToString::to_string).collect();
    range.rows().map(row).collect()
}

#[tokio::test]
async fn a_workbook_of_another_program_is_accepted_as_the_same_rows_as_csv() {
    let programme = TestProgramme::start().await;
    programme.frame().await;
    // Written by openpyxl (tests/reference/sheets.py): dates as cells, a whole number as 1.0, a
    // flag, an empty row, a first sheet of notes. Its type says CSV; its bytes say what it is.
    let file = include_bytes!("../../reference/sheets/deployments.xlsx").to_vec();
    let query = "kind=deployments&file_name=d.xlsx";
    // Faults name the sheet's own rows: the third row of data stands in row 5.
    let refused = send(&programme, query, "text/csv", file.clone()).await;
    let problem = refused.problem(422, "rejected-batch");
    let faults = crate::batches::faults(&problem);
    let unknown = |fault: &&String| fault.contains(" household_code ");
    let rows: Vec<&str> = faults
        .iter()
        .filter(unknown)
        .filter_map(|fault| fault.split(' ').next())
        .collect();
    assert_eq!(rows, ["2", "3", "5"], "{faults:?}");

    let sent = send(&programme, "kind=households", XLSX, workbook(HOUSEHOLDS)).await;
    let batch = sent.ok(201);
    assert_eq!(batch["rows"], 4);
    // The rows are the same, so their root is that of the CSV file; the bytes are not.
    let other = TestProgramme::start().await;
    other.frame().await;
    let csv = other
        .manager
        .upload("households", None, HOUSEHOLDS)
        .await
        .ok(201);
    assert_eq!(batch["root"], csv["root"]);
    assert_ne!(batch["file_sha256"], csv["file_sha256"]);

    let sent = send(&programme, query, "text/csv", file.clone()).await;
    let batch = sent.ok(201);
    assert_eq!(batch["rows"], 3);
    let id = batch["id"].as_str().expect("an id");
    let rows = programme
        .manager
        .get(&format!("/batches/{id}/rows"))
        .await
        .ok(200);
    let lines: Vec<&Value> = rows
        .as_array()
        .expect("rows")
        .iter()
        .map(|row| &row["line"])
        .collect();
    // A stored row's line is its place in the batch; the sheet's row is what faults name.
    assert_eq!(lines, [2, 3, 4]);
    assert_eq!(rows[0]["cells"]["installed_on"], "2024-02-29");
    assert_eq!(rows[0]["cells"]["second_stove"], "no");
    assert_eq!(rows[2]["cells"]["model_version"], "1");
    let again = send(&programme, "kind=deployments", XLSX, file)
        .await
        .ok(200);
    assert_eq!(again["repeated"], true);
}

#[tokio::test]
async fn a_workbook_that_is_uploaded_in_parts_becomes_a_batch_or_comes_back_marked() {
    let programme = TestProgramme::start().await;
    programme.frame().await;
    let manager = &programme.manager;
    let _workers = uploads::workers(&programme, 1);
    let wrong = workbook(&HOUSEHOLDS.replace("HH-3", "=3"));
    let id = uploads::send(manager, "households", None, &wrong).await;
    let job = uploads::ended(manager, &id).await;
    assert_eq!(job["state"], "failed", "{job:#}");
    let marked = marked::marked(&programme, &job["problem"]).await;
    assert_eq!((marked.status, marked.header("content-type")), (200, XLSX));
    let rows = cells(&marked.bytes, "Field");
    assert_eq!(rows[0].last().map(String::as_str), Some("what is wrong"));
    let told: Vec<bool> = rows.iter().map(|row| row[6].contains("formula")).collect();
    assert_eq!(told, [false, false, false, true, false]);

    let id = uploads::send(manager, "households", None, &workbook(HOUSEHOLDS)).await;
    let job = uploads::ended(manager, &id).await;
    assert_eq!(job["state"], "succeeded", "{job:#}");
    assert_eq!(job["result"]["rows"], 4);
}

#[tokio::test]
async fn a_dry_run_says_what_would_be_accepted_and_writes_nothing() {
    let programme = TestProgramme::start().await;
    programme.frame().await;
    let before = census(&programme.app.pool).await;
    let query = "kind=households&dry_run=true";
    for (media_type, file) in [
        ("text/csv", HOUSEHOLDS.as_bytes().to_vec()),
        (XLSX, workbook(HOUSEHOLDS)),
    ] {
        let checked = send(&programme, query, media_type, file).await.ok(200);
        assert_eq!(
            (&checked["dry_run"], &checked["rows"]),
            (&json!(true), &json!(4))
        );
        assert_eq!(checked["repeated"], false);
    }
    // What only the register knows is checked too.
    let unknown_site = HOUSEHOLDS.replace("NORTH", "SOUTH").into_bytes();
    let refused = send(&programme, query, "text/csv", unknown_site).await;
    let problem = refused.problem(422, "rejected-batch");
    assert_eq!(problem["rejection_count"], 4);
    assert_eq!(problem["marked_file"], Value::Null);
    assert_eq!(census(&programme.app.pool).await, before);
    let waiting: i64 = sqlx::query_scalar("select count(*) from rejected_file")
        .fetch_one(&programme.app.pool)
        .await
        .expect("a count");
    assert_eq!(waiting, 0);
    let accepted = programme
        .manager
        .upload("households", None, HOUSEHOLDS)
        .await
        .ok(201);
    assert_eq!(accepted["dry_run"], Value::Null);
}

#[tokio::test]
async fn own_column_names_are_saved_in_the_trail_and_used_where_they_are_needed() {
    let programme = TestProgramme::start().await;
    programme.frame().await;
    let own =
        HOUSEHOLDS
            .replacen("household_code", "Kode", 1)
            .replacen("children_0_14", "Watoto", 1);
    let put = |query: &str, columns: &Value| {
        let path = format!("/mappings/households{query}");
        Answer::of(programme.manager.request(Method::PUT, &path).json(columns))
    };
    let refused = programme
        .manager
        .upload("households", None, own.clone())
        .await;
    refused.problem(422, "rejected-batch");
    let columns = json!({"Kode": "household_code", "Watoto": "children_0_14"});
    let saved = put("", &columns).await.ok(200);
    assert_eq!(
        (&saved["name"], &saved["columns"]),
        (&json!("default"), &columns)
    );
    // Saving the same again is no event.
    assert_eq!(
        put("", &columns).await.ok(200)["sequence"],
        saved["sequence"]
    );
    let entries = programme.manager.get("/trail/entries").await;
    assert!(
        entries.text().contains("mapping-saved"),
        "{}",
        entries.text()
    );
    let listed = programme.manager.get("/mappings/households").await.ok(200);
    assert_eq!(listed.as_array().map(Vec::len), Some(1));

    // Faults are told by the programme's own names, those of the register too.
    let wrong = own
        .replace(",2,1,1,0", ",many,1,1,0")
        .replace("HH-2,NORTH", "HH-2,SOUTH");
    let refused = programme.manager.upload("households", None, wrong).await;
    let problem = refused.problem(422, "rejected-batch");
    assert_eq!(crate::batches::faults(&problem)[0], "2 Watoto not_a_number");
    assert_eq!(problem["rejections"][1]["column"], "site_code");
    let taken = programme
        .manager
        .upload("households", None, own)
        .await
        .ok(201);
    assert_eq!(taken["rows"], 4);

    let by_name =
        "A,site_code,children_0_14,women_over_14,men_15_59,men_over_59\nHH-8,NORTH,1,1,1,0\n";
    put("?name=second", &json!({"A": "household_code"}))
        .await
        .ok(200);
    let query = "kind=households&mapping=second";
    send(&programme, query, "text/csv", by_name.into())
        .await
        .ok(201);
    let unknown = send(
        &programme,
        "kind=households&mapping=third",
        "text/csv",
        by_name.replace("HH-8", "HH-7").into_bytes(),
    )
    .await;
    assert_eq!(
        unknown.problem(422, "invalid-fields")["errors"][0]["field"],
        "mapping"
    );

    for (columns, field) in [
        (json!({}), "columns"),
        (json!({"Kode": "code"}), "Kode"),
        (json!({"Simu": "household_code"}), "Simu"),
        (json!({"A": "site_code", "B": "site_code"}), "B"),
    ] {
        let problem = put("", &columns).await.problem(422, "invalid-fields");
        assert_eq!(problem["errors"][0]["field"], field, "{problem}");
    }
    let monitor = programme.client_of("monitor").await;
    let request = monitor
        .request(Method::PUT, "/mappings/households")
        .json(&columns);
    Answer::of(request).await.problem(403, "forbidden");
    assert_eq!(monitor.get("/mappings/households").await.status, 200);
}

#[tokio::test]
async fn templates_come_as_workbooks_too() {
    let programme = TestProgramme::start().await;
    let manager = &programme.manager;
    let by_name = manager.get("/templates/char_weighing.xlsx").await;
    assert_eq!(
        (by_name.status, by_name.header("content-type")),
        (200, XLSX)
    );
    assert_eq!(
        by_name.header("content-disposition"),
        "attachment; filename=\"char-weighing.xlsx\""
    );
    let request = manager.request(Method::GET, "/templates/char_weighing");
    let by_type = Answer::of(request.header("Accept", XLSX)).await;
    assert_eq!(by_type.bytes, by_name.bytes);
    let rows = cells(&by_name.bytes, "char_weighing");
    assert_eq!(rows[0][5], "char_wet_kg [kg wet]");
    assert!(rows[1][0].starts_with("example: "));
    let columns = cells(&by_name.bytes, "columns");
    assert_eq!(
        columns[0][..4],
        ["column", "what it is", "unit", "what it may hold"]
    );
    let csv = manager.get("/templates/char_weighing").await;
    assert!(csv.header("content-type").starts_with("text/csv"));
    manager
        .get("/templates/char_weighing.ods")
        .await
        .problem(404, "not-found");
    // Sent as it is it holds no data.
    programme.frame().await;
    let sent = send(
        &programme,
        "kind=char_weighing&round=char",
        XLSX,
        by_name.bytes,
    )
    .await;
    let problem = sent.problem(422, "rejected-batch");
    assert_eq!(crate::batches::faults(&problem), ["- - no_rows"]);
}

#[tokio::test]
async fn what_points_to_a_person_is_refused_with_its_place_and_not_repeated() {
    let programme = TestProgramme::start().await;
    programme.frame().await;
    let file = HOUSEHOLDS
        .replace("HH-1", "0712 345 678")
        .replace("HH-2", "a.b@mail.example")
        .replace("HH-3", "-17.71340;178.06500");
    for file in [workbook(&file), file.into_bytes()] {
        let sent = send(&programme, "kind=households", XLSX, file).await;
        let problem = sent.problem(422, "rejected-batch");
        let code = "household_code personal_data";
        let places = [2, 3, 4].map(|line| format!("{line} {code}"));
        assert_eq!(crate::batches::faults(&problem), places);
        let text = problem.to_string();
        for cell in ["0712", "mail.example", "17.713"] {
            assert!(!text.contains(cell), "{text}");
        }
    }
}
