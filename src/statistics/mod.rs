//! Estimators, designs, sample sizes, draws and screens: the only room where `f64` is at home.

pub mod compare;
pub mod design;
pub mod distribution;
pub mod draw;
pub mod estimate;
pub mod monte_carlo;
pub mod quantile;
pub mod sample_size;
pub mod screens;

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
    #[error("a t test needs some spread in the values, there is none")]
    NoSpread,
    #[error("a simulation takes 1,000 to 10,000,000 draws, not {0}")]
    Draws(u64),
    #[error("this spread is no distribution: {0}")]
    Spread(&'static str),
    #[error("a population of {population} cannot have given {sampled} units")]
    Population { population: u64, sampled: usize },
    #[error("a total needs the number of units of every stratum")]
    NoPopulation,
    #[error("weights must not be below zero, and not all zero: {0}")]
    Weight(f64),
    #[error("every unit has {found} measured values, there is none at place {asked}")]
    Column { asked: usize, found: usize },
    #[error("a ratio needs a denominator whose mean is not zero")]
    NoDenominator,
    #[error("no weighing of these units adds up to what is known of the population")]
    NotReached,
    #[error("no sample size follows from these inputs: {0}")]
    Plan(&'static str),
    #[error("a draw needs a seed")]
    NoSeed,
    #[error("the id of a unit must be some text on one line, not {0:?}")]
    UnitId(String),
    #[error("{0:?} is in the frame twice")]
    DuplicateUnit(String),
    #[error("{wanted} units cannot be drawn from {found}")]
    DrawTooLarge { wanted: usize, found: usize },
}

#[cfg(test)]
mod tests;
