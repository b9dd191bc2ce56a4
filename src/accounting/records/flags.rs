//! Flags in the trail: what the screens raised on a batch, and what people answered.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use uuid::Uuid;

/// Rows of one flag that are named one by one; a flag may be of more.
pub const ROWS_NAMED: usize = 1_000;

/// All that the screens raised when one batch came. No entry is made where they raised nothing.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct FlagsRaisedRecord {
    pub batch: Uuid,
    pub round: String,
    pub flags: Vec<FlagRecord>,
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct FlagRecord {
    pub id: Uuid,
    /// Code of the screen, e.g. `near_twins`.
    pub screen: String,
    /// What was found, with the threshold that it passed.
    pub sentence: String,
    /// Rows that it is of.
    pub row_count: u64,
    /// The first of them, at most [`ROWS_NAMED`].
    pub rows: Vec<RowPlace>,
}

/// Where a row stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct RowPlace {
    pub batch: Uuid,
    pub line: u64,
}

/// What is to become of flagged rows, in a person's judgement. It changes no row and no figure:
/// a correction does.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Disposition {
    /// The rows are right as they are.
    Stands,
    /// The rows are wrong, and a correction of them is to follow.
    ToBeCorrected,
    /// The rows are not to be relied on, and are to be taken out by a correction.
    ToBeLeftOut,
}

impl Disposition {
    pub const ALL: [Disposition; 3] = [
        Disposition::Stands,
        Disposition::ToBeCorrected,
        Disposition::ToBeLeftOut,
    ];

    pub fn code(self) -> &'static str {
        match self {
            Disposition::Stands => "stands",
            Disposition::ToBeCorrected => "to_be_corrected",
            Disposition::ToBeLeftOut => "to_be_left_out",
        }
    }

    pub fn from_code(code: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|word| word.code() == code)
    }
}

/// What a person said of a flag; the entry names the person.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct FlagAnswerRecord {
    pub flag: Uuid,
    pub disposition: Disposition,
    pub reason: String,
}
