//! From a figure and its interval to what may be claimed.

use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// From a figure and its interval to what may be claimed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ClaimRule {
    /// Confidence of the interval, e.g. `0.90`.
    #[serde(with = "rust_decimal::serde::str")]
    pub confidence: Decimal,
    pub sides: Sides,
    /// Half-width over value that lets the point estimate stand; absent = never.
    #[serde(with = "rust_decimal::serde::str_option", default)]
    pub precision: Option<Decimal>,
    #[serde(default)]
    pub fallback: Fallback,
    /// Tonnes below which nothing is claimed; absent = none.
    #[serde(
        with = "rust_decimal::serde::str_option",
        default,
        skip_serializing_if = "Option::is_none"
    )]
    pub floor_t: Option<Decimal>,
}

/// Whether the bound leaves its doubt on one side or on two.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Sides {
    One,
    Two,
}

/// What is claimed where the precision is missed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Fallback {
    #[default]
    LowerBound,
    Nothing,
}

/// How doubt is carried into the result. Both approaches are always reported.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct UncertaintyRule {
    /// The approach whose interval the claim rests on.
    #[serde(default)]
    pub claim_from: Approach,
    /// Draws of the simulation, 1,000 to 10,000,000.
    #[serde(default = "default_draws")]
    pub draws: u64,
    /// Distance of the two approaches' bounds, over the value, beyond which a note says why.
    #[serde(with = "rust_decimal::serde::str", default = "default_agreement")]
    pub agreement: Decimal,
}

impl Default for UncertaintyRule {
    fn default() -> Self {
        UncertaintyRule {
            claim_from: Approach::default(),
            draws: default_draws(),
            agreement: default_agreement(),
        }
    }
}

fn default_draws() -> u64 {
    10_000
}

fn default_agreement() -> Decimal {
    Decimal::new(5, 2)
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Approach {
    /// IPCC approach 1: propagation of errors.
    #[default]
    Analytic,
    /// IPCC approach 2: Monte Carlo.
    MonteCarlo,
}
