//! Equivalent dry fuel of a burn, in the two forms that test protocols use.

use crate::accounting::units::{
    DryMass, EquivalentDryFuel, NetCalorificValueDry, UnitsError, WetBasisMoisture, WetMass,
    checked,
};
use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// Heat that water takes up, MJ per kg and K.
pub const HEAT_OF_WATER: Decimal = Decimal::from_parts(4186, 0, 0, false, 6);
/// Heat that evaporates boiling water, MJ/kg.
pub const LATENT_HEAT: Decimal = Decimal::from_parts(2257, 0, 0, false, 3);

/// Dry wood that evaporates one kg of the fuel's own water, kg (rule of thumb, MEMORY).
pub const FUEL_PER_WATER: Decimal = Decimal::from_parts(12, 0, 0, false, 2);
/// Dry wood with the energy of one kg of char, kg (rule of thumb, MEMORY).
pub const FUEL_PER_CHAR: Decimal = Decimal::from_parts(15, 0, 0, false, 1);

/// Whether the energy left in char is taken off the fuel spent.
///
/// Where any of the char is claimed as stored it must be ignored, or it would count twice.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum CharEnergy {
    Ignored,
    Credited,
}

impl CharEnergy {
    fn credited(self, char: Decimal) -> Decimal {
        match self {
            CharEnergy::Ignored => Decimal::ZERO,
            CharEnergy::Credited => char,
        }
    }
}

/// What the energy form needs to know of a fuel and of its char.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct FuelHeat {
    pub fuel: NetCalorificValueDry,
    pub char: NetCalorificValueDry,
    /// Heat that brings a kg of fuel moisture to the boil and evaporates it, MJ/kg.
    pub moisture_mj_per_kg: Decimal,
}

/// `4.186 * (T_b - T_a) + 2257` kJ/kg, here in MJ/kg; temperatures in degC
/// (water boiling test 4.2.3, MEMORY).
pub fn heat_of_moisture(boiling_c: Decimal, ambient_c: Decimal) -> Result<Decimal, UnitsError> {
    let warming = checked::product(HEAT_OF_WATER, checked::difference(boiling_c, ambient_c)?)?;
    checked::sum(warming, LATENT_HEAT)
}

/// `f_m * (1 - 1.12 M) - 1.5 * char`: the older form, of the cooking test 2.0 and of water
/// boiling tests before 4 (MEMORY).
///
/// It overstates the char's worth for fuels above about 20 MJ/kg and understates it below.
pub fn equivalent_by_rule(
    fuel: WetMass,
    moisture: WetBasisMoisture,
    char: DryMass,
    char_energy: CharEnergy,
) -> Result<EquivalentDryFuel, UnitsError> {
    let dry_share = Decimal::ONE - (Decimal::ONE + FUEL_PER_WATER) * moisture.fraction();
    let burnt = checked::product(fuel.kg(), dry_share)?;
    let kept = checked::product(FUEL_PER_CHAR, char_energy.credited(char.kg()))?;
    checked::difference(burnt, kept).map(EquivalentDryFuel::from_kg)
}

/// `[f_m * (NCV * (1 - M) - M * E_H2O) - char * NCV_char] / NCV` (water boiling test 4.2.3,
/// MEMORY).
pub fn equivalent_by_energy(
    fuel: WetMass,
    moisture: WetBasisMoisture,
    char: DryMass,
    heat: &FuelHeat,
    char_energy: CharEnergy,
) -> Result<EquivalentDryFuel, UnitsError> {
    let burnt = fuel.dried(moisture)?.heat(heat.fuel)?.mj();
    let drying = checked::product(fuel.water_kg(moisture)?, heat.moisture_mj_per_kg)?;
    let kept = char_energy.credited(char.heat(heat.char)?.mj());
    let spent = checked::difference(checked::difference(burnt, drying)?, kept)?;
    checked::quotient(spent, heat.fuel.mj_per_kg()).map(EquivalentDryFuel::from_kg)
}
