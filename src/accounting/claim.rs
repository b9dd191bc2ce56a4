//! From a figure and its doubt to the whole tonnes that may be claimed.
//!
//! What was avoided and what is stored are two kinds of tonne. Adding one to the
//! other does not compile:
//!
//! ```compile_fail
//! use emberbook::accounting::claim::{Reduction, Removal};
//! let _ = Reduction::of_tonnes(3).checked_add(Removal::none());
//! ```
//!
//! ```compile_fail
//! use emberbook::accounting::claim::{Reduction, Removal};
//! let _ = Reduction::of_tonnes(3) + Removal::none();
//! ```

use crate::accounting::methodology::{Approach, ClaimRule, Fallback, Sides};
use crate::accounting::rounding::{from_statistic, to_statistic};
use crate::accounting::statement::{SimulatedFigure, SoilSink};
use crate::accounting::trace::Uncertainty;
use crate::statistics::StatisticsError;
use crate::statistics::quantile::{student_t, two_sided};
use rust_decimal::Decimal;
use rust_decimal::prelude::ToPrimitive;
use serde::{Deserialize, Serialize};

/// Digits a claim is read from. A decimal has 28; a third taken three times must not cost a tonne.
const CLAIM_DIGITS: u32 = 20;

/// Whole tonnes CO2e that were not emitted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Reduction(u64);

impl Reduction {
    pub fn of_tonnes(tonnes: u64) -> Self {
        Reduction(tonnes)
    }

    pub fn tonnes(self) -> u64 {
        self.0
    }

    pub fn checked_add(self, other: Reduction) -> Option<Reduction> {
        self.0.checked_add(other.0).map(Reduction)
    }
}

/// Whole tonnes CO2 taken out of the air and stored.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Removal(u64);

impl Removal {
    pub fn none() -> Self {
        Removal(0)
    }

    /// Only an account that opened its soil sink can state what was stored there.
    pub fn stored(tonnes: u64, _sink: &SoilSink) -> Self {
        Removal(tonnes)
    }

    pub fn tonnes(self) -> u64 {
        self.0
    }

    pub fn checked_add(self, other: Removal) -> Option<Removal> {
        self.0.checked_add(other.0).map(Removal)
    }
}

/// What may be claimed of one figure, and by which part of the rule.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Claim<T> {
    /// The figure it is drawn from.
    pub figure: String,
    /// `tCO2e` of reductions, `tCO2` of removals.
    pub unit: String,
    pub tonnes: T,
    pub basis: Basis,
    /// The rule and how it was applied, in words.
    pub rule: String,
}

/// The two claims of a statement, apart.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Claims {
    pub reductions: Claim<Reduction>,
    pub removals: Claim<Removal>,
}

/// What the claim was taken from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Basis {
    PointEstimate,
    LowerBound,
    /// What the rule leaves is not above zero, below the least claim, or nothing at all.
    Nothing,
    /// A rule of the methodology forbids the claim.
    Refused,
}

/// Whole tonnes, what they were taken from, and why.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Claimable {
    pub tonnes: u64,
    pub basis: Basis,
    pub rule: String,
}

/// The figure cannot be claimed from.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum ClaimError {
    #[error("the figure is too large to be claimed")]
    TooLarge,
    #[error("no draw of the simulation came to a number")]
    NotSimulated,
    #[error(transparent)]
    Statistics(#[from] StatisticsError),
}

/// The interval that a claim rests on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bounds {
    /// Half the width of the two-sided interval.
    half_width: Decimal,
    /// The lower bound on as many sides as the rule says.
    lower: Decimal,
    approach: Approach,
}

impl Bounds {
    /// From the propagated standard error, by Student's t.
    pub fn propagated(
        value: Decimal,
        doubt: Uncertainty,
        rule: &ClaimRule,
    ) -> Result<Self, ClaimError> {
        let confidence = to_statistic(rule.confidence);
        let df = doubt.degrees_of_freedom;
        let quantile = match rule.sides {
            Sides::One => student_t(confidence, df)?,
            Sides::Two => two_sided(confidence, df)?,
        };
        let below = decimal(quantile * doubt.standard_error)?;
        Ok(Bounds {
            half_width: decimal(two_sided(confidence, df)? * doubt.standard_error)?,
            lower: value.checked_sub(below).ok_or(ClaimError::TooLarge)?,
            approach: Approach::Analytic,
        })
    }

