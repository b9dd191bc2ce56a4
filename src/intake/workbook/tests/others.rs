//! Workbooks of another program, openpyxl (tests/reference/sheets.py): moments in both systems of
//! counting days, and what people send by mistake.

use super::{codes, read, texts};
use crate::intake::BatchKind;

const USAGE: BatchKind = BatchKind::UsageSurvey;

/// The days and minutes are those that sheets.py gave to openpyxl, which wrote their serial
/// numbers, 1,462 days apart in the two systems (ECMA-376, part 1, 18.17.4.1; MEMORY).
#[test]
fn cells_of_date_and_time_are_minutes_in_the_1900_and_the_1904_system() {
    for bytes in [
        &include_bytes!("../../../../tests/reference/sheets/moments-1900.xlsx")[..],
        include_bytes!("../../../../tests/reference/sheets/moments-1904.xlsx"),
    ] {
        let (rows, rejections, _) = read(USAGE, bytes);
        let rows: Vec<String> = rows.iter().map(texts).collect();
        assert_eq!(
            rows,
            [
                "HH-1|S-1|2025-06-10|in_use|7|0.5|EN-1|2025-06-10T09:05|2025-06-10T09:40",
                "HH-2|S-2|2025-06-10|in_use|7|0.5|EN-1|2025-06-10T10:05|2025-06-10T23:59",
                "HH-3|S-3|2025-06-10|in_use|7|0.5|EN-1|2025-06-10T09:05|2025-06-10T09:40",
            ]
        );
        assert_eq!(
            codes(&rejections),
            [
                "5 started_at cell_type",
                "6 started_at cell_type",
                "7 surveyed_on date_format",
            ]
        );
        for (fault, part) in rejections.iter().zip([
            "`2025-06-10 09:05:30`, which is no whole minute",
            "the day `2025-06-10` without a time of day",
            "`2025-06-10 09:05:00` is not read as a date",
        ]) {
            assert!(fault.detail.contains(part), "{}", fault.detail);
        }
    }
}

#[test]
fn a_header_below_a_title_is_named_with_its_row() {
    let bytes = include_bytes!("../../../../tests/reference/sheets/title.xlsx");
    let (rows, rejections, _) = read(USAGE, bytes);
    assert!(rows.is_empty());
    assert_eq!(codes(&rejections), ["3 - header_place"]);
    let told = &rejections[0].detail;
    assert!(told.contains("delete the rows above it"), "{told}");
}

#[test]
fn a_formula_without_a_value_and_a_merged_cell_are_not_taken_for_empty_ones() {
    let bytes = include_bytes!("../../../../tests/reference/sheets/formulas.xlsx");
    let (rows, rejections, _) = read(USAGE, bytes);
    assert!(rows.is_empty());
    assert_eq!(
        codes(&rejections),
        [
            "2 share_of_meals cell_error",
            "3 household_code missing_value"
        ]
    );
    assert!(rejections[0].detail.contains("save it again"));
    assert!(
        rejections[1].detail.contains("merged"),
        "{}",
        rejections[1].detail
    );
}
