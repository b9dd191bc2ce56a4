//! What the program ships with: published factors and ready methodologies.
//!
//! Both are data files read into the binary. A factor keeps the mark of how its
//! source was read; a programme may add its own versions beside these.

mod factors;
#[cfg(test)]
mod tests;

use crate::accounting::factor::Factor;
use crate::accounting::methodology::Methodology;

/// The shipped data cannot be read.
#[derive(Debug, thiserror::Error)]
pub enum LibraryError {
    #[error("the factor table cannot be read: {0}")]
    Table(#[from] csv::Error),
    #[error("factor {code}: {problem}")]
    Factor { code: String, problem: String },
    #[error("methodology {file} cannot be read: {problem}")]
    Methodology {
        file: String,
        problem: serde_json::Error,
    },
}

const METHODOLOGIES: [(&str, &str); 8] = [
    (
        "black-carbon-beside-1.json",
        include_str!("methodologies/black-carbon-beside-1.json"),
    ),
    (
        "cooking-test-1.json",
        include_str!("methodologies/cooking-test-1.json"),
    ),
    (
        "household-energy-1.json",
        include_str!("methodologies/household-energy-1.json"),
    ),
    (
        "kitchen-test-households-1.json",
        include_str!("methodologies/kitchen-test-households-1.json"),
    ),
    (
        "kitchen-test-paired-1.json",
        include_str!("methodologies/kitchen-test-paired-1.json"),
    ),
    (
        "kitchen-test-per-adult-1.json",
        include_str!("methodologies/kitchen-test-per-adult-1.json"),
    ),
    (
        "kitchen-test-precision-1.json",
        include_str!("methodologies/kitchen-test-precision-1.json"),
    ),
    (
        "stove-efficiency-1.json",
        include_str!("methodologies/stove-efficiency-1.json"),
    ),
];

/// Every published factor that the program ships with, in the order of its table.
pub fn published_factors() -> Result<Vec<Factor>, LibraryError> {
    factors::read(include_str!("factors.csv"))
}

/// The methodologies that the program ships with; they name published factors only.
pub fn supplied_methodologies() -> Result<Vec<Methodology>, LibraryError> {
    METHODOLOGIES
        .iter()
        .map(|(file, text)| {
            serde_json::from_str(text).map_err(|problem| LibraryError::Methodology {
                file: (*file).to_owned(),
                problem,
            })
        })
        .collect()
}
