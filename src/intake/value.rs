//! One cell: from its text to a checked value, and back to its canonical text.

use crate::intake::neutral::starts_like_formula;
use crate::intake::number::{read_decimal, read_integer};
use crate::intake::privacy::personal_cell;
use crate::intake::rejection::{Fault, code, shown};
use crate::intake::template::{Column, ValueRule};
use chrono::{Datelike, NaiveDate, NaiveDateTime, NaiveTime};
use rust_decimal::Decimal;
use std::fmt;

/// A checked cell.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Cell {
    Empty,
    Text(String),
    Date(NaiveDate),
    /// With the decimals that were entered: `1.50` stays `1.50`.
    Decimal(Decimal),
    Integer(i64),
    Flag(bool),
    /// A local date and time to the minute.
    Minute(NaiveDateTime),
}

impl fmt::Display for Cell {
    /// The canonical text, which the same column reads back as the same cell.
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Cell::Empty => Ok(()),
            Cell::Text(text) => formatter.write_str(text),
            Cell::Date(day) => write!(formatter, "{day}"),
            Cell::Decimal(number) => write!(formatter, "{number}"),
            Cell::Integer(number) => write!(formatter, "{number}"),
            Cell::Flag(true) => formatter.write_str("yes"),
            Cell::Flag(false) => formatter.write_str("no"),
            Cell::Minute(at) => write!(formatter, "{}", at.format("%Y-%m-%dT%H:%M")),
        }
    }
}

/// Reads a cell by its column's rule.
pub(in crate::intake) fn read_cell(column: &Column, text: &str) -> Result<Cell, Fault> {
    if text.is_empty() {
        return if column.required {
            Err(Fault::new(
                code::MISSING_VALUE,
                "the cell is empty; this column must be filled",
            ))
        } else {
            Ok(Cell::Empty)
        };
    }
    refuse_unprintable(text)?;
    refuse_stray_space(text)?;
    match column.value {
        ValueRule::Code { max_len } => read_code(text, max_len).map(Cell::Text),
        ValueRule::OneOf(words) => read_word(text, words).map(Cell::Text),
        ValueRule::Date => read_date(text).map(Cell::Date),
        ValueRule::Decimal {
            min,
            max,
            scale_max,
        } => read_decimal(column, text, min, max, scale_max).map(Cell::Decimal),
        ValueRule::Integer { min, max } => read_integer(column, text, min, max).map(Cell::Integer),
        ValueRule::YesNo => read_flag(text).map(Cell::Flag),
        ValueRule::Minute => read_minute(text).map(Cell::Minute),
    }
}

fn refuse_unprintable(text: &str) -> Result<(), Fault> {
    match text.chars().find(|character| character.is_control()) {
        None => Ok(()),
        Some('\n' | '\r') => Err(Fault::new(
            code::CONTROL_CHARACTER,
            format!(
                "{} holds a line break; write the value on one line",
                shown(text)
            ),
        )),
        Some(character) => Err(Fault::new(
            code::CONTROL_CHARACTER,
            format!(
                "{} holds the control character U+{:04X}",
                shown(text),
                u32::from(character)
            ),
        )),
    }
}

/// The edges are not trimmed in silence: what was hashed must be what was sent.
pub(in crate::intake) fn refuse_stray_space(text: &str) -> Result<(), Fault> {
    let trimmed = text.trim();
    if trimmed.len() == text.len() {
        return Ok(());
    }
    let detail = if trimmed.is_empty() {
        "the cell holds nothing but white space; leave it empty or fill it".to_owned()
    } else {
        format!(
            "{} has white space before or after it; write {}",
            shown(text),
            shown(trimmed)
        )
    };
    Err(Fault::new(code::STRAY_SPACE, detail))
}

fn read_code(text: &str, max_len: usize) -> Result<String, Fault> {
    if let Some(fault) = personal_cell(text) {
        return Err(fault);
    }
    if starts_like_formula(text) {
        return Err(Fault::new(
            code::FORMULA_START,
            format!(
                "{} starts like a spreadsheet formula; a code may not start with = + - or @",
                shown(text)
            ),
        ));
    }
    let length = text.chars().count();
    if length > max_len {
        return Err(Fault::new(
            code::TOO_LONG,
            format!(
                "{} has {length} characters; a code has at most {max_len}",
                shown(text)
            ),
        ));
    }
    let odd = |character: &char| !character.is_ascii_alphanumeric() && !"-_./".contains(*character);
    match text.chars().find(odd) {
        None => Ok(text.to_owned()),
        Some(character) => Err(Fault::new(
            code::NOT_A_CODE,
            format!(
                "{} holds {}; a code is made of the letters A to Z and a to z, digits and - _ . /",
                shown(text),
                if character.is_whitespace() {
                    "a space".to_owned()
                } else {
                    shown(character.encode_utf8(&mut [0; 4]))
                }
            ),
        )),
    }
}

