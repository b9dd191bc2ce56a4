//! A methodology: the accounting choices of a statement, as versioned data.

use crate::accounting::factor::FactorId;
use rust_decimal::Decimal;
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
    /// Days after installation before a stove counts.
    pub grace_days: u32,
    /// Answers wanted in each age band that has stove-days; fewer is a note, none means no use.
    pub minimum_answers_per_age_band: u32,
    /// Assessment report and horizon, e.g. `AR5 GWP100`; the factors below must belong to it.
    pub gwp_set: String,
    pub fuels: Vec<FuelRule>,
    /// Species stated as masses beside the CO2e, e.g. `PM2.5`, `BC`, `OC`, `CO`.
    pub species: Vec<String>,
    /// Every factor version the statement may use; exactly one must answer each need.
    pub factors: Vec<FactorId>,
    pub leakage: FactorId,
    pub char_rule: CharRule,
    pub claim: ClaimRule,
}

impl Methodology {
    /// `code@version`, the name by which it is cited.
    pub fn id(&self) -> String {
        format!("{}@{}", self.code, self.version)
    }
}

/// How the fuel saved is found.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum FuelMethod {
    /// Weighed use per household-day, baseline and project households as independent groups.
    KitchenTestIndependent,
}

/// How one fuel of the kitchen tests is accounted for.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct FuelRule {
    /// Fuel code of the evidence, e.g. `coconut_husk`.
    pub code: String,
    /// Fuel class of the factors, e.g. `crop_residue`.
    pub class: String,
    /// Feedstock class of the char factors, e.g. `nut_shell`, `herbaceous`, `wood`.
    pub char_class: String,
    pub non_renewable_fraction: FactorId,
}

/// What becomes of char in the account.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct CharRule {
    /// Where char may be counted. One batch may be counted in one place only.
    pub counted_in: CharPlace,
    /// Fates that count as durable, e.g. `soil`.
    pub durable_fates: Vec<String>,
    pub permanence: FactorId,
    pub yield_bound: FactorId,
}

/// The three places that could each take the same char; a methodology names one.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum CharPlace {
    /// Stored in soil, stated as a removal.
    SoilSink,
    /// Left out of the project's CO2 by carbon balance.
    CarbonBalance,
    /// Credited as energy in an efficiency or a specific consumption.
    EnergyCredit,
    Nowhere,
}

/// From a figure and its interval to what may be claimed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ClaimRule {
    /// Confidence of the interval, e.g. `0.90`.
    #[serde(with = "rust_decimal::serde::str")]
    pub confidence: Decimal,
    pub sides: Sides,
    /// Half-width over value that lets the point estimate stand; absent = always the lower bound.
    #[serde(with = "rust_decimal::serde::str_option", default)]
    pub precision: Option<Decimal>,
}

/// Whether the bound leaves its doubt on one side or on two.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Sides {
    One,
    Two,
}
