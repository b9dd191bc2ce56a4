//! Leakage: emissions that the programme moves elsewhere.

use crate::accounting::factor::FactorId;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// A default multiplier, or the items of a leakage survey.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(untagged)]
pub enum Leakage {
    /// A `leakage_multiplier` factor on the gross reduction.
    Multiplier(FactorId),
    Items(Vec<LeakageItem>),
}

/// One way in which emissions move elsewhere.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct LeakageItem {
    /// E.g. `saved_wood_burnt_elsewhere`.
    pub code: String,
    pub title: String,
    /// A `leakage_share` factor: the fraction of the gross reduction that it takes away.
    pub share: FactorId,
}
