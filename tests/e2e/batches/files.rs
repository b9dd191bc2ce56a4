//! Files that are not what they should be: encodings, structure, headers.

use super::{case, refuses_each, rows};
use crate::support::TestProgramme;
use crate::support::programme::HOUSEHOLDS;

const KIND: &str = "households";
const GOOD: &str = "HH-9,NORTH,1,1,1,0";

fn utf16(text: &str) -> Vec<u8> {
    let mark = [0xFF, 0xFE];
    let units = text.encode_utf16().flat_map(u16::to_le_bytes);
    mark.into_iter().chain(units).collect()
}

/// The good file with one string of it replaced.
fn with(from: &str, to: &str) -> String {
    assert!(HOUSEHOLDS.contains(from));
    HOUSEHOLDS.replacen(from, to, 1)
}

#[tokio::test]
async fn a_file_in_another_encoding_or_with_a_broken_structure_is_refused() {
    let programme = TestProgramme::start().await;
    programme.frame().await;
    let cases = vec![
        case("nothing", KIND, "", &["- - empty_file"]),
        case("a mark alone", KIND, "\u{feff}", &["- - empty_file"]),
        case("a header alone", KIND, rows(KIND, &[]), &["- - no_rows"]),
        case("UTF-16", KIND, utf16(HOUSEHOLDS), &["- - not_utf8"]),
        case(
            "Windows-1252",
            KIND,
            rows(KIND, &[])
                .into_iter()
                .chain(*b"M\xE9nage,NORTH,1,1,1,0\n")
                .collect::<Vec<u8>>(),
            &["2 household_code not_utf8"],
        ),
        case(
            "a NUL byte",
            KIND,
            rows(KIND, &["HH\0-9,NORTH,1,1,1,0"]),
            &["2 - nul_byte"],
        ),
        case(
            "the start of a workbook",
            KIND,
            &b"PK\x03\x04\x14\0\x06\0"[..],
            &["- - not_a_workbook"],
        ),
        case(
            "semicolons",
            KIND,
            HOUSEHOLDS.replace(',', ";"),
            &["1 - delimiter"],
        ),
        case(
            "an open quote",
            KIND,
            rows(KIND, &["\"HH-9,NORTH,1,1,1,0"]),
            &["2 - broken_quote"],
        ),
        case(
            "a quote inside",
            KIND,
            rows(KIND, &["HH\"9,NORTH,1,1,1,0"]),
            &["2 - broken_quote"],
        ),
        case(
            "carriage returns alone",
            KIND,
            HOUSEHOLDS.replace('\n', "\r"),
            &["1 - line_end"],
        ),
        case(
            "a good row before a broken one",
            KIND,
            rows(KIND, &[GOOD, "HH\"9,NORTH,1,1,1,0"]),
            &["3 - broken_quote"],
        ),
        case(
            "cells too few and too many",
            KIND,
            rows(KIND, &["HH-9,NORTH,1,1,1", "HH-8,NORTH,1,1,1,0,0", GOOD]),
            &["2 - too_few_cells", "3 - too_many_cells"],
        ),
    ];
    refuses_each(&programme, cases).await;
}

