//! How the fuel saved is found, and how each fuel is accounted for.

use crate::accounting::factor::FactorId;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// How the fuel saved is found.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum FuelMethod {
    /// Weighed use per household-day, baseline and project households as independent groups.
    KitchenTestIndependent,
    /// Weighed use before and after in the same kitchens.
    KitchenTestPaired,
    /// Baseline fuel times one less the ratio of specific fuel consumptions, dish by dish.
    CookingTest,
    /// Baseline fuel times one less the ratio of thermal efficiencies.
    ThermalEfficiency,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum FuelPer {
    #[default]
    Household,
    /// Per standard adult and day, times the standard adults of the project's households.
    StandardAdult,
}

/// How units were drawn, where the estimate depends on it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Design {
    #[default]
    SimpleRandom,
    /// Sites are strata, each weighed by its share of the stove days.
    StratifiedBySite,
    /// Drawn at random over all sites, which are weighed afterwards by their share of the stove
    /// days; how many units fell into each was left to chance.
    PostStratifiedBySite,
    /// Sites are the clusters that were drawn.
    ClusteredBySite,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct SampleDesigns {
    #[serde(default)]
    pub kitchens: Design,
    #[serde(default)]
    pub usage: Design,
    #[serde(default, skip_serializing_if = "FinitePopulation::is_endless")]
    pub finite_population: FinitePopulation,
}

/// Whether a sample that takes a good part of what there is leaves less doubt for it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum FinitePopulation {
    /// Samples count as drawn from a population without end.
    #[default]
    None,
    /// Variances of usage answers and of kitchen tests are multiplied by `1 - n / N`, with the
    /// stoves or households that were in service by the register.
    Register,
}

impl FinitePopulation {
    fn is_endless(&self) -> bool {
        *self == FinitePopulation::None
    }
}

/// From a ratio of tests to fuel saved: what was burnt before, and how much of it is displaced.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct DisplacementRule {
    pub baseline_fuel: BaselineFuel,
    /// Share of the cooking that moved to the project stove; applied once, here.
    pub cooking_share: CookingShare,
    /// Device code of the project stove, e.g. `gasifier`.
    pub project_device: String,
    /// Fuel code that it burns.
    pub project_fuel: String,
    /// Of the thermal efficiency method alone.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub efficiency: Option<EfficiencyRule>,
}

/// Where the baseline fuel per household-day comes from.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum BaselineFuel {
    /// Mean of the baseline kitchen tests.
    KitchenTest,
    /// Mean of the baseline survey.
    Survey,
    /// Cited defaults, one for each device and fuel.
    Cited(Vec<CitedFuel>),
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct CitedFuel {
    pub device: String,
    /// Fuel code of the rules.
    pub fuel: String,
    /// A `baseline_fuel` factor, kg dry fuel per household-day.
    pub per_household_day: FactorId,
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum CookingShare {
    /// Mean share of meals that users told the usage survey.
    UsageSurvey,
    /// A cited or logged share.
    Cited(FactorId),
}

/// Efficiencies without the energy of char, or char could be counted twice.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct EfficiencyRule {
    /// Of the baseline device; a `thermal_efficiency` factor.
    pub baseline: FactorId,
    pub project: ProjectEfficiency,
    pub ageing: Ageing,
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum ProjectEfficiency {
    Cited(FactorId),
    /// Mean of the stove tests of the project device.
    StoveTests,
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Ageing {
    /// Fraction of the efficiency lost with each year of use; an `annual_efficiency_loss` factor.
    AnnualLoss(FactorId),
    /// Stove tests of each age band.
    MeasuredByAge,
}

/// Which gases the non-renewable fraction multiplies; published families differ.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum NonRenewableOn {
    #[default]
    Co2,
    AllGases,
}

/// How one fuel of the evidence is accounted for.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct FuelRule {
    /// Fuel code of the evidence, e.g. `coconut_husk`.
    pub code: String,
    /// Fuel class of the factors, e.g. `crop_residue`.
    pub class: String,
    /// Feedstock class of the char factors, e.g. `nut_shell`, `herbaceous`, `wood`.
    pub char_class: String,
    /// Where the fuel is itself made from wood: of that wood.
    pub non_renewable_fraction: FactorId,
    /// Of a fuel made in a kiln, as charcoal is: its making counts with its burning.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub made_from: Option<KilnRule>,
}

/// The wood that one fuel was made from. Its CO2 is that of the wood put into the kiln, in
/// place of any CO2 factor of the fuel itself, so that no carbon counts twice.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct KilnRule {
    /// Fuel class of the wood, e.g. `wood`; its CO2 factor is taken per energy.
    pub class: String,
    /// A `charcoal_conversion` factor, kg wood as received per kg charcoal.
    pub conversion: FactorId,
    /// A `net_calorific_value` factor of that wood as received, MJ/kg, device `charcoal_kiln`.
    pub calorific_value: FactorId,
}
