//! The claim rule and the simulation's settings.

use super::Check;
use crate::accounting::methodology::Fallback;
use crate::accounting::rounding::to_statistic;
use crate::statistics::quantile::two_sided;
use rust_decimal::Decimal;

/// Draws that a simulation may have.
const DRAWS: std::ops::RangeInclusive<u64> = 1_000..=10_000_000;

impl Check<'_> {
    pub(super) fn claim(&mut self) {
        let rule = &self.methodology.claim;
        if two_sided(to_statistic(rule.confidence), f64::INFINITY).is_err() {
            self.say(
                "claim.confidence",
                format!(
                    "A confidence of {} is not between 0 and 1.",
                    rule.confidence
                ),
            );
        }
        match rule.precision {
            Some(wanted) if wanted <= Decimal::ZERO || wanted > Decimal::ONE => self.say(
                "claim.precision",
                format!("A precision of {wanted} is not above 0 and at most 1."),
            ),
            None if rule.fallback == Fallback::Nothing => self.say(
                "claim.precision",
                "Without a precision nothing lets the point estimate stand, and the rule falls \
                 back to nothing: no claim could ever be made.",
            ),
            _ => {}
        }
        if let Some(floor) = rule.floor_t.filter(|floor| *floor < Decimal::ZERO) {
            self.say(
                "claim.floor_t",
                format!("A least claim of {floor} t is below zero."),
            );
        }
    }

    pub(super) fn uncertainty(&mut self) {
        let rule = &self.methodology.uncertainty;
        if !DRAWS.contains(&rule.draws) {
            self.say(
                "uncertainty.draws",
                format!(
                    "{} draws are not between {} and {}.",
                    rule.draws,
                    DRAWS.start(),
                    DRAWS.end()
                ),
            );
        }
        if rule.agreement <= Decimal::ZERO || rule.agreement > Decimal::ONE {
            self.say(
                "uncertainty.agreement",
                format!(
                    "An agreement of {} is not above 0 and at most 1.",
                    rule.agreement
                ),
            );
        }
    }
}
