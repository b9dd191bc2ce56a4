//! What a statement is a function of.
//!
//! The store fills this from SQL aggregates, the offline verifier from the rows
//! of a bag; both must arrive at the same value, and so at the same statement.
//! All counts and sums here are exact: nothing is divided before the formulas.

use crate::accounting::evidence::{CharLabTest, CookingTest, StoveTest};
use crate::accounting::factor::Factor;
use crate::accounting::methodology::Methodology;
use chrono::NaiveDate;
use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use utoipa::ToSchema;
use uuid::Uuid;

#[derive(Debug, Clone, PartialEq, Eq)]
pub struct StatementInputs {
    pub programme: ProgrammeName,
    pub period: Period,
    /// Trail size the evidence was read at: entries `0..position` are known.
    pub position: u64,
    pub methodology: Methodology,
    /// The factor versions that the methodology names, in its order.
    pub factors: Vec<Factor>,
    /// Sorted by their fields in order.
    pub cohorts: Vec<CohortDays>,
    /// Sorted by age band, then site; answers surveyed inside the period.
    pub usage: Vec<UsageCount>,
    /// Sorted by household. A survey answer counts as one day.
    pub baseline_survey: Vec<KitchenHousehold>,
    /// Sorted by household.
    pub baseline_kitchens: Vec<KitchenHousehold>,
    /// Sorted by household.
    pub project_kitchens: Vec<KitchenHousehold>,
    /// Sorted by feedstock, then fate; weighed inside the period.
    pub char_lots: Vec<CharLot>,
    /// Sorted by code.
    pub cooking_tests: Vec<CookingTest>,
    /// Sorted by code.
    pub stove_tests: Vec<StoveTest>,
    /// Sorted by code.
    pub char_lab: Vec<CharLabTest>,
    /// Sorted by their fields in order; empty where the methodology asks for no correction for
    /// a finite population.
    pub to_draw_from: Vec<RegisterCount>,
    /// Flags that nobody had answered by then, of the rounds that are read, on rows that count:
    /// how many by screen.
    pub open_flags: BTreeMap<String, u64>,
    /// Which batches each kind of input was read from.
    pub evidence: Vec<EvidenceSet>,
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct ProgrammeName {
    pub id: Uuid,
    pub code: String,
    pub name: String,
}

/// A half-open range of days, `starts_on..ends_on`.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Period {
    pub code: String,
    pub starts_on: NaiveDate,
    pub ends_on: NaiveDate,
}

/// Stove-days of one cohort inside the period; second stoves add none.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct CohortDays {
    pub model_code: String,
    pub model_version: u32,
    pub site_code: String,
    /// Whole years since installation.
    pub age_band: u32,
    pub stove_days: u64,
    /// Deployments that gave at least one of these days.
    pub stoves: u64,
}

/// Units of the register that a sample of one site was, or could have been, drawn from.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct RegisterCount {
    pub role: EvidenceRole,
    /// Of stoves, for a usage survey; absent where households count.
    pub age_band: Option<u32>,
    pub site_code: String,
    pub units: u64,
}

/// Answers of the usage surveys for one age band at the day of the survey, in one site.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct UsageCount {
    pub age_band: u32,
    pub site_code: String,
    pub in_use: u64,
    pub not_in_use: u64,
    pub not_found: u64,
    pub refused: u64,
    /// Share of meals cooked on the stove, of those in use who told it.
    pub meal_share: Sums,
    /// Days used in the week before, of those in use who told it.
    pub days_per_week: Sums,
}

/// Exact sums from which a mean and its spread can be had.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Sums {
    pub count: u64,
    pub sum: Decimal,
    pub sum_of_squares: Decimal,
}

/// One household's kitchen test, summed over its days.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct KitchenHousehold {
    pub household: String,
    pub site: String,
    /// Distinct days measured.
    pub days: u32,
    /// Standard adults summed over those days.
    pub adult_days: Decimal,
    /// Dry kg over all days, by where it was burnt and what.
    pub dry_kg: BTreeMap<Burn, Decimal>,
}

/// A fuel in a device.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Burn {
    pub device: String,
    pub fuel: String,
}

/// Weighings of one feedstock and one fate.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CharLot {
    pub feedstock: String,
    pub fate: String,
    pub weighings: u64,
    pub dry_kg: Decimal,
    /// Of these, weighings whose char exceeds the yield bound of the fuel weighed with it.
    pub over_bound_weighings: u64,
    pub over_bound_dry_kg: Decimal,
}

/// The batches behind one kind of input, so that a figure opens down to its rows.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct EvidenceSet {
    pub role: EvidenceRole,
    /// Rounds in order of code; empty for the register.
    pub rounds: Vec<String>,
    /// In trail order.
    pub batches: Vec<BatchRef>,
}

#[derive(
    Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, ToSchema,
)]
#[serde(rename_all = "snake_case")]
pub enum EvidenceRole {
    Register,
    Usage,
    BaselineKitchens,
    ProjectKitchens,
    CharWeighings,
    BaselineSurvey,
    CookingTests,
    StoveTests,
    CharLab,
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct BatchRef {
    pub id: Uuid,
    pub rows: u64,
    /// Merkle root over the batch's rows, lower-case hex.
    pub root: String,
}
