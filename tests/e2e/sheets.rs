//! Files as the field has them: workbooks in and out, dry runs, marked files, own column names.

use crate::people::{Browser, add_person};
use crate::support::programme::{DEPLOYMENTS, HOUSEHOLDS};
use crate::support::seeded::seeded_programme;
use crate::support::{Answer, TestProgramme, census};
use calamine::{Reader, Xlsx};
use reqwest::Method;
use rust_xlsxwriter::Workbook;
use serde_json::{Value, json};
use std::io::{Cursor, Read};

const XLSX: &str = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet";

/// A workbook of text cells from comma-separated lines.
fn workbook(csv: &str) -> Vec<u8> {
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

/// The marked file of a refusal.
async fn marked(programme: &TestProgramme, problem: &Value) -> Answer {
    let address = problem["marked_file"].as_str().expect("a marked file");
    let base = format!("/api/v1/programmes/{}", programme.code);
    let path = address
        .strip_prefix(&base)
        .expect("an address of the programme");
    programme.manager.get(path).await
}

/// The cells of a sheet as texts, row by row.
fn cells(bytes: &[u8], sheet: &str) -> Vec<Vec<String>> {
    let mut book: Xlsx<_> = Xlsx::new(Cursor::new(bytes.to_vec())).expect("a workbook");
    let range = book.worksheet_range(sheet).expect("the sheet");
    let row = |row: &[calamine::Data]| row.iter().map(ToString::to_string).collect();
    range.rows().map(row).collect()
}

/// The cells that have a note, such as `D3`.
fn noted(bytes: &[u8]) -> Vec<String> {
    let mut archive = zip::ZipArchive::new(Cursor::new(bytes)).expect("an archive");
    let mut text = String::new();
    let mut part = archive.by_name("xl/comments1.xml").expect("notes");
    part.read_to_string(&mut text).expect("text");
    let ends = text.split("<comment ref=\"").skip(1);
    ends.filter_map(|rest| Some(rest.split_once('"')?.0.to_owned()))
        .collect()
}

#[tokio::test]
async fn a_workbook_of_another_program_is_accepted_as_the_same_rows_as_csv() {
    let programme = TestProgramme::start().await;
    programme.frame().await;
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

    // Written by openpyxl (tests/reference/sheets.py): dates as cells, a whole number as 1.0, a
    // flag, an empty row, a first sheet of notes. Its type says CSV; its bytes say what it is.
    let file = include_bytes!("../reference/sheets/deployments.xlsx").to_vec();
    let sent = send(
        &programme,
        "kind=deployments&file_name=d.xlsx",
        "text/csv",
        file.clone(),
    )
    .await;
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
    assert_eq!(lines, [2, 3, 5]);
    assert_eq!(rows[0]["cells"]["installed_on"], "2024-02-29");
    assert_eq!(rows[0]["cells"]["second_stove"], "no");
    assert_eq!(rows[2]["cells"]["model_version"], "1");
    let again = send(&programme, "kind=deployments", XLSX, file)
        .await
        .ok(200);
    assert_eq!(again["repeated"], true);
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
async fn a_refused_file_comes_back_marked_in_its_own_format() {
    let programme = TestProgramme::start().await;
    programme.small_register().await;
    let wrong = DEPLOYMENTS
        .replace("HH-2", "HH-99")
        .replace("S-3", "=1+1")
        .replace("S-", "T-");
    let sent = send(
        &programme,
        "kind=deployments&file_name=My%20file.csv",
        "text/csv",
        wrong.clone().into_bytes(),
    )
    .await;
    let problem = sent.problem(422, "rejected-batch");
    let file = marked(&programme, &problem).await;
    assert_eq!(file.status, 200);
    assert_eq!(
        file.header("content-disposition"),
        "attachment; filename=\"My-file-marked.csv\""
    );
    let text = file.text();
    let lines: Vec<&str> = text.lines().collect();
    assert!(lines[0].ends_with(",second_stove,what is wrong"), "{text}");
    assert!(
        lines[1].starts_with("T-1,") && !lines[2].ends_with(','),
        "{text}"
    );
    assert!(lines[3].starts_with("'=1+1,"), "{text}");

    let sent = send(&programme, "kind=deployments", XLSX, workbook(&wrong)).await;
    let problem = sent.problem(422, "rejected-batch");
    assert_eq!(problem["sheet"], "Field");
    let file = marked(&programme, &problem).await;
    assert_eq!(file.header("content-type"), XLSX);
    let rows = cells(&file.bytes, "Field");
    assert_eq!(rows[0][8], "what is wrong");
    assert!(rows[2][8].contains("HH-99"), "{:?}", rows[2]);
    assert_eq!(rows[3][0], "'=1+1");
    let marks: Vec<String> = noted(&file.bytes);
    for cell in ["D3", "A4"] {
        assert!(marks.iter().any(|mark| mark == cell), "{marks:?}");
    }
}

#[tokio::test]
async fn a_marked_file_is_for_its_programme_and_its_uploaders_and_goes_after_seven_days() {
    let programme = seeded_programme().await;
    let refused = programme
        .manager
        .upload("households", None, "a,b\n1,2\n")
        .await;
    let problem = refused.problem(422, "rejected-batch");
    let address = problem["marked_file"]
        .as_str()
        .expect("an address")
        .to_owned();
    let path = address
        .split_once("/batches")
        .map(|(_, rest)| format!("/batches{rest}"));
    let path = path.expect("a path");
    assert_eq!(programme.manager.get(&path).await.status, 200);
    let monitor = programme.client_of("monitor").await;
    assert_eq!(monitor.get(&path).await.status, 200);
    let verifier = programme.client_of("verifier").await;
    verifier.get(&path).await.problem(403, "forbidden");
    let bound = json!({"role": "monitor", "label": "of a site", "sites": ["LAGOON"]});
    let token = programme.manager.post("/tokens", &bound).await.ok(201);
    let bound = programme
        .stranger()
        .with_token(token["secret"].as_str().expect("a secret"));
    bound.get(&path).await.problem(404, "not-found");
    let own = bound.upload("households", None, "a,b\n1,2\n").await;
    let own = own.problem(422, "rejected-batch");
    let own = own["marked_file"]
        .as_str()
        .and_then(|own| own.split_once("/batches"));
    let own = format!("/batches{}", own.expect("an address").1);
    assert_eq!(bound.get(&own).await.status, 200);
    programme.app.clock.advance_seconds(7 * 86_400);
    programme.manager.get(&path).await.problem(404, "not-found");
    // The next refusal sweeps out what has expired.
    programme
        .manager
        .upload("households", None, "a,c\n1,2\n")
        .await
        .problem(422, "rejected-batch");
    let waiting: i64 = sqlx::query_scalar("select count(*) from rejected_file")
        .fetch_one(&programme.app.pool)
        .await
        .expect("a count");
    assert_eq!(waiting, 1);
}

/// Households with a wrong headcount in each row of `wrong`, rows counted as a spreadsheet does.
fn households(rows: u32, wrong: &[u32]) -> Vec<u8> {
    let mut book = Workbook::new();
    let sheet = book.add_worksheet();
    let header = HOUSEHOLDS.lines().next().expect("a header");
    for (at, name) in (0_u16..).zip(header.split(',')) {
        sheet.write_string(0, at, name).expect("a cell");
    }
    for row in 1..=rows {
        sheet
            .write_string(row, 0, format!("HH-{row}"))
            .expect("a cell");
        sheet.write_string(row, 1, "NORTH").expect("a cell");
        for (at, count) in [(2, 2), (3, 1), (4, 1), (5, 0)] {
            sheet.write_number(row, at, count).expect("a cell");
        }
        if wrong.contains(&(row + 1)) {
            sheet.write_number(row, 3, 99).expect("a cell");
        }
    }
    book.save_to_buffer().expect("a workbook")
}

async fn exactly_the_planted_errors_are_marked(rows: u32, planted: &[u32]) {
    let programme = TestProgramme::start().await;
    programme.frame().await;
    let file = households(rows, planted);
    let bytes = file.len();
    let began = std::time::Instant::now();
    let refused = send(&programme, "kind=households", XLSX, file).await;
    let took = began.elapsed();
    let problem = refused.problem(422, "rejected-batch");
    assert_eq!(problem["rejection_count"], planted.len());
    let file = marked(&programme, &problem).await;
    assert_eq!(file.status, 200);
    let sheet = cells(&file.bytes, "Sheet1");
    assert_eq!(sheet.len(), rows as usize + 1);
    let told: Vec<u32> = (1_u32..)
        .zip(&sheet)
        .skip(1)
        .filter(|(_, row)| row.get(6).is_some_and(|cell| !cell.is_empty()))
        .map(|(line, _)| line)
        .collect();
    assert_eq!(told, planted);
    let cells: Vec<String> = planted.iter().map(|line| format!("D{line}")).collect();
    assert_eq!(noted(&file.bytes), cells);
    println!(
        "{rows} rows, {bytes} bytes: {} faults marked in {took:.1?}",
        planted.len()
    );
}

#[tokio::test]
async fn exactly_the_planted_errors_of_a_small_workbook_are_marked() {
    exactly_the_planted_errors_are_marked(1_000, &[2, 77, 500, 1_001]).await;
}

#[tokio::test]
#[ignore = "takes long in a build without optimisation"]
async fn exactly_the_37_planted_errors_of_100_000_rows_are_marked() {
    let planted: Vec<u32> = (0..37).map(|at| 2 + at * 2_777).collect();
    exactly_the_planted_errors_are_marked(100_000, &planted).await;
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
        by_name.into(),
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

#[tokio::test]
async fn a_person_checks_sends_and_mends_a_file_on_the_pages() {
    let programme = TestProgramme::start().await;
    programme.frame().await;
    let browser = signed_in(&programme).await;
    let page = browser.get("/batches/send").await.text();
    for part in [
        "Check only",
        "/templates/households.xlsx",
        "/templates/households.csv",
    ] {
        assert!(page.contains(part), "{page}");
    }
    let template = browser.get("/templates/households.xlsx").await;
    assert_eq!(template.header("content-type"), XLSX);
    let before = census(&programme.app.pool).await;
    let checked = post_file(&browser, "check", HOUSEHOLDS).await;
    assert!(
        checked.text().contains("4 rows would be accepted"),
        "{}",
        checked.text()
    );
    assert_eq!(census(&programme.app.pool).await, before);
    let refused = post_file(&browser, "accept", &HOUSEHOLDS.replace("HH-1", "=1")).await;
    assert_eq!(refused.status, 422);
    let text = refused.text();
    assert!(text.contains("formula"), "{text}");
    let link = text
        .split("href=\"/batches/rejected/")
        .nth(1)
        .expect("a link");
    let id = link.split('"').next().expect("an id");
    let marked = browser.get(&format!("/batches/rejected/{id}")).await;
    assert!(
        marked.text().starts_with("household_code,"),
        "{}",
        marked.text()
    );
    let accepted = post_file(&browser, "accept", HOUSEHOLDS).await;
    assert!(
        accepted.text().contains("4 rows were added"),
        "{}",
        accepted.text()
    );

    let mut browser = browser;
    let fields = [
        ("kind", "deployment_ends"),
        ("name", "default"),
        ("column:serial", "Numéro"),
    ];
    let saved = browser.send("/batches/columns", &fields).await;
    assert!(saved.text().contains("<b>Saved.</b>"), "{}", saved.text());
    let shown = browser
        .get("/batches/columns?kind=deployment_ends")
        .await
        .text();
    assert!(shown.contains("value=\"Numéro\""), "{shown}");
    let fields = [("kind", "deployment_ends"), ("column:serial", "phone")];
    let refused = browser.send("/batches/columns", &fields).await;
    assert_eq!(refused.status, 422);
    assert!(
        refused.text().contains("telephone number"),
        "{}",
        refused.text()
    );
}

async fn signed_in(programme: &TestProgramme) -> Browser {
    let password = add_person(programme, "desk-1", "manager", None).await;
    let mut browser = Browser::new(programme);
    assert_eq!(browser.sign_in("desk-1", &password).await.status, 303);
    let chosen = "a long enough password of the tests";
    let fields = [
        ("current", password.as_str()),
        ("new", chosen),
        ("again", chosen),
    ];
    browser.send("/account", &fields).await;
    browser
}

async fn post_file(browser: &Browser, what: &str, csv: &str) -> Answer {
    let boundary = "sheet-of-the-tests";
    let mut body = String::new();
    for (name, value) in [
        ("kind", "households"),
        ("round", ""),
        ("mapping", ""),
        ("do", what),
    ] {
        body.push_str(&format!(
            "--{boundary}\r\nContent-Disposition: form-data; name=\"{name}\"\r\n\r\n{value}\r\n"
        ));
    }
    body.push_str(&format!(
        "--{boundary}\r\nContent-Disposition: form-data; name=\"file\"; filename=\"h.csv\"\r\n\
         Content-Type: text/csv\r\n\r\n{csv}\r\n--{boundary}--\r\n"
    ));
    let request = browser
        .request(Method::POST, "/batches/send")
        .header(
            "content-type",
            format!("multipart/form-data; boundary={boundary}"),
        )
        .body(body);
    Answer::of(request).await
}