    /// From the quantiles of the draws, as they are stated.
    pub fn simulated(
        figure: Option<&SimulatedFigure>,
        rule: &ClaimRule,
    ) -> Result<Self, ClaimError> {
        let figure = figure.ok_or(ClaimError::NotSimulated)?;
        let (lower, upper) = figure
            .lower
            .zip(figure.upper)
            .ok_or(ClaimError::NotSimulated)?;
        let width = upper.checked_sub(lower).ok_or(ClaimError::TooLarge)?;
        Ok(Bounds {
            half_width: width / Decimal::TWO,
            lower: match rule.sides {
                Sides::One => figure.lower_one_sided.ok_or(ClaimError::NotSimulated)?,
                Sides::Two => lower,
            },
            approach: Approach::MonteCarlo,
        })
    }
}

/// Applies the claim rule to a value in tonnes.
///
/// The point estimate stands when a precision is given and the half-width of the two-sided
/// interval over the value is within it. Else the rule falls back: to the lower bound of the
/// one- or two-sided interval, or to nothing. The result is never above the point estimate, is
/// rounded down to whole tonnes, and is nothing below the floor or zero.
pub fn claimable(
    value: Decimal,
    bounds: Bounds,
    rule: &ClaimRule,
) -> Result<Claimable, ClaimError> {
    let (claimed, basis, words) = before_floor(value, bounds, rule);
    let nothing = |why: String| Claimable {
        tonnes: 0,
        basis: Basis::Nothing,
        rule: format!("{words}{why}, so nothing is claimed"),
    };
    let Some(claimed) = claimed else {
        return Ok(nothing(String::new()));
    };
    if claimed <= Decimal::ZERO {
        return Ok(nothing("; it is not above zero".to_owned()));
    }
    let claimed = claimed.round_sf(CLAIM_DIGITS).unwrap_or(claimed);
    if let Some(floor) = rule.floor_t.filter(|floor| claimed < *floor) {
        return Ok(nothing(format!(
            "; it is below the least claim of {} t",
            floor.normalize()
        )));
    }
    let tonnes = claimed.floor().to_u64().ok_or(ClaimError::TooLarge)?;
    Ok(Claimable {
        tonnes,
        basis,
        rule: format!("{words}; whole tonnes, rounded down"),
    })
}

/// What the precision leaves of the figure, in tonnes, and why; none where the rule falls back
/// to nothing.
fn before_floor(
    value: Decimal,
    bounds: Bounds,
    rule: &ClaimRule,
) -> (Option<Decimal>, Basis, String) {
    let percent = rule
        .confidence
        .checked_mul(Decimal::ONE_HUNDRED)
        .unwrap_or(rule.confidence)
        .normalize();
    let width = format!("the half-width of the {percent} % interval is");
    let missed = match rule.precision {
        Some(wanted) if within(bounds.half_width, wanted, value) => {
            let words =
                format!("{width} within {wanted} of the value, so the point estimate stands");
            return (Some(value), Basis::PointEstimate, words);
        }
        Some(wanted) => format!("{width} not within {wanted} of the value"),
        None => String::new(),
    };
    let so = if missed.is_empty() { "" } else { ", so " };
    match rule.fallback {
        Fallback::LowerBound => {
            let bound = bounds.lower.min(value);
            let sides = match (bounds.approach, rule.sides) {
                (Approach::Analytic, Sides::One) => "one-sided",
                (Approach::Analytic, Sides::Two) => "two-sided",
                (Approach::MonteCarlo, Sides::One) => "simulated one-sided",
                (Approach::MonteCarlo, Sides::Two) => "simulated two-sided",
            };
            let words =
                format!("{missed}{so}the lower bound of the {sides} {percent} % interval is taken");
            (Some(bound), Basis::LowerBound, words)
        }
        Fallback::Nothing if missed.is_empty() => {
            let words = "the rule names no precision that lets a figure stand".to_owned();
            (None, Basis::Nothing, words)
        }
        Fallback::Nothing => {
            let words = format!("{missed}, and the rule takes no bound in its place");
            (None, Basis::Nothing, words)
        }
    }
}

