//! Good files: line numbers, canonical texts, JSON, and how much is held in memory.

use super::{file_of, places, read_all};
use crate::intake::lexer::{BUFFER_BYTES, RECORD_BYTES_MAX};
use crate::intake::{BatchKind, CsvReader, row_from_texts};
use std::cell::Cell;
use std::io::{self, Read};
use std::rc::Rc;

const HOUSEHOLDS: BatchKind = BatchKind::Households;

#[test]
fn the_example_of_every_template_is_read_back_as_it_is_shown() {
    for kind in BatchKind::ALL {
        let template = kind.template();
        let (rows, rejections) = read_all(kind, template.example_csv().as_bytes());
        assert_eq!(rejections, [], "{kind}");
        assert_eq!(rows.len(), 1, "{kind}");
        for (index, column) in template.columns.iter().enumerate() {
            assert_eq!(
                rows[0].text(index),
                column.example,
                "{kind} {}",
                column.name
            );
        }
    }
}

#[test]
fn the_kitchen_test_example_is_this_file() {
    assert_eq!(
        BatchKind::KitchenTest.template().example_csv(),
        "household_code,measured_on,device,fuel,stock_start_wet_kg,added_wet_kg,stock_end_wet_kg,\
         moisture_wb,children_0_14,women_over_14,men_15_59,men_over_59,enumerator_code,\
         started_at,ended_at\n\
         HH-0001,2025-05-12,gasifier,coconut_husk,6.20,1.50,4.35,0.14,3,2,1,0,EN-01,\
         2025-06-10T09:05,2025-06-10T09:40\n"
    );
}

#[test]
fn a_byte_order_mark_line_ends_quotes_and_a_missing_last_line_end_change_nothing() {
    let header = HOUSEHOLDS.template().header();
    let plain = format!("{header}\nH-1,NORTH,1,2,3,0\n");
    let (wanted, rejections) = read_all(HOUSEHOLDS, plain.as_bytes());
    assert_eq!((wanted.len(), rejections.len()), (1, 0));
    for other in [
        format!("\u{feff}{plain}"),
        plain.replace('\n', "\r\n"),
        plain.trim_end().to_owned(),
        plain
            .replace("NORTH", "\"NORTH\"")
            .replace("site_code", "\"site_code\""),
        format!(
            "\u{feff}\"household_code\"{}",
            &plain["household_code".len()..]
        ),
        plain.replace(",3,", ",+03,"),
    ] {
        assert_eq!(
            read_all(HOUSEHOLDS, other.as_bytes()),
            (wanted.clone(), vec![]),
            "{other:?}"
        );
    }
}

#[test]
fn lines_are_counted_as_an_editor_shows_them() {
    for line_end in ["\n", "\r\n"] {
        let file = [
            "",
            &HOUSEHOLDS.template().header(),
            "H-1,NORTH,1,2,3,0",
            "",
            "\"H\n\n2\",NORTH,1,2,3,0",
            " \t ",
            ",,,,,",
            "H-3,NORTH,1,2,3,0",
            "\"H-4\",NORTH,1,\"x\",3,0",
        ]
        .join("\n")
        .replace('\n', line_end);
        let (rows, rejections) = read_all(HOUSEHOLDS, file.as_bytes());
        let lines: Vec<u64> = rows.iter().map(|row| row.line).collect();
        assert_eq!(lines, [3, 10]);
        assert_eq!(
            places(&rejections),
            [
                "5 household_code control_character",
                "11 women_over_14 not_a_number"
            ]
        );
    }
}

#[test]
fn numbers_keep_their_trailing_zeros_and_lose_signs_and_leading_zeros() {
    let index = BatchKind::KitchenTest
        .template()
        .column("stock_start_wet_kg")
        .unwrap();
    for (entered, canonical) in [
        ("10", "10"),
        ("010", "10"),
        ("+1.50", "1.50"),
        ("007.500", "7.500"),
        (".5", "0.5"),
        ("0.000", "0.000"),
        ("-0", "0"),
        ("-0.00", "0.00"),
        ("000000000000000000000000000000001.000000", "1.000000"),
    ] {
        let row = format!("H,2025-01-01,gasifier,wood,{entered},500,0,0.1,1,1,1,1");
        let row = row_from_texts(BatchKind::KitchenTest.template(), 1, row.split(',')).unwrap();
        assert_eq!(row.text(index), canonical, "{entered}");
    }
}

