//! Thermal efficiency of one stove test.

use crate::accounting::evidence::StoveTest;
use crate::accounting::fuel::ncv_as_received;
use crate::accounting::units::WetBasisMoisture;
use rust_decimal::Decimal;

/// Heat that warms one kg of water by one kelvin, MJ (ISO 19867-1; MEMORY).
const HEAT_OF_WARMING: Decimal = Decimal::from_parts(4186, 0, 0, false, 6);
/// Heat that boils one kg of water away, MJ (ISO 19867-1; MEMORY).
const HEAT_OF_BOILING: Decimal = Decimal::from_parts(2257, 0, 0, false, 3);

/// Useful energy over the energy of all fuel, as a fraction: none of the char's energy is
/// given back (ISO 19867-1; MEMORY). The fuel's own water takes its heat from the fuel.
///
/// None where the fuel has no energy or a number is too large.
pub(super) fn efficiency_without_char(test: &StoveTest) -> Option<Decimal> {
    let warmed = test
        .water_end_c
        .checked_sub(test.water_start_c)?
        .checked_mul(test.water_start_kg)?
        .checked_mul(HEAT_OF_WARMING)?;
    let boiled = test
        .water_start_kg
        .checked_sub(test.water_end_kg)?
        .checked_mul(HEAT_OF_BOILING)?;
    let moisture = WetBasisMoisture::from_fraction(test.moisture_wb).ok()?;
    let fuel = ncv_as_received(test.fuel_ncv_dry_mj_per_kg, moisture)
        .ok()?
        .checked_mul(test.fuel_wet_kg)?;
    if fuel <= Decimal::ZERO {
        return None;
    }
    warmed.checked_add(boiled)?.checked_div(fuel)
}
