//! A methodology: the accounting choices of a statement, as versioned data.
//!
//! A choice that is left out takes the plainest value: simple random samples, analytic
//! intervals, fNRB on the CO2 term alone, nothing short-lived beside the account.

mod char;
mod claim;
mod fuel;
mod leakage;
mod validate;

pub use char::{CharCarbon, CharPlace, CharRule, HydrogenToCarbonRule, Permanence};
pub use claim::{Approach, ClaimRule, Fallback, Sides, UncertaintyRule};
pub use fuel::{
    Ageing, BaselineFuel, CitedFuel, CookingShare, Design, DisplacementRule, EfficiencyRule,
    FinitePopulation, FuelMethod, FuelPer, FuelRule, KilnRule, NonRenewableOn, ProjectEfficiency,
    SampleDesigns,
};
pub use leakage::{Leakage, LeakageItem};
pub use validate::{Shortcoming, validate};

use crate::accounting::factor::FactorId;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// One version of one methodology. Never edited; a change is a new version.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Methodology {
    pub code: String,
    pub version: u32,
    pub title: String,
    /// Published families and standards that the choices follow.
    pub citations: Vec<String>,
    pub fuel_method: FuelMethod,
    /// Whether the saving is measured per household or per standard adult.
    #[serde(default)]
    pub fuel_per: FuelPer,
    /// How cooking and efficiency tests become fuel saved; kitchen tests need none of it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub displacement: Option<DisplacementRule>,
    #[serde(default)]
    pub designs: SampleDesigns,
    /// Days after installation before a stove counts.
    pub grace_days: u32,
    /// Answers wanted in each age band that has stove-days; fewer is a note, none means no use.
    pub minimum_answers_per_age_band: u32,
    /// Assessment report and horizon, e.g. `AR5 GWP100`; the factors below must belong to it.
    pub gwp_set: String,
    #[serde(default)]
    pub non_renewable_on: NonRenewableOn,
    pub fuels: Vec<FuelRule>,
    /// Species stated as masses beside the CO2e, e.g. `PM2.5`, `BC`, `OC`, `CO`.
    pub species: Vec<String>,
    /// Sets of warming potentials by which short-lived species are shown beside the claim as
    /// CO2e, e.g. `AR5 GWP100 short-lived`; never added into it.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub short_lived_sets: Vec<String>,
    /// Every factor version the statement may use; exactly one must answer each need.
    pub factors: Vec<FactorId>,
    pub leakage: Leakage,
    pub char_rule: CharRule,
    #[serde(default)]
    pub uncertainty: UncertaintyRule,
    pub claim: ClaimRule,
}

impl Methodology {
    /// `code@version`, the name by which it is cited.
    pub fn id(&self) -> String {
        format!("{}@{}", self.code, self.version)
    }
}
