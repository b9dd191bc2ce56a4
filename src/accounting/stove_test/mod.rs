//! Stove tests of the water-boiling kind: what one burn tells, what replicates tell together.
//!
//! An efficiency comes in two kinds. Without the char's energy, all fuel counts as spent: that
//! one serves fuel saving wherever char is claimed as stored. With it, char's energy is taken
//! off the fuel; both are reported and never exchanged.

mod emission_rate;
mod equivalent;
mod measure;
mod performance;
mod summary;
mod tiers;

pub use emission_rate::{EmissionRate, RateCheck, WHO_CAUTION, check_rate, rate_per_minute};
pub use equivalent::{
    CharEnergy, FUEL_PER_CHAR, FUEL_PER_WATER, FuelHeat, HEAT_OF_WATER, LATENT_HEAT,
    equivalent_by_energy, equivalent_by_rule, heat_of_moisture,
};
pub use measure::Measure;
pub use performance::{
    Boiling, Conditions, Performance, Protocol, efficiency_without_char, local_boiling_point_c,
    performance,
};
pub use summary::{
    GroupSummary, MeasureSummary, MeasuredValue, StoveTestSummary, TestMeasures, summarise,
};
pub use tiers::{TIERS_NOTE, TierMetric, TierReading, tier};

use crate::accounting::units::UnitsError;
use crate::statistics::StatisticsError;

/// Why a test, or a set of tests, cannot be worked out.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum TestError {
    #[error(transparent)]
    Units(#[from] UnitsError),
    #[error(transparent)]
    Statistics(#[from] StatisticsError),
    #[error("{0}")]
    Impossible(&'static str),
    #[error("test {code}: {reason}")]
    Test {
        code: String,
        #[source]
        reason: Box<TestError>,
    },
    #[error("test {0} stands twice")]
    Twice(String),
    #[error("there is no test")]
    NoTest,
}

impl TestError {
    pub(in crate::accounting) fn of(code: &str) -> impl FnOnce(TestError) -> TestError {
        let code = code.to_owned();
        move |reason| TestError::Test {
            code,
            reason: Box::new(reason),
        }
    }
}

/// Refuses in words what no test can give.
pub(in crate::accounting) fn must(possible: bool, words: &'static str) -> Result<(), TestError> {
    if possible {
        Ok(())
    } else {
        Err(TestError::Impossible(words))
    }
}

#[cfg(test)]
mod tests;
