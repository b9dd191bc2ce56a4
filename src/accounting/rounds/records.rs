//! What the trail commits to of a drawn round, step by step.

use super::plan::{RoundPlan, Sizes};
use super::precision::Achieved;
use super::progress::Counts;
use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// The kinds of trail entries of a drawn round.
pub mod kind {
    pub const ROUND_PLANNED: &str = "round-planned";
    pub const ROUND_FRAMED: &str = "round-framed";
    pub const ROUND_SEEDED: &str = "round-seeded";
    pub const ROUND_DRAWN: &str = "round-drawn";
    pub const ROUND_CLOSED: &str = "round-closed";
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PlanRecord {
    pub round: String,
    pub plan: RoundPlan,
    /// Trail position at which the register was counted.
    pub position: u64,
    pub sizes: Sizes,
}

/// Who may be drawn, and how many of each group will be.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct FrameRecord {
    pub round: String,
    /// Trail position at which the register was read.
    pub position: u64,
    pub units: u64,
    /// SHA-256 over the ids of the units in the order of their bytes, each followed by a line feed.
    pub sha256: String,
    /// SHA-256 over the frame's lines with all their columns.
    pub rows_sha256: String,
    /// Worked out anew for this frame.
    pub sizes: Sizes,
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct SeedRecord {
    pub round: String,
    /// Size of the trail just after the frame's entry.
    pub tree_size: u64,
    /// Root hash of the trail at that size, lower-case hex.
    pub root: String,
    /// A public value that nobody knew before.
    pub words: String,
    /// Where these words were published, or who said them.
    pub source: String,
    /// SHA-256 over root, line feed, words, line feed; lower-case hex.
    pub seed: String,
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct DrawRecord {
    pub round: String,
    pub seed: String,
    /// The drawn sites of a cluster design, in the order of the draw.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub clusters: Vec<String>,
    pub sample: u64,
    pub reserve: u64,
    /// SHA-256 over the lines `hash  unit` of sample and reserve, group after group.
    pub sha256: String,
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct CloseRecord {
    pub round: String,
    /// Trail position at which the answers were read.
    pub position: u64,
    /// Of a drawn round.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub counts: Option<Counts>,
    /// Share of the visited units that answered, to six digits.
    #[serde(
        default,
        with = "rust_decimal::serde::str_option",
        skip_serializing_if = "Option::is_none"
    )]
    #[schema(value_type = Option<String>)]
    pub response: Option<Decimal>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub achieved: Option<Achieved>,
    /// Why nothing is said of the precision.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub not_achieved_because: Option<String>,
}
