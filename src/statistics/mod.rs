//! Estimators, distributions and quantiles: the only room where `f64` is at home.

pub mod distribution;
pub mod estimate;
pub mod monte_carlo;
pub mod quantile;

/// What a statistic cannot be asked for.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum StatisticsError {
    #[error("a probability must lie between 0 and 1, not at {0}")]
    Probability(f64),
    #[error("degrees of freedom must be above 0, not {0}")]
    DegreesOfFreedom(f64),
    #[error("{needed} units are needed for this estimate, there are {found}")]
    TooFewUnits { needed: usize, found: usize },
    #[error("every unit must have {expected} measured values, one has {found}")]
    Ragged { expected: usize, found: usize },
    #[error("{successes} successes cannot come from {trials} trials")]
    Proportion { successes: u64, trials: u64 },
    #[error("a simulation takes 1,000 to 10,000,000 draws, not {0}")]
    Draws(u64),
    #[error("this spread is no distribution: {0}")]
    Spread(&'static str),
}
