//! What is wrong with a file or a row: where, a stable code, and a sentence.

use serde::Serialize;
use std::fmt;

/// Rejections that a [`Rejections`] keeps; the rest are counted.
pub const KEPT_REJECTIONS: usize = 1_000;

/// The stable codes of everything that intake refuses.
pub mod code {
    pub const UNREADABLE: &str = "unreadable";
    pub const NOT_CSV: &str = "not_csv";
    pub const NOT_UTF8: &str = "not_utf8";
    pub const NUL_BYTE: &str = "nul_byte";
    pub const EMPTY_FILE: &str = "empty_file";
    pub const NO_ROWS: &str = "no_rows";
    pub const DELIMITER: &str = "delimiter";
    pub const LINE_END: &str = "line_end";
    pub const BROKEN_QUOTE: &str = "broken_quote";
    pub const RECORD_TOO_LONG: &str = "record_too_long";

    pub const NOT_A_WORKBOOK: &str = "not_a_workbook";
    pub const WORKBOOK_TOO_LARGE: &str = "workbook_too_large";
    pub const CELL_ERROR: &str = "cell_error";
    pub const CELL_TYPE: &str = "cell_type";
    pub const OTHER_SHEETS: &str = "other_sheets";

    pub const UNKNOWN_COLUMN: &str = "unknown_column";
    pub const UNNAMED_COLUMN: &str = "unnamed_column";
    pub const MISSING_COLUMN: &str = "missing_column";
    pub const HEADER_PLACE: &str = "header_place";
    pub const DUPLICATE_COLUMN: &str = "duplicate_column";
    pub const PERSONAL_DATA: &str = "personal_data";
    pub const UNIT_MISSING: &str = "unit_missing";
    pub const WRONG_UNIT: &str = "wrong_unit";

    pub const TOO_FEW_CELLS: &str = "too_few_cells";
    pub const TOO_MANY_CELLS: &str = "too_many_cells";

    pub const MISSING_VALUE: &str = "missing_value";
    pub const STRAY_SPACE: &str = "stray_space";
    pub const CONTROL_CHARACTER: &str = "control_character";
    pub const TOO_LONG: &str = "too_long";
    pub const FORMULA_START: &str = "formula_start";
    pub const NOT_A_CODE: &str = "not_a_code";
    pub const NOT_IN_LIST: &str = "not_in_list";
    pub const NOT_YES_NO: &str = "not_yes_no";
    pub const DATE_FORMAT: &str = "date_format";
    pub const NOT_A_DATE: &str = "not_a_date";
    pub const NOT_A_NUMBER: &str = "not_a_number";
    pub const DECIMAL_COMMA: &str = "decimal_comma";
    pub const EXPONENT: &str = "exponent";
    pub const NOT_WHOLE: &str = "not_whole";
    pub const TOO_MANY_DECIMALS: &str = "too_many_decimals";
    pub const OUT_OF_RANGE: &str = "out_of_range";
    pub const MOISTURE_BASIS: &str = "moisture_basis";

    pub const NO_PEOPLE: &str = "no_people";
    pub const END_INCOMPLETE: &str = "end_incomplete";
    pub const END_NOT_AFTER_START: &str = "end_not_after_start";
    pub const STOCK_GREW: &str = "stock_grew";
    pub const FUEL_INCOMPLETE: &str = "fuel_incomplete";
    pub const CHAR_OVER_FUEL: &str = "char_over_fuel";
    pub const CHAR_HEAT_MISSING: &str = "char_heat_missing";
    pub const WATER_GREW: &str = "water_grew";
    pub const WATER_COOLED: &str = "water_cooled";
    pub const PARTS_OVER_WHOLE: &str = "parts_over_whole";

    pub const NOT_XML: &str = "not_xml";
    pub const DOCUMENT_TYPE: &str = "document_type";
    pub const FORM_TOO_LARGE: &str = "form_too_large";
    pub const UNKNOWN_FORM: &str = "unknown_form";
    pub const UNKNOWN_QUESTION: &str = "unknown_question";
    pub const REPEATED_QUESTION: &str = "repeated_question";
    pub const NOT_PLAIN: &str = "not_plain";
    pub const INSTANCE_ID: &str = "instance_id";
    pub const EDITED_FORM: &str = "edited_form";
}

/// One thing that is wrong, and where.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Rejection {
    /// Line of the file, counted from 1; absent where the whole file is meant.
    pub line: Option<u64>,
    /// Column as the template, or the file's header, names it.
    pub column: Option<String>,
    /// One of [`code`].
    pub code: &'static str,
    /// The reason and the remedy in a sentence.
    pub detail: String,
}

impl fmt::Display for Rejection {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        if let Some(line) = self.line {
            write!(formatter, "line {line}, ")?;
        }
        if let Some(column) = &self.column {
            write!(formatter, "column {column}, ")?;
        }
        write!(formatter, "{}: {}", self.code, self.detail)
    }
}

/// What is wrong, before it is known where.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(in crate::intake) struct Fault {
    pub code: &'static str,
    pub detail: String,
}

impl Fault {
    pub fn new(code: &'static str, detail: impl Into<String>) -> Self {
        Fault {
            code,
            detail: detail.into(),
        }
    }

