//! Energy of fuel, energy that reached the pot, and calorific values on their basis.

use super::{Fraction, UnitsError, WetBasisMoisture, checked};
use rust_decimal::Decimal;

/// Heat that evaporates one kg of water at 25 degC, MJ/kg.
pub const HEAT_OF_EVAPORATION: Decimal = Decimal::from_parts(2443, 0, 0, false, 3);

/// Energy set free or held by fuel or char, in MJ.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Default)]
pub struct Energy(Decimal);

impl Energy {
    pub fn from_mj(mj: Decimal) -> Self {
        Energy(mj)
    }

    pub fn mj(self) -> Decimal {
        self.0
    }

    pub fn checked_add(self, other: Energy) -> Result<Energy, UnitsError> {
        checked::sum(self.0, other.0).map(Energy)
    }

    pub fn checked_sub(self, other: Energy) -> Result<Energy, UnitsError> {
        checked::difference(self.0, other.0).map(Energy)
    }

    /// This energy as a share of `whole`; refused outside 0 to 1.
    pub fn share_of(self, whole: Energy) -> Result<Fraction, UnitsError> {
        Fraction::from_decimal(checked::quotient(self.0, whole.0)?)
    }
}

/// Energy that reached the food or the water, in MJ: the `MJd` of the standards.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Default)]
pub struct UsefulEnergy(Decimal);

impl UsefulEnergy {
    pub fn from_mj(mj: Decimal) -> Self {
        UsefulEnergy(mj)
    }

    pub fn mj(self) -> Decimal {
        self.0
    }

    pub fn checked_add(self, other: UsefulEnergy) -> Result<UsefulEnergy, UnitsError> {
        checked::sum(self.0, other.0).map(UsefulEnergy)
    }

    /// Thermal efficiency: useful energy over `spent`; refused outside 0 to 1.
    pub fn efficiency(self, spent: Energy) -> Result<Fraction, UnitsError> {
        Energy(self.0).share_of(spent)
    }
}

/// Net calorific value per kg dry fuel, MJ/kg.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct NetCalorificValueDry(Decimal);

impl NetCalorificValueDry {
    pub fn from_mj_per_kg(mj_per_kg: Decimal) -> Self {
        NetCalorificValueDry(mj_per_kg)
    }

    pub fn mj_per_kg(self) -> Decimal {
        self.0
    }

    /// `NCV_ar = NCV_dry * (1 - M) - 2.443 * M`, with M on the wet basis (MEMORY, strong).
    pub fn as_received(
        self,
        moisture: WetBasisMoisture,
    ) -> Result<NetCalorificValueAsReceived, UnitsError> {
        let wet_share = moisture.fraction();
        let heat = checked::product(self.0, Decimal::ONE - wet_share)?;
        checked::difference(heat, HEAT_OF_EVAPORATION * wet_share).map(NetCalorificValueAsReceived)
    }
}

/// Net calorific value per kg of fuel with its water in it, MJ/kg.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct NetCalorificValueAsReceived(Decimal);

impl NetCalorificValueAsReceived {
    pub fn from_mj_per_kg(mj_per_kg: Decimal) -> Self {
        NetCalorificValueAsReceived(mj_per_kg)
    }

    pub fn mj_per_kg(self) -> Decimal {
        self.0
    }
}
