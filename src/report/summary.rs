//! A statement on one screen of plain text.

use crate::accounting::claim::{Basis, Claim};
use crate::accounting::statement::{Figure, Statement};
use rust_decimal::Decimal;
use serde::Serialize;
use std::fmt::Write;

/// The figures that a reader asks for first, in this order.
const SHOWN: [&str; 16] = [
    "stoves_in_service_days",
    "use_rate",
    "household_days_in_use",
    "fuel_saved",
    "reductions_co2e",
    "pm25_avoided",
    "pm25_percent",
    "bc_avoided",
    "bc_percent",
    "oc_avoided",
    "oc_percent",
    "co_avoided",
    "co_percent",
    "char_weighed_dry",
    "char_to_soil_dry",
    "removals_co2",
];

/// Thousands apart by thin spaces, at most `decimals` places.
pub fn number(value: Decimal, decimals: u32) -> String {
    let text = value.round_dp(decimals).normalize().to_string();
    let (sign, digits) = text
        .strip_prefix('-')
        .map_or(("", text.as_str()), |rest| ("-", rest));
    let (whole, fraction) = digits.split_once('.').unwrap_or((digits, ""));
    let mut grouped = String::new();
    for (index, digit) in whole.chars().enumerate() {
        if index > 0 && (whole.len() - index).is_multiple_of(3) {
            grouped.push('\u{2009}');
        }
        grouped.push(digit);
    }
    let point = if fraction.is_empty() { "" } else { "." };
    format!("{sign}{grouped}{point}{fraction}")
}

/// Decimals that show a value to three or four digits.
pub fn decimals_for(value: Decimal) -> u32 {
    match value.abs() {
        size if size >= Decimal::from(1000) => 0,
        size if size >= Decimal::from(10) => 1,
        size if size >= Decimal::ONE => 2,
        _ => 3,
    }
}

/// The figures of a statement with their intervals, and its claims.
pub fn text(statement: &Statement) -> String {
    let mut text = format!(
        "Statement of {} for {} ({} to before {}), {}@{}, trail position {}\n",
        statement.programme.name,
        statement.period.code,
        statement.period.starts_on,
        statement.period.ends_on,
        statement.methodology.code,
        statement.methodology.version,
        statement.position
    );
    if let Some(figure) = statement.figures.first() {
        let _ = writeln!(
            text,
            "  {:<57} {:>9} [{} % interval]",
            "",
            "",
            number(figure.confidence * Decimal::ONE_HUNDRED, 1)
        );
    }
    for figure in SHOWN.iter().filter_map(|id| statement.figure(id)) {
        let _ = writeln!(text, "  {}", line(figure));
    }
    let _ = write!(
        text,
        "  claim, reductions: {} {} ({})\n  claim, removals:   {} {} ({})",
        statement.claims.reductions.tonnes.tonnes(),
        statement.claims.reductions.unit,
        basis(&statement.claims.reductions),
        statement.claims.removals.tonnes.tonnes(),
        statement.claims.removals.unit,
        basis(&statement.claims.removals),
    );
    text
}

fn line(figure: &Figure) -> String {
    let decimals = decimals_for(figure.value);
    let mut line = format!("{:<57} {:>9}", figure.label, number(figure.value, decimals));
    // The unit of a share is 1, which would read as a second number.
    if figure.unit != "1" {
        line = format!("{line} {}", figure.unit);
    }
    if figure.lower != figure.upper {
        line = format!(
            "{line}  [{} to {}]",
            number(figure.lower, decimals),
            number(figure.upper, decimals)
        );
    }
    line
}

fn basis<T: Serialize>(claim: &Claim<T>) -> &'static str {
    match claim.basis {
        Basis::PointEstimate => "point estimate",
        Basis::LowerBound => "lower bound",
        Basis::Nothing => "nothing above zero",
        Basis::Refused => "refused by a rule",
    }
}

/// One sentence: what may be claimed, reductions and removals apart.
pub fn headline(statement: &Statement) -> String {
    let of = |id: &str| {
        statement
            .figure(id)
            .map(|f| {
                let decimals = decimals_for(f.value);
                format!(
                    "{} [{} to {}] {}",
                    number(f.value, decimals),
                    number(f.lower, decimals),
                    number(f.upper, decimals),
                    f.unit
                )
            })
            .unwrap_or_else(|| "not stated".into())
    };
    format!(
        "avoided {}, claim {} {}; stored {}, claim {} {}. verified: the bag checks out offline. \
         Not an opinion of a verification body.",
        of("reductions_co2e"),
        statement.claims.reductions.tonnes.tonnes(),
        statement.claims.reductions.unit,
        of("removals_co2"),
        statement.claims.removals.tonnes.tonnes(),
        statement.claims.removals.unit,
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_grouped_by_thin_spaces_and_rounded() {
        let decimal = |text: &str| text.parse::<Decimal>().unwrap();
        assert_eq!(
            number(decimal("1234567.891"), 1),
            "1\u{2009}234\u{2009}567.9"
        );
        assert_eq!(number(decimal("-999.5"), 0), "-1\u{2009}000");
        assert_eq!(number(decimal("0.120"), 3), "0.12");
    }
}
