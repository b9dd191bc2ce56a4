//! Whether the method of fuel saving and its rule fit each other.

use super::Check;
use crate::accounting::factor::{FactorId, Quantity};
use crate::accounting::methodology::{
    Ageing, BaselineFuel, CitedFuel, CookingShare, DisplacementRule, EfficiencyRule, FuelMethod,
    FuelPer, ProjectEfficiency,
};
use rust_decimal::Decimal;
use std::collections::BTreeSet;

impl Check<'_> {
    pub(super) fn displacement(&mut self) {
        use FuelMethod::*;
        let methodology = self.methodology;
        let rule = methodology.displacement.as_ref();
        match (methodology.fuel_method, rule) {
            (KitchenTestIndependent | KitchenTestPaired, Some(_)) => self.say(
                "displacement",
                "A kitchen test weighs what was displaced; a rule that computes it beside the test \
                 would apply use twice.",
            ),
            (KitchenTestIndependent | KitchenTestPaired, None) => {}
            (CookingTest | ThermalEfficiency, None) => self.say(
                "displacement",
                "Cooking and efficiency tests need a rule that says what baseline fuel they \
                 displace.",
            ),
            (CookingTest | ThermalEfficiency, Some(rule)) => self.displacement_rule(rule),
        }
    }

    fn displacement_rule(&mut self, rule: &DisplacementRule) {
        let by_efficiency = self.methodology.fuel_method == FuelMethod::ThermalEfficiency;
        match (&rule.efficiency, by_efficiency) {
            (Some(efficiency), true) => self.efficiency(efficiency),
            (None, true) => self.say(
                "displacement.efficiency",
                "The thermal efficiency method needs the efficiencies.",
            ),
            (Some(_), false) => self.say(
                "displacement.efficiency",
                "A cooking test already compares the stoves; efficiencies beside it have no place.",
            ),
            (None, false) => {}
        }
        if rule.project_device.trim().is_empty() {
            self.say(
                "displacement.project_device",
                "The project device has no code.",
            );
        }
        self.has_rule("displacement.project_fuel", &rule.project_fuel);
        if let CookingShare::Cited(id) = &rule.cooking_share {
            let place = "displacement.cooking_share";
            self.named(place, id, Quantity::CookingShare);
        }
        if let BaselineFuel::Cited(fuels) = &rule.baseline_fuel {
            self.cited_baseline(fuels);
        }
    }

    fn cited_baseline(&mut self, fuels: &[CitedFuel]) {
        let place = "displacement.baseline_fuel";
        if fuels.is_empty() {
            self.say(place, "The cited baseline names no fuel.");
        }
        if self.methodology.fuel_per == FuelPer::StandardAdult {
            self.say(
                "fuel_per",
                "A cited baseline is per household-day and cannot be taken per standard adult.",
            );
        }
        let mut seen = BTreeSet::new();
        for cited in fuels {
            if !seen.insert((&cited.device, &cited.fuel)) {
                self.say(
                    place,
                    format!("{} in {} is cited twice.", cited.fuel, cited.device),
                );
            }
            self.has_rule(place, &cited.fuel);
            self.named(place, &cited.per_household_day, Quantity::BaselineFuel);
        }
    }

    fn has_rule(&mut self, place: &str, fuel: &str) {
        if !self.methodology.fuels.iter().any(|rule| rule.code == fuel) {
            self.say(
                place,
                format!("The methodology has no rule for the fuel {fuel}."),
            );
        }
    }

    fn efficiency(&mut self, rule: &EfficiencyRule) {
        self.above_zero("displacement.efficiency.baseline", &rule.baseline);
        if let ProjectEfficiency::Cited(id) = &rule.project {
            self.above_zero("displacement.efficiency.project", id);
            if rule.ageing == Ageing::MeasuredByAge {
                self.say(
                    "displacement.efficiency.ageing",
                    "A cited efficiency was not measured at each age; name a yearly loss.",
                );
            }
        }
        if let Ageing::AnnualLoss(id) = &rule.ageing {
            let place = "displacement.efficiency.ageing";
            self.named(place, id, Quantity::AnnualEfficiencyLoss);
        }
    }

    fn above_zero(&mut self, place: &str, id: &FactorId) {
        let factor = self.named(place, id, Quantity::ThermalEfficiency);
        if factor.is_some_and(|factor| factor.value <= Decimal::ZERO) {
            self.say(place, format!("{id} is zero: such a device cooks nothing."));
        }
    }
}
