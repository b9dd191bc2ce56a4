//! The plan of a round: what is drawn, how, and what is expected. `check` says which plans fit
//! which kind of round, `sizes` works the number of units out, step by step.

mod check;
mod sizes;

pub use check::{units_of, value_of};

use chrono::NaiveDate;
use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// What is drawn and visited.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum SampleUnit {
    /// A stove in service; its id is the serial.
    Stove,
    /// A household with a stove in service; its id is the household's code.
    Household,
    /// A household of the register, with or without a stove.
    RegisteredHousehold,
    /// A household of the register without a stove in service.
    HouseholdWithoutStove,
    /// A weighing of char, of which a sample goes to the laboratory; its id is `W`, the trail
    /// entry that accepted it, a hyphen, and its line in the batch.
    CharWeighing,
}

impl SampleUnit {
    /// Whether every unit has a stove in service.
    pub fn has_stove(self) -> bool {
        matches!(self, SampleUnit::Stove | SampleUnit::Household)
    }
}

/// How the units are drawn.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum SampleDesign {
    SimpleRandom,
    /// A simple random sample in each stratum.
    Stratified,
    /// Sites are drawn with equal chances, then units in each drawn site.
    Cluster,
}

/// What strata are made of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum GroupKey {
    Site,
    Model,
    /// Whole years since installation on the day of the frame.
    AgeBand,
    /// What the char was made of, of weighings.
    Feedstock,
}

/// How the units are shared out among strata.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum SampleAllocation {
    /// By the units of the strata.
    #[default]
    Proportional,
    /// By units times standard deviation (Neyman): the fewest where a visit costs the same
    /// everywhere.
    Optimum,
}

impl SampleAllocation {
    fn is_default(&self) -> bool {
        *self == SampleAllocation::default()
    }
}

/// What is expected in one stratum: a share, or a mean with its standard deviation.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ExpectedStratum {
    /// As the frame names it: the parts in the order of `strata_by`, a comma and a space between
    /// them, e.g. `NORTH, age 1`.
    pub name: String,
    #[serde(
        default,
        with = "rust_decimal::serde::str_option",
        skip_serializing_if = "Option::is_none"
    )]
    #[schema(value_type = Option<String>)]
    pub expected_share: Option<Decimal>,
    #[serde(
        default,
        with = "rust_decimal::serde::str_option",
        skip_serializing_if = "Option::is_none"
    )]
    #[schema(value_type = Option<String>)]
    pub expected_mean: Option<Decimal>,
    #[serde(
        default,
        with = "rust_decimal::serde::str_option",
        skip_serializing_if = "Option::is_none"
    )]
    #[schema(value_type = Option<String>)]
    pub expected_standard_deviation: Option<Decimal>,
}

/// What the wanted precision is a share of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum PrecisionKind {
    /// A share of the value.
    Relative,
    /// In the unit of the value.
    Absolute,
}

/// What is asked of the sample and what is expected of the field.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct RoundPlan {
    /// What the answer is for, in words.
    pub purpose: String,
    pub unit: SampleUnit,
    /// The day on which a stove must be in service to be in the frame; second stoves are not.
    /// Of weighings the first day after those that are in the frame.
    pub frame_on: NaiveDate,
    /// Of weighings: the first day whose weighings are in the frame.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub frame_from: Option<NaiveDate>,
    pub design: SampleDesign,
    /// Of a stratified design.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub strata_by: Vec<GroupKey>,
    /// Of a stratified design.
    #[serde(default, skip_serializing_if = "SampleAllocation::is_default")]
    pub allocation: SampleAllocation,
    /// Strata whose own value is expected; the others have that of the whole.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub strata: Vec<ExpectedStratum>,
    /// Units to answer in each drawn site, of a cluster design.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub units_in_each: Option<u32>,
    /// Two-sided, e.g. `0.90`.
    #[serde(with = "rust_decimal::serde::str")]
    #[schema(value_type = String)]
    pub confidence: Decimal,
    /// Half width of the interval, e.g. `0.10`.
    #[serde(with = "rust_decimal::serde::str")]
    #[schema(value_type = String)]
    pub precision: Decimal,
    pub precision_is: PrecisionKind,
    /// Share that is expected, of a usage survey.
    #[serde(
        default,
        with = "rust_decimal::serde::str_option",
        skip_serializing_if = "Option::is_none"
    )]
    #[schema(value_type = Option<String>)]
    pub expected_share: Option<Decimal>,
    /// Mean that is expected, of rounds that measure, with its standard deviation.
    #[serde(
        default,
        with = "rust_decimal::serde::str_option",
        skip_serializing_if = "Option::is_none"
    )]
    #[schema(value_type = Option<String>)]
    pub expected_mean: Option<Decimal>,
    #[serde(
        default,
        with = "rust_decimal::serde::str_option",
        skip_serializing_if = "Option::is_none"
    )]
    #[schema(value_type = Option<String>)]
    pub expected_standard_deviation: Option<Decimal>,
    /// Variance of the design over that of a simple random sample.
    #[serde(default = "one", with = "rust_decimal::serde::str")]
    #[schema(value_type = String)]
    pub design_effect: Decimal,
    /// Share of the units visited that is expected to answer.
    #[serde(default = "one", with = "rust_decimal::serde::str")]
    #[schema(value_type = String)]
    pub expected_response: Decimal,
    /// Further units in reserve in each group, beyond those that the expected response asks for.
    #[serde(default)]
    pub reserve: u32,
}

fn one() -> Decimal {
    Decimal::ONE
}

/// Units of the frame in one stratum or site.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct GroupCount {
    pub name: String,
    pub units: u64,
}

/// One line of the arithmetic.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PlanStep {
    pub words: String,
    pub formula: String,
    /// To six significant digits.
    #[serde(with = "rust_decimal::serde::str")]
    #[schema(value_type = String)]
    pub value: Decimal,
}

/// How many are drawn of one group. Of a cluster design the groups are the sites, and only
/// those that are drawn give units.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct GroupSize {
    pub name: String,
    /// Units of the frame.
    pub units: u64,
    pub sample: u64,
    pub reserve: u64,
}

/// The number of units and how it came about.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Sizes {
    pub steps: Vec<PlanStep>,
    /// Units that must answer.
    pub needed: u64,
    /// Units to visit, so that as many may be expected to answer.
    pub to_visit: u64,
    /// Sites to draw, of a cluster design.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub clusters: Option<u64>,
    pub groups: Vec<GroupSize>,
}

#[cfg(test)]
mod tests;
