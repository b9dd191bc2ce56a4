//! Workbooks as people make them; `hostile` holds those that nobody should make.

mod hostile;
mod others;

use crate::intake::template::ValueRule;
use crate::intake::{
    BatchKind, ColumnMapping, Layout, Naming, Rejection, Rejections, Row, mark, read_rows,
    workbook_template,
};
use calamine::{Reader, Xlsx};
use rust_xlsxwriter::{ExcelDateTime, Format, Formula, Workbook, Worksheet};
use std::io::{Cursor, Read};
use zip::ZipArchive;

const ENDS: BatchKind = BatchKind::DeploymentEnds;

fn read(kind: BatchKind, bytes: &[u8]) -> (Vec<Row>, Vec<Rejection>, Layout) {
    read_named(kind, bytes, &Naming::default())
}

fn read_named(
    kind: BatchKind,
    bytes: &[u8],
    naming: &Naming<'_>,
) -> (Vec<Row>, Vec<Rejection>, Layout) {
    let (mut rows, mut rejections) = (Vec::new(), Vec::new());
    let input = Cursor::new(bytes.to_vec());
    let layout = read_rows(kind.template(), naming, input, &mut |read| {
        match read {
            Ok(row) => rows.push(row),
            Err(broken) => rejections.extend(broken),
        }
        true
    });
    (rows, rejections, layout)
}

fn texts(row: &Row) -> String {
    let texts: Vec<String> = (0..row.cells.len()).map(|at| row.text(at)).collect();
    texts.join("|")
}

fn codes(rejections: &[Rejection]) -> Vec<String> {
    crate::intake::tests::places(rejections)
}

/// A workbook of one sheet, its header written already.
fn workbook(kind: BatchKind, name: &str, fill: impl FnOnce(&mut Worksheet)) -> Vec<u8> {
    let mut workbook = Workbook::new();
    let sheet = workbook.add_worksheet();
    sheet.set_name(name).unwrap();
    for (at, column) in (0_u16..).zip(kind.template().columns) {
        sheet.write_string(0, at, column.name).unwrap();
    }
    fill(sheet);
    workbook.save_to_buffer().unwrap()
}

fn day(text: &str) -> ExcelDateTime {
    ExcelDateTime::parse_from_str(text).unwrap()
}

/// One sound row of an end, at a row counted from 0.
fn an_end(sheet: &mut Worksheet, row: u32) {
    let format = Format::new().set_num_format("dd/mm/yyyy");
    sheet.write_string(row, 0, format!("S-{row}")).unwrap();
    sheet
        .write_datetime_with_format(row, 1, day("2024-02-29"), &format)
        .unwrap();
    sheet.write_string(row, 2, "2025-03-01").unwrap();
    sheet.write_string(row, 3, "moved").unwrap();
}

#[test]
fn dates_and_texts_are_read_whatever_the_cells_look_like_and_empty_rows_are_passed_over() {
    let bytes = workbook(ENDS, "Sheet1", |sheet| {
        an_end(sheet, 1);
        an_end(sheet, 4);
        sheet.write_blank(7, 0, &Format::new().set_bold()).unwrap();
        sheet.write_string(8, 2, "  ").unwrap();
    });
    let (rows, rejections, layout) = read(ENDS, &bytes);
    assert_eq!(rejections, []);
    assert_eq!(layout.sheet.as_deref(), Some("Sheet1"));
    let lines: Vec<u64> = rows.iter().map(|row| row.line).collect();
    assert_eq!(lines, [2, 5]);
    assert_eq!(texts(&rows[0]), "S-1|2024-02-29|2025-03-01|moved");
}