#[test]
fn a_row_is_an_object_of_strings_with_null_for_an_empty_cell() {
    let template = BatchKind::Deployments.template();
    let texts = ["S-1", "G1", "02", "H-1", "2025-01-01", "", "", "no"];
    let row = row_from_texts(template, 1, texts.into_iter()).unwrap();
    assert_eq!(
        row.to_json(template),
        serde_json::json!({
            "serial": "S-1",
            "model_code": "G1",
            "model_version": "2",
            "household_code": "H-1",
            "installed_on": "2025-01-01",
            "ended_on": null,
            "end_reason": null,
            "second_stove": "no",
        })
    );
    assert_eq!(row.text(99), "");
}

/// A file of many rows that exists only as far as it has been asked for, and that
/// fills whatever buffer it is asked to fill.
struct Endless {
    header: Vec<u8>,
    rows_left: u64,
    pending: Vec<u8>,
    at: usize,
    given: Rc<Cell<u64>>,
}

const ENDLESS_ROW: &[u8] = b"H-1,NORTH,1,2,3,0\n";

impl Read for Endless {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        if self.at == self.pending.len() {
            self.at = 0;
            self.pending.clear();
            self.pending.append(&mut self.header);
            let rows = self.rows_left.min(10_000);
            self.rows_left -= rows;
            self.pending.extend(ENDLESS_ROW.repeat(rows as usize));
        }
        let mut rest = &self.pending[self.at..];
        let count = rest.read(buffer)?;
        self.at += count;
        self.given.set(self.given.get() + count as u64);
        Ok(count)
    }
}

#[test]
fn a_million_rows_are_never_read_further_ahead_than_one_buffer() {
    const ROWS: u64 = 1_000_000;
    let header = format!("{}\n", HOUSEHOLDS.template().header()).into_bytes();
    let header_bytes = header.len() as u64;
    let given = Rc::new(Cell::new(0));
    let input = Endless {
        header,
        rows_left: ROWS,
        pending: vec![],
        at: 0,
        given: Rc::clone(&given),
    };
    let mut reader = CsvReader::open(HOUSEHOLDS.template(), input).unwrap();
    let mut rows = 0;
    while let Some(row) = reader.next_row() {
        rows += 1;
        assert_eq!(row.unwrap().line, rows + 1);
        let returned = header_bytes + rows * ENDLESS_ROW.len() as u64;
        let ahead = given.get() - returned;
        assert!(
            ahead <= BUFFER_BYTES as u64,
            "{ahead} bytes ahead after row {rows}"
        );
    }
    assert_eq!(rows, ROWS);
    const { assert!(BUFFER_BYTES <= RECORD_BYTES_MAX) };
}

#[test]
fn an_input_that_comes_byte_by_byte_reads_the_same() {
    struct Dripping<'a>(&'a [u8]);
    impl Read for Dripping<'_> {
        fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
            let one = buffer.len().min(1);
            self.0.read(&mut buffer[..one])
        }
    }
    let bytes = file_of(
        HOUSEHOLDS,
        &["\"H-1\",NORTH,1,2,3,0\r", "H-2,NORTH,1,2,3,0"],
    );
    let mut reader = CsvReader::open(HOUSEHOLDS.template(), Dripping(&bytes)).unwrap();
    let mut rows = Vec::new();
    while let Some(row) = reader.next_row() {
        rows.push(row.unwrap());
    }
    assert_eq!((rows.clone(), vec![]), read_all(HOUSEHOLDS, &bytes));
    assert_eq!(rows.len(), 2);
}
