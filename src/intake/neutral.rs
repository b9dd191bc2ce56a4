//! Text that a spreadsheet would take for a formula: refused on the way in, made harmless on
//! the way out.

use rust_decimal::Decimal;
use std::borrow::Cow;

/// Characters that make a spreadsheet calculate a cell instead of showing it.
const FORMULA_STARTS: [char; 6] = ['=', '+', '-', '@', '\t', '\r'];

/// Whether a spreadsheet may take the text for a formula.
pub(in crate::intake) fn starts_like_formula(text: &str) -> bool {
    text.starts_with(FORMULA_STARTS)
}

/// The text as it may stand in a sheet that we hand out: what starts like a formula gets an
/// apostrophe before it, which spreadsheets read as "this is text". A plain number is left
/// as it is, whatever its sign.
pub fn neutral(text: &str) -> Cow<'_, str> {
    if starts_like_formula(text) && text.parse::<Decimal>().is_err() {
        Cow::Owned(format!("'{text}"))
    } else {
        Cow::Borrowed(text)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_starts_like_a_formula_is_made_text_and_a_number_is_left_alone() {
        for text in [
            "=1+1",
            "+A1",
            "-2+3",
            "@SUM(A1)",
            "\t=1",
            "\r=1",
            "=cmd|' /C x'!A0",
        ] {
            assert_eq!(neutral(text), format!("'{text}"));
        }
        for text in ["", "HH-1", "-5", "+1.50", "1=1", " =1"] {
            assert_eq!(neutral(text), text);
        }
    }
}
