//! Quantities whose unit and basis are part of their type.
//!
//! Each quantity holds a decimal in the unit that its constructor names. Sums and
//! products exist only where they mean something, and each is checked.
//!
//! ```
//! use emberbook::accounting::units::{
//!     BlackCarbon, DryMass, EmissionMass, FactorPerKg, NetCalorificValueDry, WetBasisMoisture,
//!     WetMass,
//! };
//! let moisture = WetBasisMoisture::from_fraction("0.2".parse()?)?;
//! let dry = WetMass::from_kg(5.into()).dried(moisture)?;
//! let dry = dry.checked_add(DryMass::from_kg(1.into()))?;
//! let heat = dry.heat(NetCalorificValueDry::from_mj_per_kg("18.5".parse()?))?;
//! assert_eq!(heat.mj(), "92.5".parse()?);
//! let soot = FactorPerKg::<BlackCarbon>::from_g_per_kg("0.8".parse()?).emitted_by(dry)?;
//! let soot = soot.checked_add(EmissionMass::<BlackCarbon>::from_g(1.into()))?;
//! assert_eq!(soot.g(), 5.into());
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```
//!
//! Wet fuel and dry fuel are different things that happen to share a unit, so
//! adding one to the other does not compile:
//!
//! ```compile_fail
//! use emberbook::accounting::units::{DryMass, WetMass};
//! let wet = WetMass::from_kg(1.into());
//! let dry = DryMass::from_kg(1.into());
//! let _ = wet.checked_add(dry);
//! ```
//!
//! ```compile_fail
//! use emberbook::accounting::units::{DryMass, WetMass};
//! let _ = WetMass::from_kg(1.into()) + DryMass::from_kg(1.into());
//! ```
//!
//! Nor taking dry from wet, nor adding the fuel that was weighed and the fuel that a test counts as spent, nor
//! drying by a moisture on the dry basis:
//!
//! ```compile_fail
//! use emberbook::accounting::units::{DryMass, WetMass};
//! let _ = WetMass::from_kg(2.into()).checked_sub(DryMass::from_kg(1.into()));
//! ```
//!
//! ```compile_fail
//! use emberbook::accounting::units::{DryMass, EquivalentDryFuel};
//! let _ = DryMass::from_kg(1.into()).checked_add(EquivalentDryFuel::from_kg(1.into()));
//! ```
//!
//! ```compile_fail
//! use emberbook::accounting::units::{DryBasisMoisture, WetMass};
//! let moisture = DryBasisMoisture::from_fraction("0.2".parse().unwrap()).unwrap();
//! let _ = WetMass::from_kg(1.into()).dried(moisture);
//! ```
//!
//! Neither does the heat of a dry mass by the calorific value of the fuel as received:
//!
//! ```compile_fail
//! use emberbook::accounting::units::{DryMass, NetCalorificValueAsReceived};
//! let dry = DryMass::from_kg(1.into());
//! let _ = dry.heat(NetCalorificValueAsReceived::from_mj_per_kg(15.into()));
//! ```
//!
//! Nor the sum of two species, though one may be a part of the other:
//!
//! ```compile_fail
//! use emberbook::accounting::units::{BlackCarbon, EmissionMass, Pm25};
//! let soot = EmissionMass::<BlackCarbon>::from_g(1.into());
//! let _ = soot.checked_add(EmissionMass::<Pm25>::from_g(1.into()));
//! ```
//!
//! Nor energy of the fuel and energy that reached the pot:
//!
//! ```compile_fail
//! use emberbook::accounting::units::{Energy, UsefulEnergy};
//! let _ = Energy::from_mj(1.into()).checked_add(UsefulEnergy::from_mj(1.into()));
//! ```
//!
//! Nor a factor per kg of fuel applied to an energy, nor one per MJ of fuel to the MJ that
//! reached the pot:
//!
//! ```compile_fail
//! use emberbook::accounting::units::{Energy, FactorPerKg, Pm25};
//! let factor = FactorPerKg::<Pm25>::from_g_per_kg(5.into());
//! let _ = factor.emitted_by(Energy::from_mj(1.into()));
//! ```
//!
//! ```compile_fail
//! use emberbook::accounting::units::{FactorPerMegajoule, Pm25, UsefulEnergy};
//! let factor = FactorPerMegajoule::<Pm25>::from_g_per_gj(740.into()).unwrap();
//! let _ = factor.emitted_by(UsefulEnergy::from_mj(1.into()));
//! ```

pub(in crate::accounting) mod checked;
mod emission;
mod energy;
mod fraction;
mod mass;
mod moisture;

pub use emission::{
    BlackCarbon, CarbonDioxide, CarbonMonoxide, EmissionMass, FactorPerKg, FactorPerMegajoule,
    FactorPerMegajouleDelivered, Methane, Nmvoc, OrganicCarbon, Pm25, Species,
};
pub use energy::{
    Energy, HEAT_OF_EVAPORATION, NetCalorificValueAsReceived, NetCalorificValueDry, UsefulEnergy,
};
pub use fraction::Fraction;
pub use mass::{DryMass, EquivalentDryFuel, WetMass};
pub use moisture::{DryBasisMoisture, LARGEST_MOISTURE_WET_BASIS, WetBasisMoisture};

use rust_decimal::Decimal;

/// What a measured quantity cannot be.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum UnitsError {
    #[error("moisture {0} (wet basis) lies outside 0 to 0.8")]
    Moisture(Decimal),
    #[error("{0} is no fraction: it lies outside 0 to 1")]
    Fraction(Decimal),
    #[error("nothing can be divided by a quantity of zero")]
    DividedByZero,
    #[error("a mass or count is too large to be computed with")]
    TooLarge,
}

#[cfg(test)]
mod tests;
