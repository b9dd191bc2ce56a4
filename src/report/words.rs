//! Numbers, units and codes as people read them, on pages and on paper.

use crate::accounting::claim::Basis;
use crate::accounting::factor::{SourceMark, Spread};
use crate::accounting::inputs::EvidenceRole;
use crate::report::summary::{decimals_for, number};
use rust_decimal::Decimal;
use rust_decimal::prelude::ToPrimitive;

/// Significant digits of the numbers in a trace.
const TRACE_DIGITS: u32 = 5;

/// A stated figure to about three digits.
pub fn figure(value: Decimal) -> String {
    signed(number(value, figure_decimals(value)))
}

/// The bounds of a figure, with the decimals of its value.
pub fn figure_bounds(lower: Decimal, value: Decimal, upper: Decimal) -> String {
    range(lower, upper, figure_decimals(value))
}

/// A number of a trace, to five significant digits; whole parts are never cut.
pub fn precise(value: Decimal) -> String {
    signed(number(value, trace_decimals(value)))
}

/// The bounds of a number of a trace, with the decimals of its value.
pub fn precise_bounds(lower: Decimal, value: Decimal, upper: Decimal) -> String {
    range(lower, upper, trace_decimals(value))
}

fn figure_decimals(value: Decimal) -> u32 {
    match value.abs() {
        size if size.is_zero() || size >= Decimal::new(1, 1) => decimals_for(value),
        size => digits_after_point(size, 3),
    }
}

fn trace_decimals(value: Decimal) -> u32 {
    let size = value.abs();
    if size.is_zero() || size >= Decimal::ONE {
        TRACE_DIGITS.saturating_sub(whole_digits(size))
    } else {
        digits_after_point(size, TRACE_DIGITS)
    }
}

fn range(lower: Decimal, upper: Decimal, decimals: u32) -> String {
    format!("{} to {}", padded(lower, decimals), padded(upper, decimals))
}

/// With all `decimals`, so that two bounds show how finely both are given.
fn padded(value: Decimal, decimals: u32) -> String {
    let mut text = number(value, decimals);
    let given = text
        .split_once('.')
        .map_or(0, |(_, fraction)| fraction.len());
    let missing = (decimals as usize).saturating_sub(given);
    if missing > 0 {
        if given == 0 {
            text.push('.');
        }
        text.extend(std::iter::repeat_n('0', missing));
    }
    signed(text)
}

/// With a minus sign instead of a hyphen.
fn signed(text: String) -> String {
    text.replacen('-', "−", 1)
}

fn whole_digits(size: Decimal) -> u32 {
    let text = size.trunc().to_string();
    u32::try_from(text.len()).unwrap_or(u32::MAX)
}

/// Decimals that leave `digits` of a number below 1 after its leading zeros.
fn digits_after_point(size: Decimal, digits: u32) -> u32 {
    let text = size.to_string();
    let zeros = text.split_once('.').map_or(0, |(_, fraction)| {
        fraction.chars().take_while(|digit| *digit == '0').count()
    });
    u32::try_from(zeros)
        .unwrap_or(u32::MAX)
        .saturating_add(digits)
}

/// A number with all the digits that are recorded.
pub fn whole(value: Decimal) -> String {
    number(value, value.scale())
}

pub fn count(value: u64) -> String {
    number(Decimal::from(value), 0)
}

/// A fraction as percent.
pub fn percent(fraction: Decimal) -> String {
    let percent = fraction
        .checked_mul(Decimal::ONE_HUNDRED)
        .unwrap_or(Decimal::MAX);
    format!("{} %", number(percent, 1))
}

/// For drawing alone.
pub fn drawn(value: Decimal) -> f64 {
    value.to_f64().unwrap_or(0.0)
}

/// A code word as words: `three_stone_fire` is a three stone fire.
pub fn spaced(code: &str) -> String {
    code.replace(['_', '-'], " ")
}

/// A label of the trace, whose device and fuel codes become words.
pub fn label(text: &str) -> String {
    text.replace('_', " ")
}

pub fn capital(text: &str) -> String {
    let mut characters = text.chars();
    characters.next().map_or_else(String::new, |first| {
        first.to_uppercase().chain(characters).collect()
    })
}

/// A unit of the trace; `1` is that of a ratio.
pub fn unit(unit: &str) -> String {
    match unit {
        "1" => "ratio".to_owned(),
        other => other.replace(" * ", " · "),
    }
}

pub fn basis(basis: Basis) -> &'static str {
    match basis {
        Basis::PointEstimate => "point estimate",
        Basis::LowerBound => "lower bound",
        Basis::Nothing => "nothing above zero",
        Basis::Refused => "refused by a rule",
    }
}

