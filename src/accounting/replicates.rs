//! Replicates of a test: their mean, their doubt, and the factor that they make.

use crate::accounting::factor::Spread;
use crate::accounting::rounding::{FIGURE_DIGITS, from_statistic, to_digits, to_statistic};
use crate::accounting::stove_test::{TestError, must};
use crate::accounting::units::checked;
use crate::statistics::StatisticsError;
use crate::statistics::estimate;
use crate::statistics::quantile::two_sided;
use rust_decimal::Decimal;
use serde::{Serialize, Serializer};
use utoipa::ToSchema;

/// Confidence of the two-sided interval of replicates, that of ISO 19867-1 (MEMORY).
const CONFIDENCE: f64 = 0.90;
/// A factor's code is at most this long.
const CODE_LENGTH_MAX: usize = 64;
/// A normal spread whose mean is this many standard deviations from an impossible value is left
/// whole: less than 0.14 % of it lies beyond.
const ROOM_IN_DEVIATIONS: Decimal = Decimal::from_parts(3, 0, 0, false, 0);

/// Mean of independent replicates, in the unit of the values. A single test has no doubt that
/// could be known.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct Replicates {
    pub tests: usize,
    #[serde(serialize_with = "stated")]
    pub mean: Decimal,
    #[serde(flatten)]
    pub doubt: Option<Doubt>,
}

/// How far the mean of replicates may be off.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct Doubt {
    #[serde(serialize_with = "stated")]
    pub standard_deviation: Decimal,
    #[serde(serialize_with = "stated")]
    pub standard_error: Decimal,
    pub degrees_of_freedom: usize,
    /// Lower end of the two-sided 90 % t interval of the mean.
    #[serde(serialize_with = "stated")]
    pub lower_90: Decimal,
    #[serde(serialize_with = "stated")]
    pub upper_90: Decimal,
    /// Standard error times `t / z` at 90 %: the normal of this deviation has the interval of
    /// the small sample.
    #[serde(skip)]
    widened_error: Decimal,
}

impl Replicates {
    /// # Errors
    /// No value; values too large for an interval.
    pub fn of(values: &[Decimal]) -> Result<Self, TestError> {
        let tests = values.len();
        if tests == 0 {
            return Err(TestError::NoTest);
        }
        let mean = checked::quotient(
            checked::total(values.iter().copied())?,
            Decimal::from(tests),
        )?;
        let doubt = (tests > 1).then(|| Doubt::of(values, mean)).transpose()?;
        Ok(Replicates { tests, mean, doubt })
    }

    /// Both ends of the 90 % interval.
    pub fn interval(&self) -> Option<(Decimal, Decimal)> {
        self.doubt
            .as_ref()
            .map(|doubt| (doubt.lower_90, doubt.upper_90))
    }

    /// Value and spread of the factor that the replicates make.
    ///
    /// The spread is normal, with the standard error widened to the t interval of the few tests.
    /// Where more than a trace of it would lie below zero or above `ceiling`, it is cut off at
    /// equal distances on both sides, so that the mean of the tests stays the mean.
    ///
    /// # Errors
    /// Fewer than two tests.
    pub fn factor_value(&self, ceiling: Option<Decimal>) -> Result<(Decimal, Spread), TestError> {
        let doubt = self.doubt.as_ref().ok_or(StatisticsError::TooFewUnits {
            needed: 2,
            found: self.tests,
        })?;
        let value = to_digits(self.mean, FIGURE_DIGITS);
        let standard_deviation = to_digits(doubt.widened_error, FIGURE_DIGITS);
        let room = ceiling.map_or(value, |ceiling| value.min(ceiling - value));
        let wanted = checked::product(ROOM_IN_DEVIATIONS, standard_deviation)?;
        let spread = if room >= wanted || room <= Decimal::ZERO {
            Spread::Normal { standard_deviation }
        } else {
            Spread::TruncatedNormal {
                standard_deviation,
                lower: value - room,
                upper: checked::sum(value, room)?,
            }
        };
        Ok((value, spread))
    }

