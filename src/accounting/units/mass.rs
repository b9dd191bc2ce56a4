//! Masses: wet as weighed, dry, and dry fuel of the same energy.

use super::energy::{Energy, NetCalorificValueAsReceived, NetCalorificValueDry};
use super::{UnitsError, WetBasisMoisture, checked};
use rust_decimal::Decimal;

/// Mass as weighed in the field, water included, in kg.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Default)]
pub struct WetMass(Decimal);

/// Mass without its water, in kg.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Default)]
pub struct DryMass(Decimal);

impl WetMass {
    pub fn from_kg(kg: Decimal) -> Self {
        WetMass(kg)
    }

    pub fn kg(self) -> Decimal {
        self.0
    }

    pub fn checked_add(self, other: WetMass) -> Result<WetMass, UnitsError> {
        checked::sum(self.0, other.0).map(WetMass)
    }

    pub fn checked_sub(self, other: WetMass) -> Result<WetMass, UnitsError> {
        checked::difference(self.0, other.0).map(WetMass)
    }

    /// `dry = wet * (1 - M)`, with M on the wet basis.
    pub fn dried(self, moisture: WetBasisMoisture) -> Result<DryMass, UnitsError> {
        checked::product(self.0, Decimal::ONE - moisture.fraction()).map(DryMass)
    }

    /// The water in it.
    pub fn water_kg(self, moisture: WetBasisMoisture) -> Result<Decimal, UnitsError> {
        checked::product(self.0, moisture.fraction())
    }

    /// Heat of burning it as it is, `wet mass * NCV as received`.
    pub fn heat(self, ncv: NetCalorificValueAsReceived) -> Result<Energy, UnitsError> {
        checked::product(self.0, ncv.mj_per_kg()).map(Energy::from_mj)
    }
}

impl DryMass {
    pub fn from_kg(kg: Decimal) -> Self {
        DryMass(kg)
    }

    pub fn kg(self) -> Decimal {
        self.0
    }

    pub fn checked_add(self, other: DryMass) -> Result<DryMass, UnitsError> {
        checked::sum(self.0, other.0).map(DryMass)
    }

    /// Heat of burning it, `dry mass * NCV dry`.
    pub fn heat(self, ncv: NetCalorificValueDry) -> Result<Energy, UnitsError> {
        checked::product(self.0, ncv.mj_per_kg()).map(Energy::from_mj)
    }
}

/// Dry fuel whose energy a test spent, in kg: what was burnt, less the heat that dried it and,
/// where it is credited, the energy left in its char. Not a mass that anyone weighed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct EquivalentDryFuel(Decimal);

impl EquivalentDryFuel {
    pub fn from_kg(kg: Decimal) -> Self {
        EquivalentDryFuel(kg)
    }

    pub fn kg(self) -> Decimal {
        self.0
    }
}