fn read_word(text: &str, words: &[&str]) -> Result<String, Fault> {
    if words.contains(&text) {
        return Ok(text.to_owned());
    }
    let plain: String = text
        .chars()
        .map(|character| match character {
            ' ' | '-' => '_',
            other => other.to_ascii_lowercase(),
        })
        .collect();
    let detail = if words.contains(&plain.as_str()) {
        format!(
            "{} is not written as in the list: write {}",
            shown(text),
            shown(&plain)
        )
    } else {
        format!("{} is not in the list: {}", shown(text), words.join(", "))
    };
    Err(Fault::new(code::NOT_IN_LIST, detail))
}

fn read_flag(text: &str) -> Result<bool, Fault> {
    match text {
        "yes" => Ok(true),
        "no" => Ok(false),
        _ => Err(Fault::new(
            code::NOT_YES_NO,
            format!(
                "{} is neither yes nor no; write yes or no in small letters",
                shown(text)
            ),
        )),
    }
}

fn read_date(text: &str) -> Result<NaiveDate, Fault> {
    let Some((year, month, day)) = split_date(text) else {
        let why = if text.len() == 5 && text.bytes().all(|byte| byte.is_ascii_digit()) {
            " (this looks like a spreadsheet's day number; format the column as text)"
        } else {
            ""
        };
        return Err(Fault::new(
            code::DATE_FORMAT,
            format!(
                "{} is not read as a date: write dates as YYYY-MM-DD{why}",
                shown(text)
            ),
        ));
    };
    let date = NaiveDate::from_ymd_opt(year, month, day).ok_or_else(|| {
        Fault::new(
            code::NOT_A_DATE,
            format!("{} is not a day of the calendar", shown(text)),
        )
    })?;
    if !(2000..=2100).contains(&date.year()) {
        return Err(Fault::new(
            code::OUT_OF_RANGE,
            format!("{} is outside 2000-01-01 to 2100-12-31", shown(text)),
        ));
    }
    Ok(date)
}

fn read_minute(text: &str) -> Result<NaiveDateTime, Fault> {
    let shaped = text.split_once('T').and_then(|(day, time)| {
        let (hour, minute) = split_time(time)?;
        split_date(day).map(|_| (day, hour, minute))
    });
    let Some((day, hour, minute)) = shaped else {
        return Err(Fault::new(
            code::DATE_FORMAT,
            format!(
                "{} is not read as a date and time: write them as YYYY-MM-DDTHH:MM, \
                 in the local time of the programme",
                shown(text)
            ),
        ));
    };
    let time = NaiveTime::from_hms_opt(hour, minute, 0).ok_or_else(|| {
        Fault::new(
            code::NOT_A_DATE,
            format!("{} is not a time of the day", shown(text)),
        )
    })?;
    Ok(read_date(day)?.and_time(time))
}

/// Hour and minute of exactly `HH:MM`.
fn split_time(text: &str) -> Option<(u32, u32)> {
    let shape = text.len() == 5
        && text.bytes().enumerate().all(|(at, byte)| match at {
            2 => byte == b':',
            _ => byte.is_ascii_digit(),
        });
    if !shape {
        return None;
    }
    Some((text.get(..2)?.parse().ok()?, text.get(3..)?.parse().ok()?))
}

/// Year, month and day of exactly `YYYY-MM-DD`.
fn split_date(text: &str) -> Option<(i32, u32, u32)> {
    let shape = text.len() == 10
        && text.bytes().enumerate().all(|(at, byte)| match at {
            4 | 7 => byte == b'-',
            _ => byte.is_ascii_digit(),
        });
    if !shape {
        return None;
    }
    Some((
        text.get(..4)?.parse().ok()?,
        text.get(5..7)?.parse().ok()?,
        text.get(8..)?.parse().ok()?,
    ))
}