    /// Count, error and spread in the words of a factor's note.
    pub(in crate::accounting) fn words(&self, unit: &str) -> String {
        let Some(doubt) = &self.doubt else {
            return "One test: its doubt is not known.".to_owned();
        };
        let round = |value| to_digits(value, FIGURE_DIGITS);
        format!(
            "Mean of {} tests, standard deviation {}, standard error {} {unit}, {} degrees of \
             freedom. The spread is the standard error times t/z at 90 %, which gives it the \
             interval of so few tests.",
            self.tests,
            round(doubt.standard_deviation),
            round(doubt.standard_error),
            doubt.degrees_of_freedom,
        )
    }
}

impl Doubt {
    fn of(values: &[Decimal], mean: Decimal) -> Result<Self, TestError> {
        let too_large = || TestError::Impossible("the values are too large to be compared");
        let statistics: Vec<f64> = values.iter().copied().map(to_statistic).collect();
        let found = estimate::mean(&statistics)?;
        let t = two_sided(CONFIDENCE, found.degrees_of_freedom)?;
        let z = two_sided(CONFIDENCE, f64::INFINITY)?;
        let stated = |value| from_statistic(value).ok_or_else(too_large);
        let half = stated(t * found.standard_error)?;
        Ok(Doubt {
            standard_deviation: stated(found.standard_error * (values.len() as f64).sqrt())?,
            standard_error: stated(found.standard_error)?,
            degrees_of_freedom: values.len() - 1,
            lower_90: checked::difference(mean, half)?,
            upper_90: checked::sum(mean, half)?,
            widened_error: stated(found.standard_error * t / z)?,
        })
    }
}

/// How the factors made of tests are to be named.
#[derive(Debug, Clone, PartialEq, Eq, serde::Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct FactorNaming {
    /// Beginning of every factor's code: letters, digits, `-`, `_` and `.`.
    pub code: String,
    pub version: u32,
    /// Class of the fuel in the factors, e.g. `wood`, `crop_residue`; absent = any fuel.
    #[serde(default)]
    pub fuel_class: Option<String>,
}

impl FactorNaming {
    /// `code-part-part`, every other character of the parts turned into `-`.
    pub(in crate::accounting) fn factor_code(&self, parts: &[&str]) -> Result<String, TestError> {
        let sound = |c: char| c.is_ascii_alphanumeric() || matches!(c, '-' | '_' | '.');
        must(
            !self.code.is_empty() && self.code.chars().all(sound) && self.version > 0,
            "a factor's code has letters, digits, - _ and ., and versions count from 1",
        )?;
        let mut code = self.code.clone();
        for part in parts {
            code.push('-');
            code.extend(part.chars().map(|c| if sound(c) { c } else { '-' }));
        }
        must(
            code.len() <= CODE_LENGTH_MAX,
            "with device and fuel the factor's code is longer than 64 characters; begin it shorter",
        )?;
        Ok(code)
    }
}

/// What was tested where and when, as a factor cites it.
pub(in crate::accounting) fn citation<'a>(
    what: &str,
    tests: impl Iterator<Item = (&'a str, &'a str, chrono::NaiveDate)>,
) -> String {
    let (mut codes, mut places, mut days) = (Vec::new(), Vec::new(), Vec::new());
    for (code, laboratory, day) in tests {
        codes.push(code);
        if !places.contains(&laboratory) {
            places.push(laboratory);
        }
        days.push(day);
    }
    let [first, last] = [days.iter().min(), days.iter().max()]
        .map(|day| day.map_or_else(String::new, ToString::to_string));
    format!(
        "{what} {} at {}, {first} to {last}",
        codes.join(", "),
        places.join(", ")
    )
}

