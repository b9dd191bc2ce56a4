//! Factors: published or measured values with unit, spread and source.
//!
//! A factor is never edited. A correction is a new version under the same code.

use crate::accounting::methodology::CharPlace;
use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};
use std::fmt;
use std::str::FromStr;
use utoipa::ToSchema;

/// What a factor is a value of.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize, ToSchema,
)]
#[serde(rename_all = "snake_case")]
pub enum Quantity {
    /// `MJ/kg dry fuel` or `MJ/kg as received`; only the dry one may meet a dry mass.
    NetCalorificValue,
    /// `g/kg dry fuel` or `kg/TJ`.
    EmissionFactor,
    /// `kg CO2e/kg`.
    GlobalWarmingPotential,
    /// Fraction of the woody biomass burnt that does not grow back, fNRB.
    NonRenewableFraction,
    /// Multiplier on the gross reduction that stands for leakage.
    LeakageMultiplier,
    /// kg carbon per kg dry char.
    CharCarbonFraction,
    /// Fraction of the char carbon still there after 100 years.
    CharPermanence,
    /// Largest believable kg dry char per kg dry fuel.
    CharYieldBound,
    /// Black carbon as a fraction of PM2.5.
    BlackCarbonShare,
    /// Useful energy over fuel energy, without the energy left in char.
    ThermalEfficiency,
    /// kg wood per kg charcoal.
    CharcoalConversion,
    /// kg dry fuel per household-day before the programme.
    BaselineFuel,
    /// Fraction of a thermal efficiency lost with each year of use.
    AnnualEfficiencyLoss,
    /// Share of the cooking that moved to the project stove.
    CookingShare,
    /// Fraction of the gross reduction that one kind of leakage takes away.
    LeakageShare,
    /// Permanence at a molar H/C_org of zero, of a published line.
    PermanenceIntercept,
    /// Change of permanence per unit of molar H/C_org, of a published line.
    PermanenceSlope,
    /// How far one material lies from the published line; its value is zero.
    PermanenceResidual,
}

impl Quantity {
    /// The quantity in plain words.
    pub fn words(self) -> &'static str {
        match self {
            Quantity::NetCalorificValue => "net calorific value",
            Quantity::EmissionFactor => "emission factor",
            Quantity::GlobalWarmingPotential => "global warming potential",
            Quantity::NonRenewableFraction => "non-renewable fraction",
            Quantity::LeakageMultiplier => "leakage multiplier",
            Quantity::CharCarbonFraction => "carbon fraction of char",
            Quantity::CharPermanence => "permanence of char carbon",
            Quantity::CharYieldBound => "char yield bound",
            Quantity::BlackCarbonShare => "black carbon share of PM2.5",
            Quantity::ThermalEfficiency => "thermal efficiency",
            Quantity::CharcoalConversion => "charcoal conversion",
            Quantity::BaselineFuel => "baseline fuel per household-day",
            Quantity::AnnualEfficiencyLoss => "yearly loss of efficiency",
            Quantity::CookingShare => "share of cooking on the project stove",
            Quantity::LeakageShare => "share lost to leakage",
            Quantity::PermanenceIntercept => "intercept of char permanence",
            Quantity::PermanenceSlope => "slope of char permanence in H/C_org",
            Quantity::PermanenceResidual => "spread of materials around the permanence line",
        }
    }
}

/// `code@version`, the name by which a factor is cited.
#[derive(Debug, Clone, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct FactorId {
    pub code: String,
    pub version: u32,
}

impl fmt::Display for FactorId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}@{}", self.code, self.version)
    }
}

/// The text is not of the form `code@version`.
#[derive(Debug, thiserror::Error)]
#[error("{0:?} is not of the form code@version")]
pub struct NotAFactorId(String);

impl FromStr for FactorId {
    type Err = NotAFactorId;
    fn from_str(text: &str) -> Result<Self, Self::Err> {
        let refused = || NotAFactorId(text.to_owned());
        let (code, version) = text.split_once('@').ok_or_else(refused)?;
        let version = version.parse().map_err(|_| refused())?;
        if code.is_empty() {
            return Err(refused());
        }
        Ok(FactorId {
            code: code.to_owned(),
            version,
        })
    }
}

