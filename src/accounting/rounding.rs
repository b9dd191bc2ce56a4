//! The one place where a stated number is rounded.

use rust_decimal::prelude::ToPrimitive;
use rust_decimal::{Decimal, RoundingStrategy};

/// Digits of a node of the trace.
pub const NODE_DIGITS: u32 = 8;
/// Digits of a stated figure.
pub const FIGURE_DIGITS: u32 = 6;

/// The rule, in the words that every statement carries.
pub const ROUNDING_RULE: &str = "Nothing is rounded on the way. Figures are rounded once, at the \
end, to 6 significant digits, nodes of the trace to 8, half away from zero and never coarser than \
the whole unit; records, factors and conventions stand as given. Claims are whole tonnes, rounded \
down from the first 20 digits of the figure or bound, or from a simulated bound as it is stated.";

/// `value` to `digits` significant digits, half away from zero, never coarser than the whole unit.
pub fn to_digits(value: Decimal, digits: u32) -> Decimal {
    let strategy = RoundingStrategy::MidpointAwayFromZero;
    let whole = value.round_dp_with_strategy(0, strategy);
    let whole_digits = whole.abs().to_string().len();
    if whole_digits >= usize::try_from(digits).unwrap_or(usize::MAX) {
        return whole.normalize();
    }
    value
        .round_sf_with_strategy(digits, strategy)
        .unwrap_or(value)
        .normalize()
}

/// A statistic as a decimal of 15 significant digits; none when it is infinite or not a number.
///
/// What is too small for a decimal becomes zero.
pub fn from_statistic(value: f64) -> Option<Decimal> {
    if !value.is_finite() || value.abs() >= 7.9e28 {
        return None;
    }
    if value.abs() < 1e-27 {
        return Some(Decimal::ZERO);
    }
    let text = format!("{value:.14e}");
    Decimal::from_scientific(&text)
        .or_else(|_| Decimal::from_scientific_lossy(&text))
        .ok()
}

/// A decimal as the nearest `f64`, for use inside statistics.
pub fn to_statistic(value: Decimal) -> f64 {
    value.to_f64().unwrap_or(f64::NAN)
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::str::FromStr;

    fn rounded(text: &str, digits: u32) -> String {
        to_digits(Decimal::from_str(text).unwrap(), digits).to_string()
    }

    #[test]
    fn significant_digits_are_kept_but_whole_units_never_lost() {
        assert_eq!(rounded("123.4565", 6), "123.457");
        assert_eq!(rounded("-123.4565", 6), "-123.457");
        assert_eq!(rounded("0.00012345678", 6), "0.000123457");
        assert_eq!(rounded("1234567890.4", 6), "1234567890");
        assert_eq!(rounded("99999.96", 6), "100000");
        assert_eq!(rounded("2.50000", 6), "2.5");
        assert_eq!(rounded("0", 6), "0");
    }

    #[test]
    fn statistics_become_decimals_or_nothing() {
        assert_eq!(
            from_statistic(0.1).unwrap().to_string(),
            "0.100000000000000"
        );
        assert_eq!(from_statistic(1e-40), Some(Decimal::ZERO));
        assert_eq!(from_statistic(f64::NAN), None);
        assert_eq!(from_statistic(f64::INFINITY), None);
        assert_eq!(from_statistic(1e40), None);
        assert!(from_statistic(3.3e-20).unwrap() > Decimal::ZERO);
        assert_eq!(
            from_statistic(4.2e27).unwrap(),
            Decimal::from_str("4200000000000000000000000000").unwrap()
        );
    }
}