/// Rounds a stated result, once, as it leaves.
pub(in crate::accounting) fn stated<S: Serializer>(
    value: &Decimal,
    serializer: S,
) -> Result<S::Ok, S::Error> {
    serializer.collect_str(&to_digits(*value, FIGURE_DIGITS))
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::str::FromStr;

    fn decimal(text: &str) -> Decimal {
        Decimal::from_str(text).unwrap()
    }

    fn replicates(values: &[&str]) -> Replicates {
        let values: Vec<Decimal> = values.iter().map(|value| decimal(value)).collect();
        Replicates::of(&values).unwrap()
    }

    /// Five efficiencies; mean, deviation and 90 % interval from R's `t.test` (COMPUTED).
    #[test]
    fn mean_and_interval_of_five_tests() {
        let found = replicates(&["0.31", "0.34", "0.29", "0.33", "0.35"]);
        assert_eq!(found.mean, decimal("0.324"));
        let doubt = found.doubt.unwrap();
        let close = |found: Decimal, expected: &str| {
            let apart = (found - decimal(expected)).abs();
            assert!(apart < decimal("0.0000000001"), "{found} is not {expected}");
        };
        close(doubt.standard_deviation, "0.024083189157585");
        close(doubt.standard_error, "0.010770329614269");
        close(doubt.lower_90, "0.301039307424142");
        close(doubt.upper_90, "0.346960692575858");
        assert_eq!(doubt.degrees_of_freedom, 4);
    }

    /// Three tests: t at 95 % with 2 degrees of freedom is 2.919986, z is 1.644854 (R's `qt` and
    /// `qnorm`, COMPUTED), so the factor's spread is 1.775225 standard errors.
    #[test]
    fn a_factor_of_few_tests_is_as_wide_as_their_interval() {
        let found = replicates(&["9", "10", "11"]);
        let (value, spread) = found.factor_value(None).unwrap();
        assert_eq!(value, decimal("10"));
        let Spread::Normal { standard_deviation } = spread else {
            panic!("a normal spread: {spread:?}");
        };
        // The standard error of 9, 10, 11 is 1 / sqrt(3) = 0.57735027.
        let expected = decimal("1.775225") * decimal("0.57735027");
        assert!((standard_deviation - expected).abs() < decimal("0.00001"));
    }

    #[test]
    fn a_spread_near_an_impossible_value_is_cut_evenly() {
        let (value, spread) = replicates(&["0.1", "0.9"]).factor_value(None).unwrap();
        let Spread::TruncatedNormal { lower, upper, .. } = spread else {
            panic!("a cut spread: {spread:?}");
        };
        assert_eq!((lower, upper), (Decimal::ZERO, value + value));
        let high = replicates(&["0.90", "0.96", "0.99"]);
        let (value, spread) = high.factor_value(Some(Decimal::ONE)).unwrap();
        let Spread::TruncatedNormal { lower, upper, .. } = spread else {
            panic!("a cut spread: {spread:?}");
        };
        assert_eq!((lower, upper), (value + value - Decimal::ONE, Decimal::ONE));
    }

    #[test]
    fn one_test_has_a_mean_and_makes_no_factor() {
        let one = replicates(&["0.3"]);
        assert_eq!(one.interval(), None);
        let refused = one.factor_value(None).unwrap_err();
        assert_eq!(
            refused.to_string(),
            "2 units are needed for this estimate, there are 1"
        );
        assert_eq!(Replicates::of(&[]), Err(TestError::NoTest));
    }

    #[test]
    fn a_code_is_made_of_what_a_code_may_hold() {
        let naming = |code: &str| FactorNaming {
            code: code.into(),
            version: 1,
            fuel_class: None,
        };
        let made = naming("ef").factor_code(&["three stone", "PM2.5"]).unwrap();
        assert_eq!(made, "ef-three-stone-PM2.5");
        for wrong in ["", "a b", "a\u{0}"] {
            assert!(naming(wrong).factor_code(&[]).is_err(), "{wrong:?}");
        }
        assert!(naming("ef").factor_code(&[&"x".repeat(62)]).is_err());
    }
}
