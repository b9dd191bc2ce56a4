//! One plume or hood test as it is recorded.

use chrono::NaiveDate;
use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// Mean concentrations over the burn, or of the room's air before and after it.
///
/// What was not measured is left out of plume and background alike.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Air {
    #[serde(with = "rust_decimal::serde::str")]
    pub co2_ppm: Decimal,
    #[serde(with = "rust_decimal::serde::str")]
    pub co_ppm: Decimal,
    #[serde(with = "rust_decimal::serde::str_option", default)]
    pub ch4_ppm: Option<Decimal>,
    /// Volatile organic compounds without methane, as ppm of carbon atoms.
    #[serde(with = "rust_decimal::serde::str_option", default)]
    pub nmvoc_ppm_carbon: Option<Decimal>,
    /// At the temperature, pressure and dilution of the gases.
    #[serde(with = "rust_decimal::serde::str_option", default)]
    pub pm25_mg_per_m3: Option<Decimal>,
    #[serde(with = "rust_decimal::serde::str_option", default)]
    pub bc_mg_per_m3: Option<Decimal>,
    #[serde(with = "rust_decimal::serde::str_option", default)]
    pub oc_mg_per_m3: Option<Decimal>,
}

/// Char left over by the burn.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct CharLeft {
    /// kg dry char per kg dry fuel.
    #[serde(rename = "yield", with = "rust_decimal::serde::str")]
    pub mass_yield: Decimal,
    /// kg carbon per kg dry char.
    #[serde(with = "rust_decimal::serde::str")]
    pub carbon: Decimal,
}

/// What a hood knows that a plume does not: all of the exhaust and all of the fuel.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Hood {
    /// At the temperature and pressure of the gases, m3.
    #[serde(with = "rust_decimal::serde::str")]
    pub exhaust_m3: Decimal,
    #[serde(with = "rust_decimal::serde::str")]
    pub fuel_dry_kg: Decimal,
}

/// One burn sampled in its plume or under a hood.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PlumeTest {
    pub test_code: String,
    /// Laboratory or field team.
    pub laboratory: String,
    pub tested_on: NaiveDate,
    pub device: String,
    pub fuel: String,
    pub background: Air,
    pub plume: Air,
    /// Of the sampled air, degC.
    #[serde(with = "rust_decimal::serde::str")]
    pub temperature_c: Decimal,
    /// Of the sampled air, Pa.
    #[serde(with = "rust_decimal::serde::str")]
    pub pressure_pa: Decimal,
    /// kg carbon per kg dry fuel.
    #[serde(with = "rust_decimal::serde::str")]
    pub fuel_carbon: Decimal,
    /// Absent: the char is left out of account, which overstates every factor.
    #[serde(default)]
    pub char: Option<CharLeft>,
    /// kg carbon left in ash per kg dry fuel; absent = none.
    #[serde(with = "rust_decimal::serde::str_option", default)]
    pub ash_carbon: Option<Decimal>,
    /// kg carbon per kg PM2.5; absent: from black and organic carbon, else 0.7.
    #[serde(with = "rust_decimal::serde::str_option", default)]
    pub pm25_carbon: Option<Decimal>,
    /// Mass of the volatile compounds per mole of their carbon, g; needed where they were measured.
    #[serde(with = "rust_decimal::serde::str_option", default)]
    pub nmvoc_g_per_mol_carbon: Option<Decimal>,
    #[serde(default)]
    pub hood: Option<Hood>,
    /// Dry fuel burnt, kg/h; with it, emission rates are stated.
    #[serde(with = "rust_decimal::serde::str_option", default)]
    pub fuel_dry_kg_per_h: Option<Decimal>,
}
