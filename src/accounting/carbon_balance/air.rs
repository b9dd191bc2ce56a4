//! Concentrations: ppm and mg/m3, and what the fire added to the background.

use super::BalanceError;
use super::test::{Air, PlumeTest};
use crate::accounting::units::{UnitsError, checked};
use rust_decimal::Decimal;

/// Molar gas constant, J/(mol K); exact in the SI since 2019, here to ten digits.
const GAS_CONSTANT: Decimal = Decimal::from_parts(4_019_495_322, 1, 0, false, 9);
const ZERO_CELSIUS_K: Decimal = Decimal::from_parts(27315, 0, 0, false, 2);

/// Molar masses, g/mol.
pub(super) const CARBON: Decimal = Decimal::from_parts(12_011, 0, 0, false, 3);
pub(super) const CO: Decimal = Decimal::from_parts(28_010, 0, 0, false, 3);
pub(super) const CO2: Decimal = Decimal::from_parts(44_009, 0, 0, false, 3);
pub(super) const CH4: Decimal = Decimal::from_parts(16_043, 0, 0, false, 3);

/// `V_m = R * T / P`, in litres per mole.
pub fn molar_volume_l(temperature_c: Decimal, pressure_pa: Decimal) -> Result<Decimal, UnitsError> {
    let kelvin = checked::sum(temperature_c, ZERO_CELSIUS_K)?;
    let energy = checked::product(
        checked::product(GAS_CONSTANT, kelvin)?,
        Decimal::ONE_THOUSAND,
    )?;
    checked::quotient(energy, pressure_pa)
}

/// `ppm * molar mass / V_m`, in mg/m3.
pub fn gas_mg_per_m3(
    ppm: Decimal,
    molar_mass: Decimal,
    molar_volume_l: Decimal,
) -> Result<Decimal, UnitsError> {
    checked::quotient(checked::product(ppm, molar_mass)?, molar_volume_l)
}

/// `mg/m3 * V_m / molar mass`, in ppm by volume.
pub fn gas_ppm(
    mg_per_m3: Decimal,
    molar_mass: Decimal,
    molar_volume_l: Decimal,
) -> Result<Decimal, UnitsError> {
    checked::quotient(checked::product(mg_per_m3, molar_volume_l)?, molar_mass)
}

/// Plume less background. Gases in ppm, particles in mg/m3.
pub(super) struct Excess {
    pub co2: Decimal,
    pub co: Decimal,
    pub ch4: Option<Decimal>,
    pub nmvoc_carbon: Option<Decimal>,
    pub pm25: Option<Decimal>,
    pub bc: Option<Decimal>,
    pub oc: Option<Decimal>,
}

impl Excess {
    pub fn of(test: &PlumeTest) -> Result<Self, BalanceError> {
        let (plume, background) = (&test.plume, &test.background);
        let both = |species, value: fn(&Air) -> Option<Decimal>| {
            optional(species, value(plume), value(background))
        };
        let co2 = risen("CO2", plume.co2_ppm, background.co2_ppm)?;
        if co2.is_zero() {
            return Err(BalanceError::NoExcess);
        }
        Ok(Excess {
            co2,
            co: risen("CO", plume.co_ppm, background.co_ppm)?,
            ch4: both("CH4", |air| air.ch4_ppm)?,
            nmvoc_carbon: both("NMVOC", |air| air.nmvoc_ppm_carbon)?,
            pm25: both("PM2.5", |air| air.pm25_mg_per_m3)?,
            bc: both("BC", |air| air.bc_mg_per_m3)?,
            oc: both("OC", |air| air.oc_mg_per_m3)?,
        })
    }
}

fn optional(
    species: &'static str,
    plume: Option<Decimal>,
    background: Option<Decimal>,
) -> Result<Option<Decimal>, BalanceError> {
    match (plume, background) {
        (Some(plume), Some(background)) => risen(species, plume, background).map(Some),
        (None, None) => Ok(None),
        _ => Err(BalanceError::OneSided(species)),
    }
}

fn risen(
    species: &'static str,
    plume: Decimal,
    background: Decimal,
) -> Result<Decimal, BalanceError> {
    if background < Decimal::ZERO {
        return Err(BalanceError::Impossible(
            "a concentration of the background cannot be below zero",
        ));
    }
    if plume < background {
        return Err(BalanceError::BelowBackground {
            species,
            plume,
            background,
        });
    }
    Ok(checked::difference(plume, background)?)
}
