//! What one column asks on a phone: its words, its type and what it lets through.

use crate::intake::template::{Column, ValueRule};

/// Ends of column names that say the unit, which stands in the label in full.
const UNIT_ENDS: [&str; 8] = [
    "_mj_per_kg",
    "_wet_kg",
    "_dry_kg",
    "_kg",
    "_mg",
    "_wb",
    "_g",
    "_c",
];

/// The question of a column: its name in words, with the unit.
pub fn question_label(column: &Column) -> String {
    match column.unit {
        Some(unit) => {
            let bare = UNIT_ENDS
                .iter()
                .find_map(|end| column.name.strip_suffix(end));
            format!("{} ({unit})", in_words(bare.unwrap_or(column.name)))
        }
        None => in_words(column.name),
    }
}

/// A code as words: `in_use` is "In use".
pub(super) fn in_words(code: &str) -> String {
    let words: Vec<&str> = code
        .split('_')
        .map(|word| match word {
            "ncv" => "NCV",
            "co" => "CO",
            "pm25" => "PM2.5",
            "lpg" => "LPG",
            plain => plain,
        })
        .collect();
    let text = words.join(" ");
    let mut letters = text.chars();
    match letters.next() {
        Some(first) => first.to_ascii_uppercase().to_string() + letters.as_str(),
        None => text,
    }
}

/// The type of a column's answers, in the words of XML Schema.
pub(super) fn data_type(rule: &ValueRule) -> &'static str {
    match rule {
        ValueRule::Code { .. } | ValueRule::OneOf(_) | ValueRule::YesNo => "string",
        ValueRule::Date => "date",
        ValueRule::Decimal { .. } => "decimal",
        ValueRule::Integer { .. } => "int",
    }
}

/// The words to choose from; none where the answer is typed in.
pub(super) fn choices(rule: &ValueRule) -> Option<&'static [&'static str]> {
    match rule {
        ValueRule::OneOf(words) => Some(words),
        ValueRule::YesNo => Some(&["yes", "no"]),
        _ => None,
    }
}

/// What an answer must fulfil.
pub(super) struct Constraint {
    /// In XPath.
    pub condition: String,
    /// In words, shown when it is not fulfilled.
    pub message: String,
}

/// The bounds of a column that a phone can check while it is offline. The number of decimals
/// is left to the server: a phone may keep an answer as a binary number.
pub(super) fn constraint(column: &Column) -> Option<Constraint> {
    let unit = column.unit.map(|unit| format!(" {unit}"));
    let unit = unit.unwrap_or_default();
    let (condition, message) = match &column.value {
        ValueRule::Code { max_len } => (
            format!(
                "regex(., '^[A-Za-z0-9_./][A-Za-z0-9_./-]{{0,{}}}$')",
                max_len.saturating_sub(1)
            ),
            format!(
                "Letters A to Z, digits and - _ . / only, not beginning with -, \
                 at most {max_len} characters"
            ),
        ),
        ValueRule::Date => (
            ". >= date('2000-01-01') and . <= date('2100-12-31')".to_owned(),
            "A day from 2000-01-01 to 2100-12-31".to_owned(),
        ),
        ValueRule::Decimal {
            min,
            max,
            scale_max,
        } => (
            format!(". >= {min} and . <= {max}"),
            format!("From {min} to {max}{unit}, with at most {scale_max} decimals"),
        ),
        ValueRule::Integer { min, max } => (
            format!(". >= {min} and . <= {max}"),
            format!("A whole number from {min} to {max}{unit}"),
        ),
        ValueRule::OneOf(_) | ValueRule::YesNo => return None,
    };
    Some(Constraint { condition, message })
}
