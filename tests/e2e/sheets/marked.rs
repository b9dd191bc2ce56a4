//! Refused files that come back marked: to whom, for how long, and exactly where they are wrong.

use super::{XLSX, cells, send, workbook};
use crate::support::programme::{DEPLOYMENTS, HOUSEHOLDS};
use crate::support::seeded::seeded_programme;
use crate::support::{Answer, TestProgramme};
use rust_xlsxwriter::Workbook;
use serde_json::{Value, json};
use std::io::{Cursor, Read};

/// The marked file of a refusal.
pub(super) async fn marked(programme: &TestProgramme, problem: &Value) -> Answer {
    let address = problem["marked_file"].as_str().expect("a marked file");
    let base = format!("/api/v1/programmes/{}", programme.code);
    let path = address
        .strip_prefix(&base)
        .expect("an address of the programme");
    programme.manager.get(path).await
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
async fn exactly_the_37_planted_errors_of_20_000_rows_are_marked() {
    // The first row and the last one are among them.
    let planted: Vec<u32> = (0..37).map(|at| 2 + at * 19_999 / 36).collect();
    exactly_the_planted_errors_are_marked(20_000, &planted).await;
}

#[tokio::test]
#[ignore = "takes long in a build without optimisation"]
async fn exactly_the_37_planted_errors_of_100_000_rows_are_marked() {
    let planted: Vec<u32> = (0..37).map(|at| 2 + at * 99_999 / 36).collect();
    exactly_the_planted_errors_are_marked(100_000, &planted).await;
}
