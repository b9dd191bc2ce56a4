//! Emission factors of a fire by carbon balance: what the plume carries for each kg of carbon.
//!
//! All carbon of the fuel leaves as gas or particle, or stays in char and ash. What stays is
//! taken off the fuel's carbon first: a stove that makes char would otherwise have every factor
//! overstated. Equations: Smith et al. 2000, Zhang et al. 2000, Pennise et al. 2001, Akagi et
//! al. 2011 section 2 (MEMORY, strong).

mod air;
mod balance;
mod report;
mod test;

pub use air::{gas_mg_per_m3, gas_ppm, molar_volume_l};
pub use balance::{Balance, Closure, EmissionFactors, balance};
pub use report::{BalanceReport, SpeciesSummary, TestBalance, report, to_factor};
pub use test::{Air, CharLeft, Hood, PlumeTest};

use crate::accounting::stove_test::TestError;
use crate::accounting::units::UnitsError;
use rust_decimal::Decimal;

/// Why a carbon balance cannot be drawn.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum BalanceError {
    #[error(transparent)]
    Units(#[from] UnitsError),
    #[error(transparent)]
    Replicates(#[from] TestError),
    #[error("{species} of the plume, {plume}, lies below the background, {background}")]
    BelowBackground {
        species: &'static str,
        plume: Decimal,
        background: Decimal,
    },
    #[error("CO2 of the plume does not rise above the background: there is no fire to measure")]
    NoExcess,
    #[error("{0} must be measured in plume and background alike, or in neither")]
    OneSided(&'static str),
    #[error("{0}")]
    Impossible(&'static str),
    #[error(
        "the carbon does not close: char and ash hold {kept} of the {fuel} kg carbon in a kg of \
         fuel and leave none to be emitted"
    )]
    NothingEmitted { kept: Decimal, fuel: Decimal },
    #[error(
        "the carbon does not close: the hood saw {share} times the carbon that the fuel gave off; \
         0.80 to 1.20 is taken"
    )]
    Closure { share: Decimal },
    #[error("test {code}: {reason}")]
    Test {
        code: String,
        #[source]
        reason: Box<BalanceError>,
    },
    #[error("{0}")]
    Mixed(&'static str),
}

#[cfg(test)]
mod tests;