    pub fn of_file(self) -> Rejection {
        Rejection {
            line: None,
            column: None,
            code: self.code,
            detail: self.detail,
        }
    }

    pub fn at_line(self, line: u64) -> Rejection {
        Rejection {
            line: Some(line),
            ..self.of_file()
        }
    }

    pub fn at(self, line: u64, column: &str) -> Rejection {
        Rejection {
            column: Some(column.to_owned()),
            ..self.at_line(line)
        }
    }
}

/// A cell's text as it is shown in a sentence: short, on one line, between backticks.
pub(in crate::intake) fn shown(text: &str) -> String {
    const KEPT: usize = 40;
    let mut quoted = String::from("`");
    for (at, character) in text.chars().enumerate() {
        if at == KEPT {
            quoted.push('…');
            break;
        }
        match character {
            '"' | '\'' | '\\' => quoted.push(character),
            // Invisible characters and marks of direction must show, not act.
            other => quoted.extend(other.escape_debug()),
        }
    }
    quoted.push('`');
    quoted
}

/// All that is wrong with a batch: the first [`KEPT_REJECTIONS`] in line order, and how many in all.
///
/// Shared by the checks of the file and the later checks against the register.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize)]
pub struct Rejections {
    pub list: Vec<Rejection>,
    pub count: u64,
}

impl Rejections {
    pub fn new() -> Self {
        Self::default()
    }

    pub fn is_empty(&self) -> bool {
        self.count == 0
    }

    /// Counts the rejection, and keeps it if it is among the first in line order.
    /// Rejections of one line keep the order in which they came; those of the whole file stand first.
    pub fn push(&mut self, rejection: Rejection) {
        self.count = self.count.saturating_add(1);
        self.place(rejection);
    }

    /// Takes over all that another check found.
    pub fn merge(&mut self, other: Rejections) {
        self.count = self.count.saturating_add(other.count);
        for rejection in other.list {
            self.place(rejection);
        }
    }

    fn place(&mut self, rejection: Rejection) {
        let at = self
            .list
            .partition_point(|kept| kept.line <= rejection.line);
        if at < KEPT_REJECTIONS {
            self.list.insert(at, rejection);
            self.list.truncate(KEPT_REJECTIONS);
        }
    }
}

impl Extend<Rejection> for Rejections {
    fn extend<I: IntoIterator<Item = Rejection>>(&mut self, rejections: I) {
        for rejection in rejections {
            self.push(rejection);
        }
    }
}

impl From<Rejection> for Rejections {
    fn from(rejection: Rejection) -> Self {
        Rejections {
            list: vec![rejection],
            count: 1,
        }
    }
}

impl fmt::Display for Rejections {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        match (self.count, self.list.first()) {
            (0, _) | (_, None) => write!(formatter, "{} faults", self.count),
            (1, Some(only)) => write!(formatter, "{only}"),
            (count, Some(first)) => write!(formatter, "{count} faults, the first: {first}"),
        }
    }
}

impl std::error::Error for Rejections {}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(line: u64, detail: &str) -> Rejection {
        Fault::new(code::MISSING_VALUE, detail).at_line(line)
    }

    #[test]
    fn the_first_thousand_in_line_order_are_kept_and_all_are_counted() {
        let mut rejections = Rejections::new();
        for line in (1..=1_500).rev() {
            rejections.push(at(line, "x"));
        }
        assert_eq!(rejections.count, 1_500);
        let lines: Vec<_> = rejections
            .list
            .iter()
            .filter_map(|kept| kept.line)
            .collect();
        assert_eq!(lines, (1..=1_000).collect::<Vec<u64>>());
    }

    #[test]
    fn merging_keeps_line_order_and_the_order_within_a_line() {
        let mut first = Rejections::from(at(2, "from the file"));
        first.push(at(7, "from the file"));
        let mut second = Rejections::from(at(7, "from the register"));
        second.push(at(2, "from the register"));
        second.push(Fault::new(code::NO_ROWS, "whole file").of_file());
        first.merge(second);
        let told: Vec<_> = first
            .list
            .iter()
            .map(|kept| (kept.line, kept.detail.as_str()))
            .collect();
        assert_eq!(
            told,
            [
                (None, "whole file"),
                (Some(2), "from the file"),
                (Some(2), "from the register"),
                (Some(7), "from the file"),
                (Some(7), "from the register"),
            ]
        );
        assert_eq!(first.count, 5);
    }

    #[test]
    fn a_rejection_serialises_with_its_four_fields() {
        let json = serde_json::to_value(Fault::new(code::NOT_A_DATE, "why").at(3, "ended_on"));
        assert_eq!(
            json.unwrap(),
            serde_json::json!({
                "line": 3, "column": "ended_on", "code": "not_a_date", "detail": "why"
            })
        );
    }

    #[test]
    fn shown_text_is_short_and_on_one_line() {
        assert_eq!(shown("a\nb\u{0}"), "`a\\nb\\0`");
        assert_eq!(
            shown("5\" \\é\u{feff}\u{202e}"),
            "`5\" \\é\\u{feff}\\u{202e}`"
        );
        assert_eq!(shown(&"é".repeat(41)), format!("`{}…`", "é".repeat(40)));
    }
}
