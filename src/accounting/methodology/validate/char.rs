//! Char: a durable fate, a permanence, and one place where it counts.

use super::Check;
use crate::accounting::factor::Quantity;
use crate::accounting::methodology::{CharPlace, HydrogenToCarbonRule, Permanence};
use rust_decimal::Decimal;

impl Check<'_> {
    pub(super) fn char_rule(&mut self) {
        let rule = &self.methodology.char_rule;
        let no_fate = rule.durable_fates.is_empty()
            || rule.durable_fates.iter().any(|fate| fate.trim().is_empty());
        if rule.counted_in == CharPlace::SoilSink && no_fate {
            self.say(
                "char_rule.durable_fates",
                "Char counts as stored, but no fate is named as durable.",
            );
        }
        match &rule.permanence {
            Permanence::Factor(id) => {
                self.named("char_rule.permanence", id, Quantity::CharPermanence);
            }
            Permanence::HydrogenToCarbon(line) => self.permanence_line(line),
        }
        let place = "char_rule.yield_bound";
        self.named(place, &rule.yield_bound, Quantity::CharYieldBound);
        self.counted_once();
    }

    fn permanence_line(&mut self, line: &HydrogenToCarbonRule) {
        use Quantity::*;
        self.named(
            "char_rule.permanence.intercept",
            &line.intercept,
            PermanenceIntercept,
        );
        let place = "char_rule.permanence.slope";
        let slope = self.named(place, &line.slope, PermanenceSlope);
        if slope.is_some_and(|factor| factor.value >= Decimal::ZERO) {
            self.say(
                place,
                format!(
                    "{} must be below zero: hydrogen-rich char decays.",
                    line.slope
                ),
            );
        }
        let place = "char_rule.permanence.residual";
        let residual = self.named(place, &line.residual, PermanenceResidual);
        if residual.is_some_and(|factor| !factor.value.is_zero()) {
            self.say(
                place,
                format!(
                    "{} must be zero: it stands for the spread around the line.",
                    line.residual
                ),
            );
        }
        self.named(
            "char_rule.permanence.unmeasured",
            &line.unmeasured,
            CharPermanence,
        );
    }

    /// A factor that lets char count somewhere must name the very place that the rule names.
    fn counted_once(&mut self) {
        let counted_in = self.methodology.char_rule.counted_in;
        for factor in self.listed() {
            let Some(place) = factor.char_treatment else {
                continue;
            };
            if place == counted_in {
                continue;
            }
            self.say(
                "char_rule.counted_in",
                format!(
                    "Char would be counted twice: {} lets it count {}, and the rule counts it {}.",
                    factor.id(),
                    words(place),
                    words(counted_in)
                ),
            );
        }
    }
}

fn words(place: CharPlace) -> &'static str {
    match place {
        CharPlace::SoilSink => "as stored in soil",
        CharPlace::CarbonBalance => "as carbon left out of the CO2",
        CharPlace::EnergyCredit => "as energy of an efficiency",
        CharPlace::Nowhere => "nowhere",
    }
}