#[test]
fn numbers_and_flags_become_the_texts_of_their_columns() {
    let kind = BatchKind::CharWeighing;
    let bytes = workbook(kind, "rows", |sheet| {
        let date = Format::new().set_num_format("yyyy-mm-dd");
        sheet.write_number(1, 0, 17).unwrap();
        sheet
            .write_datetime_with_format(1, 1, day("2025-06-30"), &date)
            .unwrap();
        sheet.write_string(1, 2, "wood").unwrap();
        sheet.write_number(1, 3, 0.1 + 0.2).unwrap();
        sheet.write_number(1, 4, 0.15).unwrap();
        sheet
            .write_formula(1, 5, Formula::new("=1.1*1").set_result("1.1"))
            .unwrap();
        sheet.write_number(1, 6, 0.06).unwrap();
        sheet.write_string(1, 7, "soil").unwrap();
    });
    let (rows, rejections, _) = read(kind, &bytes);
    assert_eq!(rejections, []);
    assert_eq!(
        texts(&rows[0]),
        "17|2025-06-30|wood|0.3|0.15|1.1|0.06|soil|||"
    );
    let kind = BatchKind::Deployments;
    let bytes = workbook(kind, "rows", |sheet| {
        for (at, text) in (0_u16..).zip(["S-1", "G1", "1", "HH-1", "2025-01-15"]) {
            sheet.write_string(1, at, text).unwrap();
        }
        sheet.write_boolean(1, 7, true).unwrap();
    });
    let (rows, rejections, _) = read(kind, &bytes);
    assert_eq!(rejections, []);
    assert_eq!(texts(&rows[0]), "S-1|G1|1|HH-1|2025-01-15|||yes");
}

#[test]
fn a_wrong_cell_is_named_by_its_row_and_column() {
    let bytes = workbook(ENDS, "rows", |sheet| {
        an_end(sheet, 1);
        let date = Format::new().set_num_format("yyyy-mm-dd");
        let moment = Format::new().set_num_format("yyyy-mm-dd hh:mm");
        sheet
            .write_datetime_with_format(1, 0, day("2025-01-02"), &date)
            .unwrap();
        an_end(sheet, 2);
        sheet
            .write_datetime_with_format(2, 1, day("2025-01-02 10:30:00"), &moment)
            .unwrap();
        an_end(sheet, 3);
        sheet.write_number(3, 1, 45_678).unwrap();
        an_end(sheet, 4);
        sheet
            .write_formula(4, 2, Formula::new("=1/0").set_result("#DIV/0!"))
            .unwrap();
        an_end(sheet, 5);
        sheet.write_string(5, 6, "a remark").unwrap();
        an_end(sheet, 6);
        sheet.write_string(6, 0, "0712 345 678").unwrap();
    });
    let (rows, rejections, _) = read(ENDS, &bytes);
    assert!(rows.is_empty());
    assert_eq!(
        codes(&rejections),
        [
            "2 serial cell_type",
            "3 installed_on date_format",
            "4 installed_on date_format",
            "5 ended_on cell_error",
            "6 - too_many_cells",
            "7 serial personal_data",
        ]
    );
    assert!(
        rejections[4].detail.contains("column G"),
        "{}",
        rejections[4].detail
    );
}

#[test]
fn the_sheet_named_like_the_kind_is_read_before_the_first_one() {
    let mut book = Workbook::new();
    book.add_worksheet()
        .set_name("Read me")
        .unwrap()
        .write_string(0, 0, "hello")
        .unwrap();
    let sheet = book.add_worksheet().set_name("Deployment_Ends").unwrap();
    for (at, column) in (0_u16..).zip(ENDS.template().columns) {
        sheet.write_string(0, at, column.name).unwrap();
    }
    an_end(sheet, 1);
    let (rows, rejections, layout) = read(ENDS, &book.save_to_buffer().unwrap());
    assert_eq!((rows.len(), rejections.len()), (1, 0), "{rejections:?}");
    assert_eq!(layout.sheet.as_deref(), Some("Deployment_Ends"));
    let (_, refused, _) = read(BatchKind::Households, &book.save_to_buffer().unwrap());
    assert_eq!(refused.len(), 8);
    assert_eq!(refused[0].code, "other_sheets");
    let told = "of the 2 sheets of the workbook `Read me` was read; if the rows are on another \
                one, name that `households` or put it first";
    assert_eq!(refused[0].detail, told);
}

