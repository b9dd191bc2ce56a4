//! Numbers in cells: a strict grammar, and a sentence for each way of missing it.
//!
//! A number is `[+-] digits [. digits]`. An exponent is refused, because it is
//! most often a spreadsheet's shortening of digits that are then lost.

use crate::intake::rejection::{Fault, code, shown};
use crate::intake::template::Column;
use crate::intake::templates::{DRY_FRACTION, FRACTION, MOISTURE_WB};
use rust_decimal::Decimal;

/// More digits than any bound of a template has; longer numbers are out of range unread.
const INTEGER_DIGITS_MAX: usize = 15;

/// A number taken apart; the parts are digits, without leading zeros before the point.
struct Numeral<'a> {
    negative: bool,
    whole: &'a str,
    /// Digits after the point, trailing zeros kept.
    decimals: &'a str,
}

impl Numeral<'_> {
    fn canonical(&self) -> String {
        let sign = if self.negative { "-" } else { "" };
        let whole = if self.whole.is_empty() {
            "0"
        } else {
            self.whole
        };
        let point = if self.decimals.is_empty() { "" } else { "." };
        format!("{sign}{whole}{point}{}", self.decimals)
    }
}

pub(in crate::intake) fn read_decimal(
    column: &Column,
    text: &str,
    min: Decimal,
    max: Decimal,
    scale_max: u32,
) -> Result<Decimal, Fault> {
    let numeral = read_numeral(column, text)?;
    if numeral.decimals.len() > scale_max as usize {
        return Err(Fault::new(
            code::TOO_MANY_DECIMALS,
            format!(
                "{} has {} decimals; at most {scale_max} are taken, and none is rounded away here",
                shown(text),
                numeral.decimals.len()
            ),
        ));
    }
    let out_of_range = |value| out_of_range(column, text, value, min, max);
    if numeral.whole.len() > INTEGER_DIGITS_MAX {
        return Err(out_of_range(None));
    }
    let value = Decimal::from_str_exact(&numeral.canonical()).map_err(|_| out_of_range(None))?;
    if value < min || value > max {
        return Err(out_of_range(Some(value)));
    }
    Ok(value)
}

pub(in crate::intake) fn read_integer(
    column: &Column,
    text: &str,
    min: i64,
    max: i64,
) -> Result<i64, Fault> {
    let numeral = read_numeral(column, text)?;
    if !numeral.decimals.is_empty() {
        return Err(Fault::new(
            code::NOT_WHOLE,
            format!(
                "{} is not a whole number: write it without decimals",
                shown(text)
            ),
        ));
    }
    let value: Option<i64> = if numeral.whole.len() > INTEGER_DIGITS_MAX {
        None
    } else {
        numeral.canonical().parse().ok()
    };
    value
        .filter(|value| (min..=max).contains(value))
        .ok_or_else(|| {
            Fault::new(
                code::OUT_OF_RANGE,
                format!("{} is outside {min} to {max}", shown(text)),
            )
        })
}

fn read_numeral<'a>(column: &Column, text: &'a str) -> Result<Numeral<'a>, Fault> {
    split_numeral(text).ok_or_else(|| not_a_number(column, text))
}

fn split_numeral(text: &str) -> Option<Numeral<'_>> {
    let (negative, unsigned) = match text.strip_prefix('-') {
        Some(rest) => (true, rest),
        None => (false, text.strip_prefix('+').unwrap_or(text)),
    };
    let (whole, decimals) = match unsigned.split_once('.') {
        Some((_, "")) => return None,
        Some(parts) => parts,
        None => (unsigned, ""),
    };
    let digits = |part: &str| part.bytes().all(|byte| byte.is_ascii_digit());
    let sound = digits(whole) && digits(decimals) && !(whole.is_empty() && decimals.is_empty());
    sound.then(|| Numeral {
        negative,
        whole: whole.trim_start_matches('0'),
        decimals,
    })
}

fn not_a_number(column: &Column, text: &str) -> Fault {
    let only = |others: &str| {
        text.bytes()
            .all(|byte| byte.is_ascii_digit() || others.as_bytes().contains(&byte))
            && text.bytes().any(|byte| byte.is_ascii_digit())
    };
    if text.contains(',') && only("+-.,") {
        return Fault::new(
            code::DECIMAL_COMMA,
            format!(
                "{} has a comma: write decimals with a point, as in 0.14, \
                 and thousands without a mark",
                shown(text)
            ),
        );
    }
    if text.contains(['e', 'E']) && only("+-.eE") {
        return Fault::new(
            code::EXPONENT,
            format!(
                "{} is written with an exponent: write all its digits",
                shown(text)
            ),
        );
    }
    let hint = if text.ends_with('%') {
        ": write a fraction without the percent sign, as in 0.14 for 14 %".to_owned()
    } else if text.starts_with(|first: char| first.is_ascii_digit()) {
        match column.unit {
            Some(unit) => format!(": write the number alone, it is taken in {unit}"),
            None => ": write the number alone".to_owned(),
        }
    } else {
        String::new()
    };
    Fault::new(
        code::NOT_A_NUMBER,
        format!("{} is not a number{hint}", shown(text)),
    )
}

/// `value` is absent where the number is too long to be read.
fn out_of_range(
    column: &Column,
    text: &str,
    value: Option<Decimal>,
    min: Decimal,
    max: Decimal,
) -> Fault {
    let shown = shown(text);
    let percent = value.and_then(|value| as_fraction(value, column.unit));
    if column.unit == Some(MOISTURE_WB) && value.is_none_or(|value| value > max) {
        let remedy = match percent {
            Some(fraction) => {
                format!(
                    "it is a fraction, so that {} means {fraction}",
                    text.trim_start_matches('+')
                )
            }
            None => "turn a dry-basis moisture into it by M_wb = M_db / (1 + M_db)".to_owned(),
        };
        return Fault::new(
            code::MOISTURE_BASIS,
            format!(
                "{shown} is over {max}: moisture is on the wet basis, water / wet mass, \
                 from {min} to {max}; {remedy}"
            ),
        );
    }
    let unit = column
        .unit
        .map(|unit| format!(" ({unit})"))
        .unwrap_or_default();
    let hint = percent.map(|fraction| format!("; {text} percent is {fraction}"));
    Fault::new(
        code::OUT_OF_RANGE,
        format!(
            "{shown} is outside {min} to {max}{unit}{}",
            hint.unwrap_or_default()
        ),
    )
}

/// What a number that was probably written in percent means as a fraction: 14 means 0.14.
fn as_fraction(value: Decimal, unit: Option<&str>) -> Option<Decimal> {
    let largest = match unit {
        Some(MOISTURE_WB) => Decimal::from(80),
        Some(FRACTION | DRY_FRACTION) => Decimal::ONE_HUNDRED,
        _ => return None,
    };
    if value < Decimal::ONE || value > largest {
        return None;
    }
    value
        .checked_div(Decimal::ONE_HUNDRED)
        .map(|fraction| fraction.normalize())
}
