//! Typed rows of the register and of the evidence, as accepted from the field.
//!
//! Codes are the programme's own pseudonyms; a row never names a person.

use chrono::NaiveDate;
use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

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

/// What one household said, or was seen, to burn before the programme: one fuel in one device.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct BaselineSurveyAnswer {
    pub household_code: String,
    pub surveyed_on: NaiveDate,
    pub device: String,
    pub fuel: String,
    pub fuel_wet_kg_per_day: Decimal,
    pub moisture_wb: Decimal,
    pub people: People,
}

/// One controlled cooking test: one cook, one dish, one device.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CookingTest {
    pub test_code: String,
    /// Pseudonym of the cook.
    pub cook_code: String,
    pub tested_on: NaiveDate,
    pub device: String,
    pub dish: String,
    pub fuel: String,
    pub fuel_wet_kg: Decimal,
    pub moisture_wb: Decimal,
    /// Dry char left over.
    pub char_left_kg: Decimal,
    /// Food as cooked.
    pub food_kg: Decimal,
    pub minutes: Option<Decimal>,
}

/// One burn of a stove in a laboratory, water-boiling style.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct StoveTest {
    pub test_code: String,
    pub laboratory: String,
    pub tested_on: NaiveDate,
    pub device: String,
    /// Whole years that the stove had been in use.
    pub stove_age_years: u32,
    pub fuel: String,
    #[serde(with = "rust_decimal::serde::str")]
    pub fuel_wet_kg: Decimal,
    #[serde(with = "rust_decimal::serde::str")]
    pub moisture_wb: Decimal,
    #[serde(with = "rust_decimal::serde::str")]
    pub fuel_ncv_dry_mj_per_kg: Decimal,
    /// Dry char left over.
    #[serde(with = "rust_decimal::serde::str")]
    pub char_left_kg: Decimal,
    #[serde(with = "rust_decimal::serde::str")]
    pub char_ncv_mj_per_kg: Decimal,
    #[serde(with = "rust_decimal::serde::str")]
    pub water_start_kg: Decimal,
    #[serde(with = "rust_decimal::serde::str")]
    pub water_end_kg: Decimal,
    #[serde(with = "rust_decimal::serde::str")]
    pub water_start_c: Decimal,
    #[serde(with = "rust_decimal::serde::str")]
    pub water_end_c: Decimal,
    #[serde(with = "rust_decimal::serde::str")]
    pub minutes: Decimal,
    #[serde(with = "rust_decimal::serde::str_option", default)]
    pub co_g: Option<Decimal>,
    #[serde(with = "rust_decimal::serde::str_option", default)]
    pub pm25_mg: Option<Decimal>,
    /// Of the stove by ISO 19867-1, 0 to 100; the higher the safer.
    #[serde(with = "rust_decimal::serde::str_option", default)]
    pub safety_score: Option<Decimal>,
    /// Of the stove by ISO 19867-1, 0 to 100; the lower the more lasting.
    #[serde(with = "rust_decimal::serde::str_option", default)]
    pub durability_score: Option<Decimal>,
}

/// What a laboratory found in one sample of char. Mass fractions of the dry char.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CharLabTest {
    pub sample_code: String,
    pub laboratory: String,
    pub sampled_on: NaiveDate,
    pub feedstock: String,
    pub carbon_total: Decimal,
    pub carbon_inorganic: Decimal,
    pub hydrogen: Decimal,
    pub ash: Option<Decimal>,
}

/// Moisture of one fuel as read at one household.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct MoistureReading {
    pub household_code: String,
    pub measured_on: NaiveDate,
    pub fuel: String,
    pub moisture_wb: Decimal,
}