#[test]
fn empty_sheets_and_other_archives_are_answered() {
    let mut book = Workbook::new();
    book.add_worksheet();
    assert_eq!(
        codes(&read(ENDS, &book.save_to_buffer().unwrap()).1),
        ["- - empty_file"]
    );
    let header_only = workbook(ENDS, "rows", |_| {});
    assert_eq!(codes(&read(ENDS, &header_only).1), ["- - no_rows"]);
    let other = hostile::archive(&[("letter.txt", b"hello")]);
    assert_eq!(codes(&read(ENDS, &other).1), ["- - not_a_workbook"]);
    assert_eq!(
        codes(&read(ENDS, &header_only[..header_only.len() / 2]).1),
        ["- - not_a_workbook"]
    );
}

#[test]
fn a_template_as_workbook_is_read_back_as_a_header_with_an_example_that_is_no_data() {
    for kind in BatchKind::ALL {
        let bytes = workbook_template(kind.template()).unwrap();
        assert_eq!(
            bytes,
            workbook_template(kind.template()).unwrap(),
            "{kind}: other bytes"
        );
        let (rows, rejections, layout) = read(kind, &bytes);
        assert!(rows.is_empty(), "{kind}");
        assert_eq!(codes(&rejections), ["- - no_rows"], "{kind}");
        assert_eq!(layout.sheet.as_deref(), Some(kind.code()));
        let parts = part(&bytes, "xl/worksheets/sheet1.xml");
        let checks = parts.matches("<dataValidation ").count();
        // Moments are text to a spreadsheet: every other column has its check.
        let columns = kind.template().columns.iter();
        let checked = columns.filter(|column| column.value != ValueRule::Minute);
        assert_eq!(checks, checked.count(), "{kind}");
        assert!(parts.contains("state=\"frozen\""), "{kind}");
        let mut book: Xlsx<_> = Xlsx::new(Cursor::new(bytes)).unwrap();
        let columns = book.worksheet_range("columns").unwrap();
        for (at, column) in kind.template().columns.iter().enumerate() {
            let told = |place: usize| columns.get((at + 1, place)).map(ToString::to_string);
            assert_eq!(told(0).as_deref(), Some(column.name));
            assert_eq!(told(2).as_deref(), Some(column.unit.unwrap_or("none")));
            assert!(told(3).is_some_and(|allowed| allowed.len() > 5));
        }
    }
}

#[test]
fn a_programmes_own_names_are_used_where_the_header_does_not_fit() {
    let mut book = Workbook::new();
    let sheet = book.add_worksheet();
    for (at, name) in (0_u16..).zip(["Numéro", "Début", "Fin", "end_reason"]) {
        sheet.write_string(0, at, name).unwrap();
    }
    an_end(sheet, 1);
    let bytes = book.save_to_buffer().unwrap();
    let pairs = [
        ("Numéro", "serial"),
        ("Début", "installed_on"),
        ("Fin", "ended_on"),
    ];
    let own = |(own, meant): (&str, &str)| (own.to_owned(), meant.to_owned());
    let mapping: ColumnMapping = pairs.into_iter().map(own).collect();
    let naming = Naming {
        mapping: Some(&mapping),
        always: false,
    };
    let (rows, rejections, layout) = read_named(ENDS, &bytes, &naming);
    assert_eq!((rows.len(), rejections.len()), (1, 0), "{rejections:?}");
    assert_eq!(layout.own_names, ["Numéro", "Début", "Fin", "end_reason"]);
    // What fits the template is read by it, unless the names are asked for.
    let plain = workbook(ENDS, "rows", |sheet| an_end(sheet, 1));
    assert_eq!(read_named(ENDS, &plain, &naming).0.len(), 1);
}

