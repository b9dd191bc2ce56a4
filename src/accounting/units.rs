//! Masses and moistures whose basis is part of their type.
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

use rust_decimal::Decimal;

/// Wet-basis moisture above this is refused: the row is a mistake, not a fuel.
pub const LARGEST_MOISTURE_WET_BASIS: Decimal = Decimal::from_parts(8, 0, 0, false, 1);

/// What a measured mass or moisture cannot be.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum UnitsError {
    #[error("moisture {0} (wet basis) lies outside 0 to 0.8")]
    Moisture(Decimal),
    #[error("a mass or count is too large to be computed with")]
    TooLarge,
}

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
        self.0
            .checked_add(other.0)
            .map(WetMass)
            .ok_or(UnitsError::TooLarge)
    }

    pub fn checked_sub(self, other: WetMass) -> Result<WetMass, UnitsError> {
        self.0
            .checked_sub(other.0)
            .map(WetMass)
            .ok_or(UnitsError::TooLarge)
    }

    /// `dry = wet * (1 - M)`, with M on the wet basis.
    pub fn dried(self, moisture: WetBasisMoisture) -> Result<DryMass, UnitsError> {
        self.0
            .checked_mul(Decimal::ONE - moisture.0)
            .map(DryMass)
            .ok_or(UnitsError::TooLarge)
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
        self.0
            .checked_add(other.0)
            .map(DryMass)
            .ok_or(UnitsError::TooLarge)
    }
}

/// Water over wet mass, as a fraction.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct WetBasisMoisture(Decimal);

/// Water over dry mass, as a fraction; what most electric meters read.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct DryBasisMoisture(Decimal);

impl WetBasisMoisture {
    /// Refuses what lies outside 0 to 0.8.
    pub fn from_fraction(fraction: Decimal) -> Result<Self, UnitsError> {
        if fraction < Decimal::ZERO || fraction > LARGEST_MOISTURE_WET_BASIS {
            return Err(UnitsError::Moisture(fraction));
        }
        Ok(WetBasisMoisture(fraction))
    }

    pub fn fraction(self) -> Decimal {
        self.0
    }

    /// `M_db = M_wb / (1 - M_wb)`; never divides by zero, as M_wb stays below 1.
    pub fn on_dry_basis(self) -> DryBasisMoisture {
        DryBasisMoisture(self.0 / (Decimal::ONE - self.0))
    }
}

impl DryBasisMoisture {
    /// Refuses what would lie outside 0 to 0.8 on the wet basis.
    pub fn from_fraction(fraction: Decimal) -> Result<Self, UnitsError> {
        let moisture = DryBasisMoisture(fraction);
        moisture.on_wet_basis()?;
        Ok(moisture)
    }

    pub fn fraction(self) -> Decimal {
        self.0
    }

    /// `M_wb = M_db / (1 + M_db)`.
    pub fn on_wet_basis(self) -> Result<WetBasisMoisture, UnitsError> {
        let refused = || UnitsError::Moisture(self.0);
        if self.0 < Decimal::ZERO {
            return Err(refused());
        }
        let whole = self.0.checked_add(Decimal::ONE).ok_or_else(refused)?;
        WetBasisMoisture::from_fraction(self.0.checked_div(whole).ok_or_else(refused)?)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::str::FromStr;

    fn decimal(text: &str) -> Decimal {
        Decimal::from_str(text).unwrap()
    }

    fn wet_basis(text: &str) -> WetBasisMoisture {
        WetBasisMoisture::from_fraction(decimal(text)).unwrap()
    }

    /// 20 % wet basis is 25 % dry basis, 16 % is 19.05 %, 50 % is 100 %; 20 % dry basis is
    /// 16.7 % wet basis. SEEN: bioenergylists moisture note and a German fuel handbook table.
    #[test]
    fn wet_and_dry_basis_convert_as_the_handbook_says() {
        assert_eq!(wet_basis("0.20").on_dry_basis().fraction(), decimal("0.25"));
        assert_eq!(
            wet_basis("0.16").on_dry_basis().fraction().round_dp(4),
            decimal("0.1905")
        );
        assert_eq!(wet_basis("0.50").on_dry_basis().fraction(), decimal("1"));
        let dry_basis = DryBasisMoisture::from_fraction(decimal("0.20")).unwrap();
        assert_eq!(
            dry_basis.on_wet_basis().unwrap().fraction().round_dp(3),
            decimal("0.167")
        );
    }

    #[test]
    fn moisture_outside_the_range_is_refused() {
        assert!(WetBasisMoisture::from_fraction(decimal("-0.01")).is_err());
        assert!(WetBasisMoisture::from_fraction(decimal("0.81")).is_err());
        assert!(WetBasisMoisture::from_fraction(decimal("0.8")).is_ok());
        assert!(DryBasisMoisture::from_fraction(decimal("-1")).is_err());
        assert!(DryBasisMoisture::from_fraction(decimal("4.1")).is_err());
        assert!(DryBasisMoisture::from_fraction(Decimal::MAX).is_err());
    }

    #[test]
    fn drying_takes_the_water_away() {
        let wet = WetMass::from_kg(decimal("2.5"));
        assert_eq!(wet.dried(wet_basis("0.12")).unwrap().kg(), decimal("2.2"));
        assert!(WetMass::from_kg(Decimal::MAX).checked_add(wet).is_err());
    }
}