/// In JSON it is a string.
impl utoipa::PartialSchema for FactorId {
    fn schema() -> utoipa::openapi::RefOr<utoipa::openapi::Schema> {
        String::schema()
    }
}

impl ToSchema for FactorId {}

impl Serialize for FactorId {
    fn serialize<S: serde::Serializer>(&self, s: S) -> Result<S::Ok, S::Error> {
        s.collect_str(self)
    }
}

impl<'de> Deserialize<'de> for FactorId {
    fn deserialize<D: serde::Deserializer<'de>>(d: D) -> Result<Self, D::Error> {
        String::deserialize(d)?
            .parse()
            .map_err(serde::de::Error::custom)
    }
}

/// How far a factor may be from its stated value.
///
/// `lower` and `upper` bound the central `confidence` of the distribution.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(tag = "kind", rename_all = "snake_case", deny_unknown_fields)]
pub enum Spread {
    /// A convention: exact by definition.
    Exact,
    Normal {
        #[serde(with = "rust_decimal::serde::str")]
        standard_deviation: Decimal,
    },
    /// A normal around the stated value, cut off at the bounds.
    TruncatedNormal {
        #[serde(with = "rust_decimal::serde::str")]
        standard_deviation: Decimal,
        #[serde(with = "rust_decimal::serde::str")]
        lower: Decimal,
        #[serde(with = "rust_decimal::serde::str")]
        upper: Decimal,
    },
    /// The stated value is the median; `ln` of the quantity is normal.
    Lognormal {
        #[serde(with = "rust_decimal::serde::str")]
        lower: Decimal,
        #[serde(with = "rust_decimal::serde::str")]
        upper: Decimal,
        #[serde(with = "rust_decimal::serde::str")]
        confidence: Decimal,
    },
    /// Lowest, most likely (the stated value) and highest value.
    Triangular {
        #[serde(with = "rust_decimal::serde::str")]
        lower: Decimal,
        #[serde(with = "rust_decimal::serde::str")]
        upper: Decimal,
    },
    Uniform {
        #[serde(with = "rust_decimal::serde::str")]
        lower: Decimal,
        #[serde(with = "rust_decimal::serde::str")]
        upper: Decimal,
    },
}

/// How well we know that the cited source says this.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub enum SourceMark {
    /// Read in the source named.
    #[serde(rename = "SEEN")]
    Seen,
    /// Read in another source that quotes the one named.
    #[serde(rename = "SEEN-2ND")]
    SeenSecondHand,
    /// Worked out from seen values by a stated formula.
    #[serde(rename = "COMPUTED")]
    Computed,
    /// Recalled, not read: look it up in the cited table before relying on it.
    #[serde(rename = "MEMORY")]
    Memory,
}

/// One version of one factor.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Factor {
    pub code: String,
    pub version: u32,
    pub quantity: Quantity,
    /// `PM2.5`, `BC`, `OC`, `CO`, `CH4`, `N2O`, `CO2`, `NMVOC`, `SO2`; absent where the quantity has none.
    pub species: Option<String>,
    /// Device code, e.g. `three_stone_fire`, `gasifier`; absent = any device.
    pub device: Option<String>,
    /// Fuel class, e.g. `wood`, `crop_residue`, `charcoal`; absent = any fuel.
    pub fuel: Option<String>,
    #[serde(with = "rust_decimal::serde::str")]
    pub value: Decimal,
    pub unit: String,
    pub spread: Spread,
    /// Full citation: document, table, page where known.
    pub source: String,
    pub mark: SourceMark,
    pub note: Option<String>,
    /// Where this value already lets char count: carbon left out of a CO2 factor by carbon
    /// balance, or energy credited in an efficiency. Absent = nowhere.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub char_treatment: Option<CharPlace>,
    /// Of a warming potential: the set it belongs to, e.g. `AR5 GWP100`; one without a set
    /// serves no methodology.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub gwp_set: Option<String>,
}

impl Factor {
    pub fn id(&self) -> FactorId {
        FactorId {
            code: self.code.clone(),
            version: self.version,
        }
    }
}
