//! Typed rows of the register and of the evidence, as accepted from the field.
//!
//! Codes are the programme's own pseudonyms; a row never names a person.

use chrono::NaiveDate;
use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};

/// A household of the census. Counts of people by the standard-adult classes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Household {
    pub household_code: String,
    pub site_code: String,
    pub people: People,
}

/// People present, by the classes that standard adults are counted in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct People {
    pub children_0_14: u32,
    pub women_over_14: u32,
    pub men_15_59: u32,
    pub men_over_59: u32,
}

/// One stove unit in one household from `installed_on` to `ended_on` (exclusive).
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Deployment {
    pub serial: String,
    pub model_code: String,
    pub model_version: u32,
    pub household_code: String,
    pub installed_on: NaiveDate,
    pub ended_on: Option<NaiveDate>,
    pub end_reason: Option<String>,
    /// Marked as a further stove beside another one of the programme; adds no household-days.
    pub second_stove: bool,
}

/// The end of a deployment that was recorded without one.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DeploymentEnd {
    pub serial: String,
    pub installed_on: NaiveDate,
    pub ended_on: NaiveDate,
    pub end_reason: String,
}

/// What the enumerator found at one sampled stove.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum UsageOutcome {
    InUse,
    NotInUse,
    NotFound,
    Refused,
}

/// One answer of a usage survey.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct UsageAnswer {
    pub household_code: String,
    pub serial: String,
    pub surveyed_on: NaiveDate,
    pub outcome: UsageOutcome,
    pub days_used_last_week: Option<u32>,
    pub share_of_meals: Option<Decimal>,
}

/// One kitchen, one day, one fuel in one device. Wet masses in kg.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct KitchenDay {
    pub household_code: String,
    pub measured_on: NaiveDate,
    pub device: String,
    pub fuel: String,
    pub stock_start_wet_kg: Decimal,
    pub added_wet_kg: Decimal,
    pub stock_end_wet_kg: Decimal,
    pub moisture_wb: Decimal,
    pub people: People,
}

/// Char weighed after one or more burns of one household.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CharWeighing {
    pub household_code: String,
    pub weighed_on: NaiveDate,
    /// Fuel code of what was burnt, e.g. `coconut_husk`.
    pub feedstock: String,
    /// Fuel burnt to make this char, where it was weighed too.
    pub fuel_burnt_wet_kg: Option<Decimal>,
    pub fuel_moisture_wb: Option<Decimal>,
    pub char_wet_kg: Decimal,
    pub char_moisture_wb: Decimal,
    /// `soil`, `burnt`, `sold_as_fuel`, `discarded`, `unknown`.
    pub fate: String,
}
