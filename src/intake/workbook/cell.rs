//! One cell of a sheet: from what the spreadsheet program stored to the text that the template
//! checks.

use crate::intake::rejection::{Fault, code, shown};
use crate::intake::template::{Column, ValueRule};
use calamine::{DataRef, ExcelDateTime};
use chrono::NaiveDate;
use std::borrow::Cow;

/// What a cell holds; an empty one is not kept.
#[derive(Debug, Clone, PartialEq)]
pub(in crate::intake) enum SheetCell {
    Text(String),
    Number(f64),
    Flag(bool),
    Day(NaiveDate),
    /// A day with a time of day, as text.
    Moment(String),
    /// The mark of a formula that failed, such as `#DIV/0!`.
    Failed(String),
}

/// Significant digits that a spreadsheet program keeps of a number (Excel specifications and
/// limits, "Number precision"; MEMORY). What lies beyond is dust of its binary form.
const DIGITS: usize = 15;

impl SheetCell {
    /// Nothing where the cell is empty.
    pub fn of(value: DataRef<'_>) -> Option<Self> {
        Some(match value {
            DataRef::Empty => return None,
            DataRef::String(text) if text.is_empty() => return None,
            DataRef::SharedString("") => return None,
            DataRef::String(text) | DataRef::DateTimeIso(text) | DataRef::DurationIso(text) => {
                SheetCell::Text(text)
            }
            DataRef::SharedString(text) => SheetCell::Text(text.to_owned()),
            DataRef::Int(number) => SheetCell::Text(number.to_string()),
            DataRef::Float(number) => SheetCell::Number(number),
            DataRef::Bool(flag) => SheetCell::Flag(flag),
            DataRef::DateTime(moment) => of_moment(&moment),
            DataRef::Error(error) => SheetCell::Failed(error.to_string()),
        })
    }

    /// Whether it counts as filled: a row of blanks below the table is not a row.
    pub fn is_blank(&self) -> bool {
        matches!(self, SheetCell::Text(text) if text.trim().is_empty())
    }

    /// The cell as text, whatever the column wants.
    pub fn text(&self) -> Cow<'_, str> {
        match self {
            SheetCell::Text(text) | SheetCell::Moment(text) | SheetCell::Failed(text) => {
                Cow::Borrowed(text)
            }
            SheetCell::Number(number) => Cow::Owned(decimal_text(*number)),
            SheetCell::Flag(true) => Cow::Borrowed("TRUE"),
            SheetCell::Flag(false) => Cow::Borrowed("FALSE"),
            SheetCell::Day(day) => Cow::Owned(day.to_string()),
        }
    }

    /// The cell as the text that its column reads.
    pub fn text_for(&self, column: &Column) -> Result<Cow<'_, str>, Fault> {
        match (self, column.value) {
            (SheetCell::Failed(mark), _) => {
                let detail = format!(
                    "the formula in the cell ends in the error {}: mend it or write the value",
                    shown(mark)
                );
                Err(Fault::new(code::CELL_ERROR, detail))
            }
            (SheetCell::Flag(flag), ValueRule::YesNo) => {
                Ok(Cow::Borrowed(if *flag { "yes" } else { "no" }))
            }
            // A spreadsheet turns a code such as 1-2 into a day: what was typed is lost.
            (SheetCell::Day(_) | SheetCell::Moment(_), ValueRule::Code { .. }) => {
                let detail = format!(
                    "the cell holds the date {} where a code is wanted; format the column as text \
                     and write the code again",
                    shown(&self.text())
                );
                Err(Fault::new(code::CELL_TYPE, detail))
            }
            (_, _) => Ok(self.text()),
        }
    }
}

/// The number with its 15 digits and nothing of its binary form: 0.1 + 0.2 is `0.3`.
fn decimal_text(number: f64) -> String {
    if number == 0.0 {
        return "0".into();
    }
    let rounded = format!("{number:.*e}", DIGITS - 1).parse::<f64>();
    rounded.unwrap_or(number).to_string()
}

fn of_moment(moment: &ExcelDateTime) -> SheetCell {
    let serial = moment.as_f64();
    // Days of the calendar from 1900 to 9999.
    if !moment.is_datetime() || !(1.0..2_958_466.0).contains(&serial) {
        return SheetCell::Number(serial);
    }
    let (year, month, day, hour, minute, second, _) = moment.to_ymd_hms_milli();
    match NaiveDate::from_ymd_opt(i32::from(year), u32::from(month), u32::from(day)) {
        Some(day) if (hour, minute, second) == (0, 0, 0) => SheetCell::Day(day),
        Some(day) => SheetCell::Moment(format!("{day} {hour:02}:{minute:02}:{second:02}")),
        None => SheetCell::Number(serial),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_number_keeps_its_decimals_and_loses_its_binary_dust() {
        for (number, text) in [
            (0.1, "0.1"),
            (1.1, "1.1"),
            (0.1 + 0.2, "0.3"),
            (1.0 - 0.9, "0.1"),
            (3.0, "3"),
            (-0.0, "0"),
            (-2.5, "-2.5"),
            (0.000_001, "0.000001"),
            (123_456.789_012, "123456.789012"),
            (1e15, "1000000000000000"),
        ] {
            assert_eq!(decimal_text(number), text);
        }
    }
}