/// Whether the half-width over a value above zero is at most `wanted`.
fn within(half_width: Decimal, wanted: Decimal, value: Decimal) -> bool {
    value > Decimal::ZERO
        && wanted
            .checked_mul(value)
            .is_some_and(|most| half_width <= most)
}

fn decimal(value: f64) -> Result<Decimal, ClaimError> {
    from_statistic(value).ok_or(ClaimError::TooLarge)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use std::str::FromStr;

    fn rule(sides: Sides, precision: Option<&str>) -> ClaimRule {
        ClaimRule {
            confidence: Decimal::from_str("0.90").unwrap(),
            sides,
            precision: precision.map(|text| Decimal::from_str(text).unwrap()),
            fallback: Fallback::LowerBound,
            floor_t: None,
        }
    }

    fn doubt(standard_error: f64) -> Uncertainty {
        Uncertainty {
            standard_error,
            degrees_of_freedom: f64::INFINITY,
        }
    }

    fn propagated(value: Decimal, doubt: Uncertainty, rule: &ClaimRule) -> Claimable {
        claimable(value, Bounds::propagated(value, doubt, rule).unwrap(), rule).unwrap()
    }

    fn claimed(value: &str, error: f64, rule: &ClaimRule) -> Claimable {
        propagated(Decimal::from_str(value).unwrap(), doubt(error), rule)
    }

    /// The 90/30 rule of kitchen-test methods (MEMORY): within 30 % of the mean the mean stands,
    /// else the lower bound of the one-sided 90 % interval. z 1.645 and 1.282 from any table:
    /// 1.645 * 18.2 = 29.9 is within 30 of 100; 1.645 * 18.3 = 30.1 is not,
    /// and 100 - 1.2816 * 18.3 = 76.55.
    #[test]
    fn ninety_thirty() {
        let rule = rule(Sides::One, Some("0.30"));
        let met = claimed("100.9", 18.2, &rule);
        assert_eq!((met.tonnes, met.basis), (100, Basis::PointEstimate));
        let missed = claimed("100", 18.3, &rule);
        assert_eq!((missed.tonnes, missed.basis), (76, Basis::LowerBound));
    }

    /// The 90/10 rule of yearly samples and the 95/10 rule of biennial ones and of plans over
    /// several activities (MEMORY; 95/10 SEEN of such plans), with the lower bound of the
    /// two-sided interval where missed. z 1.645 and 1.960 from any table: 1.645 * 6.07 = 9.99
    /// and 1.960 * 5.10 = 9.996 are within 10 of 100; 1.645 * 6.09 = 10.02 and 1.960 * 5.11 =
    /// 10.02 are not, and leave 89.98 in both.
    #[test]
    fn ninety_ten_and_ninety_five_ten() {
        for (confidence, met, missed) in [("0.90", 6.07, 6.09), ("0.95", 5.10, 5.11)] {
            let mut rule = rule(Sides::Two, Some("0.10"));
            rule.confidence = Decimal::from_str(confidence).unwrap();
            let found = claimed("100", met, &rule);
            assert_eq!((found.tonnes, found.basis), (100, Basis::PointEstimate));
            let found = claimed("100", missed, &rule);
            assert_eq!((found.tonnes, found.basis), (89, Basis::LowerBound));
            let percent = rule.confidence * Decimal::ONE_HUNDRED;
            let words = format!("two-sided {} % interval is taken", percent.normalize());
            assert!(found.rule.contains(&words), "{}", found.rule);
        }
    }

    #[test]
    fn a_rule_may_fall_back_to_nothing() {
        let mut rule = rule(Sides::One, Some("0.30"));
        rule.fallback = Fallback::Nothing;
        assert_eq!(claimed("100", 18.2, &rule).tonnes, 100);
        let missed = claimed("100", 18.3, &rule);
        assert_eq!((missed.tonnes, missed.basis), (0, Basis::Nothing));
        assert!(missed.rule.contains("not within 0.30"), "{}", missed.rule);
        assert!(
            missed
                .rule
                .contains("no bound in its place, so nothing is claimed")
        );
        rule.precision = None;
        let never = claimed("100", 0.0, &rule);
        assert_eq!((never.tonnes, never.basis), (0, Basis::Nothing));
        assert!(never.rule.contains("names no precision"), "{}", never.rule);
    }

    #[test]
    fn below_the_floor_nothing_is_claimed() {
        let mut rule = rule(Sides::One, Some("0.30"));
        rule.floor_t = Some(Decimal::from_str("50.0").unwrap());
        assert_eq!(claimed("50", 0.0, &rule).tonnes, 50);
        assert_eq!(claimed("50.7", 0.0, &rule).tonnes, 50);
        let small = claimed("49.9", 0.0, &rule);
        assert_eq!((small.tonnes, small.basis), (0, Basis::Nothing));
        assert!(
            small.rule.contains("below the least claim of 50 t"),
            "{}",
            small.rule
        );
        // The bound is what is held against the floor: 60 - 1.2816 * 12 = 44.6.
        assert_eq!(claimed("60", 12.0, &rule).tonnes, 0);
    }

    #[test]
    fn two_sides_are_stricter_than_one() {
        // 100 - 1.6449 * 10 = 83.55; 100 - 1.2816 * 10 = 87.18
        assert_eq!(claimed("100", 10.0, &rule(Sides::Two, None)).tonnes, 83);
        assert_eq!(claimed("100", 10.0, &rule(Sides::One, None)).tonnes, 87);
    }

    #[test]
    fn below_zero_nothing_is_claimed_and_the_rule_says_why() {
        let nothing = claimed("10", 100.0, &rule(Sides::One, Some("0.30")));
        assert_eq!((nothing.tonnes, nothing.basis), (0, Basis::Nothing));
        assert!(nothing.rule.contains("not above zero"), "{}", nothing.rule);
        assert_eq!(
            claimed("-5", 0.0, &rule(Sides::One, Some("0.30"))).tonnes,
            0
        );
    }

    #[test]
    fn a_low_confidence_cannot_lift_the_claim_above_the_point_estimate() {
        let mut rule = rule(Sides::One, None);
        rule.confidence = Decimal::from_str("0.2").unwrap();
        assert_eq!(claimed("100", 50.0, &rule).tonnes, 100);
    }

    #[test]
    fn the_last_digits_of_a_division_cost_no_tonne() {
        let third = Decimal::from(10) / Decimal::from(3);
        let value = third * Decimal::from(3);
        assert!(
            value < Decimal::from(22),
            "the example no longer falls short"
        );
        let found = propagated(value, doubt(0.0), &rule(Sides::One, None));
        assert_eq!(found.tonnes, 10);
    }

    proptest! {
        #[test]
        fn the_claim_is_never_above_the_point_estimate(
            thousandths in -1_000_000_000i64..1_000_000_000,
            error in 0.0f64..1e6,
            df in 1.0f64..1e4,
            confidence in 1i64..100,
            two in any::<bool>(),
            precision in proptest::option::of(0i64..100),
        ) {
            let value = Decimal::new(thousandths, 3);
            let rule = ClaimRule {
                confidence: Decimal::new(confidence, 2),
                sides: if two { Sides::Two } else { Sides::One },
                precision: precision.map(|hundredths| Decimal::new(hundredths, 2)),
                fallback: Fallback::LowerBound,
                floor_t: None,
            };
            let doubt = Uncertainty { standard_error: error, degrees_of_freedom: df };
            let found = propagated(value, doubt, &rule);
            prop_assert!(Decimal::from(found.tonnes) <= value.max(Decimal::ZERO));
        }
    }
}