pub fn evidence_role(role: EvidenceRole) -> &'static str {
    match role {
        EvidenceRole::Register => "the register of households and stoves",
        EvidenceRole::Usage => "usage surveys",
        EvidenceRole::BaselineKitchens => "baseline kitchen tests",
        EvidenceRole::ProjectKitchens => "project kitchen tests",
        EvidenceRole::CharWeighings => "char weighings",
        EvidenceRole::BaselineSurvey => "baseline surveys",
        EvidenceRole::CookingTests => "controlled cooking tests",
        EvidenceRole::StoveTests => "stove tests",
        EvidenceRole::CharLab => "char laboratory results",
    }
}

pub fn spread(spread: &Spread) -> String {
    match spread {
        Spread::Exact => "exact, by definition".into(),
        Spread::Normal { standard_deviation } => {
            format!("normal, standard deviation {}", whole(*standard_deviation))
        }
        Spread::TruncatedNormal {
            standard_deviation,
            lower,
            upper,
        } => format!(
            "normal, standard deviation {}, cut off at {} and {}",
            whole(*standard_deviation),
            whole(*lower),
            whole(*upper)
        ),
        Spread::Lognormal {
            lower,
            upper,
            confidence,
        } => format!(
            "lognormal, {} to {} ({})",
            whole(*lower),
            whole(*upper),
            percent(*confidence)
        ),
        Spread::Triangular { lower, upper } => {
            format!("triangular, {} to {}", whole(*lower), whole(*upper))
        }
        Spread::Uniform { lower, upper } => {
            format!("uniform, {} to {}", whole(*lower), whole(*upper))
        }
    }
}

/// The mark of a citation and what it means.
pub fn mark(mark: SourceMark) -> (&'static str, &'static str) {
    match mark {
        SourceMark::Seen => ("SEEN", "read in the source named"),
        SourceMark::SeenSecondHand => ("SEEN-2ND", "read in another source that quotes this one"),
        SourceMark::Computed => (
            "COMPUTED",
            "worked out from seen values by a stated formula",
        ),
        SourceMark::Memory => (
            "MEMORY",
            "recalled, not read: look it up in the cited table before relying on it",
        ),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn decimal(text: &str) -> Decimal {
        text.parse().unwrap()
    }

    #[test]
    fn bounds_are_shown_like_their_value() {
        let value = decimal("2.95247");
        assert_eq!(figure(value), "2.95");
        let bounds = figure_bounds(decimal("-1.7"), value, decimal("4.14405"));
        assert_eq!(bounds, "−1.70 to 4.14");
        let bounds = figure_bounds(decimal("359"), decimal("7892.04"), decimal("12197.3"));
        assert_eq!(bounds, "359 to 12\u{2009}197");
        let bounds = precise_bounds(decimal("1"), decimal("1.5"), decimal("2"));
        assert_eq!(bounds, "1.0000 to 2.0000");
        assert_eq!(figure(decimal("0.865965")), "0.866");
    }

    #[test]
    fn a_small_figure_keeps_its_digits() {
        assert_eq!(figure(decimal("0.0012345")), "0.00123");
        assert_eq!(figure(Decimal::ZERO), "0");
    }

    #[test]
    fn trace_numbers_have_five_digits_and_whole_ones_all() {
        assert_eq!(precise(decimal("0.86596521")), "0.86597");
        assert_eq!(precise(decimal("140756")), "140\u{2009}756");
        assert_eq!(precise(decimal("86374.8")), "86\u{2009}375");
        assert_eq!(precise(decimal("0.000123456")), "0.00012346");
        assert_eq!(precise(decimal("-1.234567")), "−1.2346");
    }

    #[test]
    fn fractions_read_as_percent() {
        assert_eq!(percent(decimal("0.5421")), "54.2 %");
        assert_eq!(percent(decimal("0.9")), "90 %");
    }

    #[test]
    fn units_and_codes_become_words() {
        assert_eq!(unit("1"), "ratio");
        assert_eq!(unit("MJ * kg/TJ"), "MJ · kg/TJ");
        assert_eq!(spaced("three_stone_fire"), "three stone fire");
        assert_eq!(capital("usage survey"), "Usage survey");
    }

    #[test]
    fn a_spread_says_its_shape_and_bounds() {
        let triangular = Spread::Triangular {
            lower: decimal("0.2"),
            upper: decimal("0.40"),
        };
        assert_eq!(spread(&triangular), "triangular, 0.2 to 0.4");
        let lognormal = Spread::Lognormal {
            lower: decimal("1"),
            upper: decimal("4"),
            confidence: decimal("0.95"),
        };
        assert_eq!(spread(&lognormal), "lognormal, 1 to 4 (95 %)");
    }
}