#[test]
fn the_marked_workbook_shows_each_fault_beside_its_row_and_is_read_again_when_mended() {
    let bytes = workbook(ENDS, "rows", |sheet| {
        (1..=5).for_each(|row| an_end(sheet, row));
        sheet.write_string(2, 3, "stolen").unwrap();
        sheet.write_blank(4, 0, &Format::new()).unwrap();
        sheet.write_string(5, 0, "=1+1").unwrap();
    });
    let (_, found, _) = read(ENDS, &bytes);
    let mut rejections = Rejections::new();
    rejections.extend(found);
    let marked = mark(ENDS.template(), Cursor::new(bytes), &rejections).unwrap();
    let mut book: Xlsx<_> = Xlsx::new(Cursor::new(marked.bytes.clone())).unwrap();
    let range = book.worksheet_range("rows").unwrap();
    let told = |row: u32| {
        let cell = range.get_value((row, 4)).map(ToString::to_string);
        cell.unwrap_or_default()
    };
    assert_eq!(told(0), "what is wrong");
    assert_eq!((told(1), told(3)), (String::new(), String::new()));
    assert!(
        told(2).starts_with("end_reason: `stolen` is not in the list"),
        "{}",
        told(2)
    );
    assert!(
        told(4).starts_with("serial: the cell is empty"),
        "{}",
        told(4)
    );
    assert_eq!(range.get_value((5, 0)).unwrap().to_string(), "'=1+1");
    assert_eq!(
        range.get_value((1, 1)).unwrap().as_date_text(),
        "2024-02-29"
    );
    let notes = part(&marked.bytes, "xl/comments1.xml");
    let cells: Vec<&str> = notes
        .split("<comment ref=\"")
        .skip(1)
        .filter_map(|rest| rest.split_once('"').map(|(cell, _)| cell))
        .collect();
    assert_eq!(cells, ["D3", "A5", "A6"]);
    assert!(!part(&marked.bytes, "xl/worksheets/sheet1.xml").contains("<f>"));
    // The column that was added does not stand in the way of the next try.
    let (rows, again, _) = read(ENDS, &marked.bytes);
    assert_eq!(rows.len(), 2);
    assert_eq!(again.len(), 3);
}

trait DateText {
    fn as_date_text(&self) -> String;
}

impl DateText for calamine::Data {
    fn as_date_text(&self) -> String {
        match self {
            calamine::Data::DateTime(moment) => {
                let (year, month, day, ..) = moment.to_ymd_hms_milli();
                format!("{year:04}-{month:02}-{day:02}")
            }
            other => format!("{other:?}"),
        }
    }
}

#[test]
fn a_marked_csv_file_is_the_same_file_with_a_column_added() {
    let text = "\u{feff}serial,installed_on,ended_on,end_reason\r\n\
                S-1,2024-02-29,2025-03-01,moved\r\n\r\n\
                \"=1+1\",2024-02-29,2025-03-01,\"lost, stolen\"\r\n";
    let (_, found, _) = read(ENDS, text.as_bytes());
    let mut rejections = Rejections::new();
    rejections.extend(found);
    let marked = mark(
        ENDS.template(),
        Cursor::new(text.as_bytes().to_vec()),
        &rejections,
    )
    .unwrap();
    let text = String::from_utf8(marked.bytes).unwrap();
    let lines: Vec<&str> = text.lines().collect();
    assert_eq!(
        lines[0],
        "serial,installed_on,ended_on,end_reason,what is wrong"
    );
    assert_eq!(lines[1], "S-1,2024-02-29,2025-03-01,moved,");
    assert_eq!(lines[2], "");
    assert!(
        lines[3]
            .starts_with("'=1+1,2024-02-29,2025-03-01,\"lost, stolen\",\"serial: `=1+1` starts")
    );
    assert_eq!(read(ENDS, text.as_bytes()).0.len(), 1);
    let broken = b"serial,installed_on\n\"S-1".to_vec();
    assert!(mark(ENDS.template(), Cursor::new(broken), &rejections).is_none());
}

/// The text of one part of a workbook.
fn part(bytes: &[u8], name: &str) -> String {
    let mut from = ZipArchive::new(Cursor::new(bytes)).unwrap();
    let mut text = String::new();
    from.by_name(name)
        .unwrap()
        .read_to_string(&mut text)
        .unwrap();
    text
}
