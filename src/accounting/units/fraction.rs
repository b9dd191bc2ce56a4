//! A share between nothing and all.

use super::UnitsError;
use rust_decimal::Decimal;

/// A number from 0 to 1.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Fraction(Decimal);

impl Fraction {
    /// Refuses what lies outside 0 to 1.
    pub fn from_decimal(value: Decimal) -> Result<Self, UnitsError> {
        if value < Decimal::ZERO || value > Decimal::ONE {
            return Err(UnitsError::Fraction(value));
        }
        Ok(Fraction(value))
    }

    pub fn value(self) -> Decimal {
        self.0
    }

    /// What is left of the whole.
    pub fn complement(self) -> Self {
        Fraction(Decimal::ONE - self.0)
    }
}
