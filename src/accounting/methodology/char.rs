//! What becomes of char in the account.

use crate::accounting::factor::FactorId;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// What becomes of char in the account.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct CharRule {
    /// Where char may be counted. One batch may be counted in one place only.
    pub counted_in: CharPlace,
    /// Fates that count as durable, e.g. `soil`.
    pub durable_fates: Vec<String>,
    #[serde(default)]
    pub carbon: CharCarbon,
    pub permanence: Permanence,
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

/// Where the carbon fraction of char comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum CharCarbon {
    /// The cited default of its class.
    #[default]
    Cited,
    /// The mean of the laboratory's results for the feedstock; the cited default without any.
    LaboratoryElseCited,
}

/// Which fraction of the carbon is still there at the horizon.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(untagged)]
pub enum Permanence {
    /// A `char_permanence` factor, e.g. of a temperature class.
    Factor(FactorId),
    /// A published relation with the molar H/C_org that the laboratory found.
    HydrogenToCarbon(HydrogenToCarbonRule),
}

/// `permanence = intercept + slope * H/C_org`, for one soil temperature and horizon.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct HydrogenToCarbonRule {
    /// A `permanence_intercept` factor.
    pub intercept: FactorId,
    /// A `permanence_slope` factor, below zero.
    pub slope: FactorId,
    /// A `permanence_residual` factor of value zero: how far one material lies from the line.
    pub residual: FactorId,
    /// Char without a laboratory result: the `char_permanence` factor it falls back to.
    pub unmeasured: FactorId,
}
