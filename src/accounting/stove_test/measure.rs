//! The results of a test by name and unit.

use super::TestError;
use super::emission_rate::EmissionRate;
use super::performance::Performance;
use super::tiers::TierMetric;
use crate::accounting::evidence::StoveTest;
use rust_decimal::Decimal;
use serde::Serialize;
use std::collections::BTreeMap;
use utoipa::ToSchema;

/// One result of a test, with its unit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Measure {
    UsefulEnergy,
    ThermalEfficiencyWithoutChar,
    ThermalEfficiencyWithChar,
    CharEnergyProductivity,
    CharMassProductivity,
    BurningRate,
    Firepower,
    CarbonMonoxidePerDelivered,
    Pm25PerDelivered,
    CarbonMonoxideRate,
    Pm25Rate,
    /// By the older rule of thumb: moisture 1.12, char 1.5.
    EquivalentDryFuelByRule,
    /// By the energy of fuel and char, water boiling test 4.2.3.
    EquivalentDryFuel,
    EquivalentBurningRate,
    SpecificConsumption,
    SpecificConsumptionCorrected,
    TimeToBoilCorrected,
    /// Of the stove, by ISO 19867-1; the higher the safer.
    SafetyScore,
    /// Of the stove, by ISO 19867-1; the lower the more lasting.
    DurabilityScore,
}

impl Measure {
    pub fn unit(self) -> &'static str {
        match self {
            Measure::UsefulEnergy => "MJd",
            Measure::ThermalEfficiencyWithoutChar
            | Measure::ThermalEfficiencyWithChar
            | Measure::CharEnergyProductivity => "fraction",
            Measure::CharMassProductivity => "kg dry char/kg dry fuel",
            Measure::BurningRate => "g dry fuel/min",
            Measure::Firepower => "kW",
            Measure::CarbonMonoxidePerDelivered => "g/MJd",
            Measure::Pm25PerDelivered => "mg/MJd",
            Measure::CarbonMonoxideRate => "g/min",
            Measure::Pm25Rate => "mg/min",
            Measure::EquivalentDryFuelByRule | Measure::EquivalentDryFuel => {
                "kg equivalent dry fuel"
            }
            Measure::EquivalentBurningRate => "g equivalent dry fuel/min",
            Measure::SpecificConsumption | Measure::SpecificConsumptionCorrected => {
                "g equivalent dry fuel/l"
            }
            Measure::TimeToBoilCorrected => "min",
            Measure::SafetyScore | Measure::DurabilityScore => "points of 100",
        }
    }

    pub(super) fn tier_metric(self) -> Option<TierMetric> {
        match self {
            Measure::ThermalEfficiencyWithoutChar | Measure::ThermalEfficiencyWithChar => {
                Some(TierMetric::ThermalEfficiency)
            }
            Measure::CarbonMonoxidePerDelivered => Some(TierMetric::CarbonMonoxide),
            Measure::Pm25PerDelivered => Some(TierMetric::Pm25),
            Measure::SafetyScore => Some(TierMetric::Safety),
            Measure::DurabilityScore => Some(TierMetric::Durability),
            _ => None,
        }
    }

    pub(super) fn rate(self) -> Option<EmissionRate> {
        match self {
            Measure::CarbonMonoxideRate => Some(EmissionRate::CarbonMonoxide),
            Measure::Pm25Rate => Some(EmissionRate::Pm25),
            _ => None,
        }
    }
}

/// All that one test tells, by measure.
pub(super) type Measured = BTreeMap<Measure, Decimal>;

pub(super) fn measures(test: &StoveTest, found: &Performance) -> Result<Measured, TestError> {
    let mut measures = BTreeMap::from([
        (Measure::UsefulEnergy, found.useful.mj()),
        (
            Measure::ThermalEfficiencyWithoutChar,
            found.efficiency_without_char.value(),
        ),
        (
            Measure::ThermalEfficiencyWithChar,
            found.efficiency_with_char.value(),
        ),
        (
            Measure::CharEnergyProductivity,
            found.char_energy_productivity.value(),
        ),
        (
            Measure::CharMassProductivity,
            found.char_mass_productivity.value(),
        ),
        (Measure::BurningRate, found.burning_rate_g_per_min),
        (Measure::Firepower, found.firepower_kw),
        (
            Measure::EquivalentDryFuelByRule,
            found.equivalent_by_rule.kg(),
        ),
    ]);
    let pm25 = found.pm25.map(|factor| factor.mg_per_mj()).transpose()?;
    let boiling = found.boiling.as_ref();
    let optional = [
        (
            Measure::CarbonMonoxidePerDelivered,
            found.carbon_monoxide.map(|factor| factor.g_per_mj()),
        ),
        (Measure::Pm25PerDelivered, pm25),
        (Measure::CarbonMonoxideRate, found.carbon_monoxide_g_per_min),
        (Measure::Pm25Rate, found.pm25_mg_per_min),
        (
            Measure::EquivalentDryFuel,
            boiling.map(|found| found.equivalent.kg()),
        ),
        (
            Measure::EquivalentBurningRate,
            boiling.map(|found| found.equivalent_burning_rate_g_per_min),
        ),
        (
            Measure::SpecificConsumption,
            boiling.map(|found| found.specific_consumption_g_per_l),
        ),
        (
            Measure::SpecificConsumptionCorrected,
            boiling.map(|found| found.specific_consumption_corrected_g_per_l),
        ),
        (
            Measure::TimeToBoilCorrected,
            boiling.and_then(|found| found.time_to_boil_corrected_min),
        ),
        (Measure::SafetyScore, test.safety_score),
        (Measure::DurabilityScore, test.durability_score),
    ];
    let known = |(measure, value): (Measure, Option<Decimal>)| Some((measure, value?));
    measures.extend(optional.into_iter().filter_map(known));
    Ok(measures)
}
