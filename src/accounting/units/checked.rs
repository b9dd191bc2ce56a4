//! Arithmetic of decimals that refuses instead of overflowing.

use super::UnitsError;
use rust_decimal::Decimal;

pub fn sum(a: Decimal, b: Decimal) -> Result<Decimal, UnitsError> {
    a.checked_add(b).ok_or(UnitsError::TooLarge)
}

pub fn difference(a: Decimal, b: Decimal) -> Result<Decimal, UnitsError> {
    a.checked_sub(b).ok_or(UnitsError::TooLarge)
}

pub fn product(a: Decimal, b: Decimal) -> Result<Decimal, UnitsError> {
    a.checked_mul(b).ok_or(UnitsError::TooLarge)
}

pub fn quotient(a: Decimal, b: Decimal) -> Result<Decimal, UnitsError> {
    if b.is_zero() {
        return Err(UnitsError::DividedByZero);
    }
    a.checked_div(b).ok_or(UnitsError::TooLarge)
}

pub fn total(values: impl IntoIterator<Item = Decimal>) -> Result<Decimal, UnitsError> {
    values.into_iter().try_fold(Decimal::ZERO, sum)
}
