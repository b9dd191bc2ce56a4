//! One cell of a sheet: from what the spreadsheet program stored to the text that the template
//! checks.

use crate::intake::rejection::{Fault, code, shown};
use crate::intake::template::{Column, ValueRule};
use calamine::{DataRef, ExcelDateTime};
use chrono::{NaiveDate, NaiveDateTime, NaiveTime, TimeDelta, Timelike};
use std::borrow::Cow;

/// What a cell holds; an empty one is not kept.
#[derive(Debug, Clone, PartialEq)]
pub(in crate::intake) enum SheetCell {
    Text(String),
    Number(f64),
    Flag(bool),
    Day(NaiveDate),
    /// A day with a time of day, to the millisecond that its serial number comes nearest to.
    Moment(NaiveDateTime),
    /// The mark of a formula that failed, such as `#DIV/0!`.
    Failed(String),
    /// A formula that was never worked out: the program that wrote it stored no value.
    NotWorkedOut,
}

/// Significant digits that a spreadsheet program keeps of a number (Excel specifications and
/// limits, "Number precision"; MEMORY). What lies beyond is dust of its binary form.
const DIGITS: usize = 15;

impl SheetCell {
    /// Nothing where the cell is empty.
    pub fn of(value: DataRef<'_>, has_formula: bool) -> Option<Self> {
        Some(match value {
            DataRef::Empty if has_formula => SheetCell::NotWorkedOut,
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
            SheetCell::Text(text) | SheetCell::Failed(text) => Cow::Borrowed(text),
            SheetCell::Moment(moment) => {
                let second = nearest(*moment, 1_000);
                Cow::Owned(second.format("%Y-%m-%d %H:%M:%S").to_string())
            }
            SheetCell::Number(number) => Cow::Owned(decimal_text(*number)),
            SheetCell::NotWorkedOut => Cow::Borrowed(""),
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
            (SheetCell::NotWorkedOut, _) => {
                let detail = "the cell holds a formula without its value; open the file in a \
                              spreadsheet program and save it again, or write the value";
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
            (SheetCell::Moment(moment), ValueRule::Minute) => whole_minute(*moment),
            (SheetCell::Day(day), ValueRule::Minute) => {
                let detail = format!(
                    "the cell holds the day {} without a time of day; write both, and where \
                     midnight is meant write {} as text",
                    shown(&day.to_string()),
                    shown(&format!("{day}T00:00"))
                );
                Err(Fault::new(code::CELL_TYPE, detail))
            }
            (_, _) => Ok(self.text()),
        }
    }
}

/// The moment as the text of a whole minute. A serial number is a binary fraction of a day, so
/// that a minute seldom is exact: within half a second it is taken for the minute that was
/// typed. What is further off has seconds, and a minute would be a guess.
fn whole_minute(moment: NaiveDateTime) -> Result<Cow<'static, str>, Fault> {
    const HALF_A_SECOND: i64 = 500;
    let minute = nearest(moment, 60_000);
    if (moment - minute).num_milliseconds().abs() > HALF_A_SECOND {
        let detail = format!(
            "the cell holds {}, which is no whole minute; write hours and minutes alone",
            shown(&moment.format("%Y-%m-%d %H:%M:%S%.f").to_string())
        );
        return Err(Fault::new(code::CELL_TYPE, detail));
    }
    Ok(Cow::Owned(minute.format("%Y-%m-%dT%H:%M").to_string()))
}

/// The nearest moment that is a whole multiple of so many milliseconds after midnight.
fn nearest(moment: NaiveDateTime, milliseconds: i64) -> NaiveDateTime {
    let since_midnight = (moment.time() - NaiveTime::MIN).num_milliseconds();
    let over = since_midnight.rem_euclid(milliseconds);
    let by = if over * 2 < milliseconds {
        -over
    } else {
        milliseconds - over
    };
    moment
        .checked_add_signed(TimeDelta::milliseconds(by))
        .unwrap_or(moment)
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
    let (year, month, day, hour, minute, second, milli) = moment.to_ymd_hms_milli();
    let day = NaiveDate::from_ymd_opt(i32::from(year), u32::from(month), u32::from(day));
    let time = NaiveTime::from_hms_milli_opt(
        u32::from(hour),
        u32::from(minute),
        u32::from(second),
        u32::from(milli),
    );
    let (Some(day), Some(time)) = (day, time) else {
        return SheetCell::Number(serial);
    };
    let second = nearest(day.and_time(time), 1_000);
    if second.num_seconds_from_midnight() == 0 {
        SheetCell::Day(second.date())
    } else {
        SheetCell::Moment(day.and_time(time))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_moment_is_the_minute_that_it_is_within_half_a_second_of() {
        let of = |text: &str| whole_minute(text.parse().unwrap()).map(Cow::into_owned);
        for (moment, minute) in [
            ("2025-06-10T09:05:00", "2025-06-10T09:05"),
            ("2025-06-10T09:05:00.5", "2025-06-10T09:05"),
            ("2025-06-10T09:04:59.5", "2025-06-10T09:05"),
            ("2025-12-31T23:59:59.999", "2026-01-01T00:00"),
        ] {
            assert_eq!(of(moment).unwrap(), minute, "{moment}");
        }
        for moment in [
            "2025-06-10T09:05:00.501",
            "2025-06-10T09:04:59.499",
            "2025-06-10T09:05:30",
        ] {
            assert_eq!(of(moment).unwrap_err().code, code::CELL_TYPE, "{moment}");
        }
    }

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
