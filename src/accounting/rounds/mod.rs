//! Rounds whose sample the program draws: how many units are needed, who could be drawn, who
//! was, how the field gets on, and how exact the answer came out.
//!
//! The order guards the draw: the frame is in the trail before the seed can be known, and with
//! the frame stands how many are drawn of each group, so that nothing is left to choose when
//! the seed is.

pub mod answers;
pub mod closing;
pub mod drawing;
pub mod frame;
pub mod plan;
pub mod precision;
pub mod progress;
pub mod records;

use crate::statistics::StatisticsError;

/// Why a round cannot be planned or drawn.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum RoundError {
    /// A field of the plan, and what is wrong with it.
    #[error("{field} {detail}")]
    Field { field: &'static str, detail: String },
    #[error("{0}")]
    Statistics(#[from] StatisticsError),
}

impl RoundError {
    fn field(field: &'static str, detail: impl Into<String>) -> Self {
        RoundError::Field {
            field,
            detail: detail.into(),
        }
    }
}
