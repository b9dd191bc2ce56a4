//! Moisture of fuel and char, on the wet and on the dry basis.

use super::UnitsError;
use rust_decimal::Decimal;

/// Wet-basis moisture above this is refused: the row is a mistake, not a fuel.
pub const LARGEST_MOISTURE_WET_BASIS: Decimal = Decimal::from_parts(8, 0, 0, false, 1);

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
