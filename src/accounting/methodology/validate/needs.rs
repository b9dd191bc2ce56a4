//! Each need of a statement, over the fuels and the devices that the listed factors know.

use super::Check;
use crate::accounting::factor::{Factor, Quantity};
use crate::accounting::methodology::{BaselineFuel, CharPlace, FuelRule};
use crate::accounting::statement::co2e::GASES;
use crate::accounting::statement::kiln::{KILN, of_kiln, wood_need};
use crate::accounting::statement::lookup::{Need, closest, usable_unit};
use crate::accounting::statement::species::STATED_SPECIES;
use std::collections::BTreeSet;

const PLACE: &str = "factors";

impl<'m> Check<'m> {
    pub(super) fn needs(&mut self) {
        let methodology = self.methodology;
        for gas in ["CH4", "N2O"] {
            self.one(&need(
                Quantity::GlobalWarmingPotential,
                Some(gas),
                None,
                None,
            ));
        }
        for fuel in &methodology.fuels {
            let devices = self.devices(fuel);
            if devices.is_empty() {
                self.burnt_in(fuel, None);
            }
            for device in devices {
                self.burnt_in(fuel, Some(device));
            }
            self.made_in_kiln(fuel);
            if methodology.char_rule.counted_in == CharPlace::SoilSink {
                let class = Some(fuel.char_class.as_str());
                self.one(&need(Quantity::CharCarbonFraction, None, None, class));
            }
        }
    }

    /// Devices that a listed factor knows this fuel in, or that the displacement names.
    fn devices(&self, fuel: &FuelRule) -> BTreeSet<&'m str> {
        let of_burning = |factor: &&Factor| {
            matches!(
                factor.quantity,
                Quantity::EmissionFactor | Quantity::BlackCarbonShare
            )
        };
        let for_fuel = |factor: &&Factor| {
            let class = factor.fuel.as_ref();
            class.is_none_or(|class| *class == fuel.class)
        };
        let mut devices: BTreeSet<&str> = self
            .listed()
            .filter(of_burning)
            .filter(for_fuel)
            .filter_map(|factor| factor.device.as_deref())
            .filter(|device| *device != KILN)
            .collect();
        if let Some(rule) = &self.methodology.displacement {
            if rule.project_fuel == fuel.code {
                devices.insert(&rule.project_device);
            }
            if let BaselineFuel::Cited(cited) = &rule.baseline_fuel {
                let cited = cited.iter().filter(|cited| cited.fuel == fuel.code);
                devices.extend(cited.map(|cited| cited.device.as_str()));
            }
        }
        devices
    }

    fn burnt_in(&mut self, fuel: &FuelRule, device: Option<&str>) {
        for gas in GASES {
            // The CO2 of a fuel made in a kiln is that of its wood.
            if gas == "CO2" && fuel.made_from.is_some() {
                continue;
            }
            self.emission(gas, fuel, device);
        }
        for species in STATED_SPECIES {
            if !self
                .methodology
                .species
                .iter()
                .any(|stated| stated == species)
            {
                continue;
            }
            if species == "BC" {
                self.black_carbon(fuel, device);
            } else {
                self.emission(species, fuel, device);
            }
        }
    }

    /// An emission factor, and a calorific value where it is per energy.
    fn emission(&mut self, species: &str, fuel: &FuelRule, device: Option<&str>) {
        let class = Some(fuel.class.as_str());
        let factor = self.one(&need(
            Quantity::EmissionFactor,
            Some(species),
            device,
            class,
        ));
        self.calorific_value(factor, fuel, device);
    }

    fn calorific_value(
        &mut self,
        emission: Option<&Factor>,
        fuel: &FuelRule,
        device: Option<&str>,
    ) {
        if emission.is_some_and(|factor| factor.unit == "kg/TJ") {
            let class = Some(fuel.class.as_str());
            self.one(&need(Quantity::NetCalorificValue, None, device, class));
        }
    }

    /// A factor of this very device, else particulate; an unknown share only widens the interval.
    fn black_carbon(&mut self, fuel: &FuelRule, device: Option<&str>) {
        let class = Some(fuel.class.as_str());
        let of_device = |factor: &Factor| factor.device.is_some();
        let own = need(Quantity::EmissionFactor, Some("BC"), device, class);
        if let Some(factor) = self.at_most_one(&own, of_device) {
            self.calorific_value(factor, fuel, device);
            return;
        }
        self.emission("PM2.5", fuel, device);
        for species in [None, Some("BC")] {
            let share = need(Quantity::BlackCarbonShare, species, device, class);
            if self.at_most_one(&share, of_device).is_some() {
                return;
            }
        }
    }

    fn made_in_kiln(&mut self, fuel: &FuelRule) {
        let Some(kiln) = &fuel.made_from else {
            return;
        };
        let wood = wood_need(kiln);
        if let Some(factor) = self.one(&wood)
            && factor.unit != "kg/TJ"
        {
            self.say(
                PLACE,
                format!(
                    "{} is given in {}, but the CO2 of a kiln's wood is taken in kg/TJ.",
                    factor.id(),
                    factor.unit
                ),
            );
        }
        for gas in ["CH4", "N2O"] {
            let class = Some(fuel.class.as_str());
            let need = need(Quantity::EmissionFactor, Some(gas), Some(KILN), class);
            match self.at_most_one(&need, of_kiln) {
                Some(factor) => self.calorific_value(factor, fuel, Some(KILN)),
                None => self.nothing_answers(&need),
            }
        }
    }

    /// The one usable factor for a need; says so where there is none or several.
    fn one(&mut self, need: &Need) -> Option<&'m Factor> {
        let found = self.at_most_one(need, |_| true);
        if found.is_none() {
            self.nothing_answers(need);
        }
        found.flatten()
    }

    fn nothing_answers(&mut self, need: &Need) {
        self.say(
            PLACE,
            format!("No listed factor answers the need for {need}."),
        );
    }

    /// Outer `None`: nothing answers. Inner `None`: several do, or none that can be used.
    fn at_most_one(
        &mut self,
        need: &Need,
        also: impl Fn(&Factor) -> bool,
    ) -> Option<Option<&'m Factor>> {
        match closest(self.listed(), need, also).as_slice() {
            [] => None,
            [one] => match usable_unit(one) {
                Ok(_) => Some(Some(*one)),
                Err(unusable) => {
                    self.say(PLACE, unusable.sentence);
                    Some(None)
                }
            },
            several => {
                let names: Vec<String> = several.iter().map(|f| f.id().to_string()).collect();
                let sentence = format!(
                    "More than one listed factor answers the need for {need}: {}.",
                    names.join(", ")
                );
                self.say(PLACE, sentence);
                Some(None)
            }
        }
    }
}

fn need<'n>(
    quantity: Quantity,
    species: Option<&'n str>,
    device: Option<&'n str>,
    fuel: Option<&'n str>,
) -> Need<'n> {
    Need {
        quantity,
        species,
        device,
        fuel,
    }
}