#[tokio::test]
async fn a_header_that_is_not_the_templates_is_refused_with_its_columns_named() {
    let programme = TestProgramme::start().await;
    programme.frame().await;
    let kitchen = |from: &str, to: &str| {
        String::from_utf8(rows("kitchen_test", &[]))
            .expect("text")
            .replacen(from, to, 1)
            + "x\n"
    };
    let mut cases = vec![
        case(
            "another header altogether",
            KIND,
            "code,place\n1,2\n",
            &[
                "1 code unknown_column",
                "1 place unknown_column",
                "1 household_code missing_column",
                "1 site_code missing_column",
                "1 children_0_14 missing_column",
                "1 women_over_14 missing_column",
                "1 men_15_59 missing_column",
                "1 men_over_59 missing_column",
            ],
        ),
        case(
            "a column less",
            KIND,
            with(",men_over_59", ""),
            &["1 men_over_59 missing_column"],
        ),
        case(
            "a column more",
            KIND,
            with("men_over_59", "men_over_59,roof"),
            &["1 roof unknown_column"],
        ),
        case(
            "a column twice",
            KIND,
            with("men_over_59", "men_over_59,site_code"),
            &["1 site_code duplicate_column"],
        ),
        case(
            "a person's name",
            KIND,
            with("men_over_59", "men_over_59,head_name"),
            &["1 head_name personal_data"],
        ),
        case(
            "a telephone number",
            KIND,
            with("men_over_59", "men_over_59,phone"),
            &["1 phone personal_data"],
        ),
        case(
            "an exact position",
            KIND,
            with("men_over_59", "men_over_59,latitude"),
            &["1 latitude personal_data"],
        ),
    ];
    for (name, file, faults) in [
        (
            "no unit in the name of a mass",
            kitchen("added_wet_kg", "added"),
            &["1 added unit_missing"][..],
        ),
        (
            "no basis in the name of a moisture",
            kitchen("moisture_wb", "moisture"),
            &["1 moisture unit_missing"],
        ),
        (
            "another basis",
            kitchen("moisture_wb", "moisture_db"),
            &["1 moisture_db wrong_unit"],
        ),
    ] {
        cases.push(super::Case {
            round: Some("project"),
            ..case(name, "kitchen_test", file, faults)
        });
    }
    refuses_each(&programme, cases).await;
}

#[tokio::test]
async fn a_mark_other_line_ends_good_quotes_and_any_order_of_columns_are_accepted() {
    let programme = TestProgramme::start().await;
    programme.frame().await;
    let header = "household_code,site_code,children_0_14,women_over_14,men_15_59,men_over_59";
    for (code, file) in [
        ("MARK", format!("\u{feff}{header}\nMARK,NORTH,1,1,1,0\n")),
        ("CRLF", format!("{header}\r\nCRLF,NORTH,1,1,1,0\r\n")),
        (
            "QUOTED",
            format!("{header}\n\"QUOTED\",\"NORTH\",1,\"1\",1,0"),
        ),
        (
            "ORDER",
            "site_code,household_code,men_over_59,men_15_59,women_over_14,children_0_14\n\
             NORTH,ORDER,0,1,1,1\n"
                .to_owned(),
        ),
        ("BLANK", format!("{header}\nBLANK,NORTH,1,1,1,0\n\n,,,,,\n")),
    ] {
        let batch = programme.manager.upload(KIND, None, file).await.ok(201);
        assert_eq!(batch["rows"], 1, "{code}");
        let household = programme.manager.get(&format!("/households/{code}")).await;
        let cells = &household.ok(200)["cells"];
        assert_eq!(
            *cells,
            serde_json::json!({"household_code": code, "site_code": "NORTH", "children_0_14": "1",
                               "women_over_14": "1", "men_15_59": "1", "men_over_59": "0"})
        );
    }
}

#[tokio::test]
async fn every_template_is_itself_a_file_that_its_columns_describe() {
    let programme = TestProgramme::start().await;
    let templates = programme.manager.get("/templates").await.ok(200);
    let templates = templates.as_array().expect("a list");
    assert_eq!(templates.len(), 11);
    for template in templates {
        let kind = template["kind"].as_str().expect("a kind");
        let file = programme.manager.get(&format!("/templates/{kind}")).await;
        assert_eq!(file.status, 200);
        assert_eq!(file.header("content-type"), "text/csv; charset=utf-8");
        let columns = template["columns"].as_array().expect("columns");
        let names: Vec<&str> = columns.iter().filter_map(|c| c["name"].as_str()).collect();
        assert_eq!(file.text().lines().next(), Some(names.join(",").as_str()));
        assert_eq!(file.text().lines().count(), 2, "{kind}");
    }
    let unknown = programme.manager.get("/templates/stoves").await;
    unknown.problem(404, "not-found");
}
