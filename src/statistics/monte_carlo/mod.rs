//! Monte Carlo: the distribution of what is computed from uncertain inputs.
//!
//! A [`ModelBuilder`] takes inputs with their distributions and a list of operations, and compiles
//! them into a [`Model`]. [`simulate`] draws it: mean, standard deviation and quantiles of each
//! output with their own errors. [`contributions`] ranks the inputs by the variance they bring.
//! [`hypercube`] draws the same model by replicated Latin hypercubes.
//!
//! The same seed gives the same bits on every platform and for every number of threads: random
//! numbers are counted and not handed on, functions are built from plain arithmetic, and sums are
//! folded in the order of the draws.

mod contributions;
mod curve;
mod elementary;
mod gamma;
mod hypercube;
mod marginal;
mod model;
mod normal;
mod plan;
mod planner;
mod run;
mod select;
mod table;
mod threads;
mod uniform;

pub use contributions::{Contribution, Contributions, contributions};
pub use hypercube::hypercube;
pub use marginal::Marginal;
pub use model::{Model, ModelBuilder, Value};
pub use run::{Quantile, Simulated, Summary, simulate};

/// Draws that are computed side by side.
pub(crate) const LANES: usize = 128;

/// One value of each of [`LANES`] draws.
///
/// The gap keeps the same lanes of many slots apart in the processor's cache: without it, each
/// would fall upon a few places of it and push the others out.
#[derive(Debug, Clone)]
#[repr(align(64))]
pub(crate) struct Lanes(
    pub [f64; LANES],
    #[expect(dead_code, reason = "it only takes room")] [u64; 8],
);

impl Lanes {
    fn of(values: [f64; LANES]) -> Self {
        Lanes(values, [0; 8])
    }
}

impl Default for Lanes {
    fn default() -> Self {
        Lanes::of([0.0; LANES])
    }
}

/// Room for the places in a table.
#[derive(Debug, Default)]
pub(crate) struct Scratch {
    places: table::Places,
}

impl Scratch {
    /// Turns uniform numbers into standard normal ones.
    #[inline(always)]
    fn normalise(&mut self, values: &mut Lanes) {
        self.normalise_to(values, |z| z);
    }

    /// Turns uniform numbers into a function of standard normal ones.
    #[inline(always)]
    fn normalise_to(&mut self, values: &mut Lanes, map: impl Fn(f64) -> f64) {
        normal::TAIL.fill(values, &mut self.places, map);
    }
}

#[cfg(test)]
mod tests;
