//! What one burn of a stove tells: efficiencies, rates, emissions per energy delivered.

use super::equivalent::{
    CharEnergy, FuelHeat, HEAT_OF_WATER, LATENT_HEAT, equivalent_by_energy, equivalent_by_rule,
    heat_of_moisture,
};
use super::{TestError, must};
use crate::accounting::evidence::StoveTest;
use crate::accounting::units::{
    CarbonMonoxide, DryMass, EmissionMass, Energy, EquivalentDryFuel, FactorPerMegajouleDelivered,
    Fraction, NetCalorificValueDry, Pm25, UnitsError, UsefulEnergy, WetBasisMoisture, WetMass,
    checked,
};
use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// Latent heat in older protocols, MJ/kg.
const LATENT_HEAT_OLDER: Decimal = Decimal::from_parts(2260, 0, 0, false, 3);
/// Rise that time and specific consumption are corrected to, K.
const STANDARD_RISE: Decimal = Decimal::from_parts(75, 0, 0, false, 0);
/// Water this far below its boiling point still counts as boiling, K (our reading of a
/// thermometer; common practice, no source).
const BOILING_TOLERANCE: Decimal = Decimal::ONE;
/// Water hotter than this is a mistake, degC.
const HOTTEST_WATER: Decimal = Decimal::from_parts(105, 0, 0, false, 0);
const SECONDS_PER_MINUTE: Decimal = Decimal::from_parts(60, 0, 0, false, 0);

/// Which rules a test is worked out by.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize, ToSchema)]
pub enum Protocol {
    /// Fuel energy by its net calorific value as fired; latent heat 2257 kJ/kg.
    #[default]
    #[serde(rename = "iso_19867_1")]
    Iso19867,
    /// Moisture of the fuel brought to the local boiling point and evaporated; latent heat of
    /// the pot's water 2260 kJ/kg.
    #[serde(rename = "wbt_4_2_3")]
    WaterBoiling,
}

impl Protocol {
    /// Heat that evaporates the pot's water, MJ/kg.
    fn latent_heat(self) -> Decimal {
        match self {
            Protocol::Iso19867 => LATENT_HEAT,
            Protocol::WaterBoiling => LATENT_HEAT_OLDER,
        }
    }
}

/// What a test's row does not say.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Conditions {
    pub protocol: Protocol,
    /// Of the laboratory; without it nothing is stated that needs the local boiling point.
    pub altitude_m: Option<Decimal>,
}

/// Results of one burn.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Performance {
    pub useful: UsefulEnergy,
    /// Net energy of the fuel as fired.
    pub fuel: Energy,
    /// Net energy of the char left over.
    pub char: Energy,
    pub efficiency_without_char: Fraction,
    pub efficiency_with_char: Fraction,
    /// Energy of the char over energy of the fuel.
    pub char_energy_productivity: Fraction,
    /// Dry char over dry fuel.
    pub char_mass_productivity: Fraction,
    /// Dry fuel burnt, g/min.
    pub burning_rate_g_per_min: Decimal,
    /// Heat set free, the char's left out, over the time, kW.
    pub firepower_kw: Decimal,
    pub carbon_monoxide: Option<FactorPerMegajouleDelivered<CarbonMonoxide>>,
    pub pm25: Option<FactorPerMegajouleDelivered<Pm25>>,
    /// g/min.
    pub carbon_monoxide_g_per_min: Option<Decimal>,
    /// mg/min.
    pub pm25_mg_per_min: Option<Decimal>,
    /// By the older rule of thumb, the char credited.
    pub equivalent_by_rule: EquivalentDryFuel,
    /// Where the altitude is known.
    pub boiling: Option<Boiling>,
}

/// Results that need the local boiling point; protocol WBT 4.2.3 (MEMORY).
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Boiling {
    pub boiling_point_c: Decimal,
    /// Char credited.
    pub equivalent: EquivalentDryFuel,
    /// g equivalent dry fuel per litre of effectively boiled water, char credited.
    pub specific_consumption_g_per_l: Decimal,
    /// As if the water had been heated by 75 K.
    pub specific_consumption_corrected_g_per_l: Decimal,
    /// Equivalent dry fuel over time, g/min.
    pub equivalent_burning_rate_g_per_min: Decimal,
    /// Time of the test as if the water had been heated by 75 K; only of a test that boiled.
    /// It is a time to boil where the test ended at the boil.
    pub time_to_boil_corrected_min: Option<Decimal>,
}

/// `T_b = 100 - altitude / 300` degC, the protocol's rule of thumb (MEMORY).
///
/// # Errors
/// An altitude outside -500 m to 6000 m.
pub fn local_boiling_point_c(altitude_m: Decimal) -> Result<Decimal, TestError> {
    let inhabited = Decimal::from(-500)..=Decimal::from(6000);
    must(
        inhabited.contains(&altitude_m),
        "the altitude lies outside -500 m to 6000 m",
    )?;
    Ok(Decimal::ONE_HUNDRED - altitude_m / Decimal::from(300))
}

/// Thermal efficiency without the char's energy, by ISO 19867-1: useful energy over the net
/// energy of all fuel as fired. A fraction.
///
/// # Errors
/// A row that no test can give.
pub fn efficiency_without_char(test: &StoveTest) -> Result<Decimal, TestError> {
    Ok(performance(test, &Conditions::default())?
        .efficiency_without_char
        .value())
}

/// Everything that one burn tells.
///
/// # Errors
/// A row that no test can give, e.g. more water at the end than at the start; protocol WBT
/// without an altitude.
pub fn performance(test: &StoveTest, conditions: &Conditions) -> Result<Performance, TestError> {
    check(test)?;
    let burn = Burn::of(test)?;
    let boiling_c = conditions
        .altitude_m
        .map(local_boiling_point_c)
        .transpose()?;
    let useful = useful_energy(test, conditions.protocol)?;
    let fuel = burn.fuel_energy(test, conditions.protocol, boiling_c)?;
    let char = burn.char.heat(burn.char_ncv)?;
    must(
        fuel.mj() > Decimal::ZERO,
        "the fuel is too wet to give any heat",
    )?;
    must(
        char < fuel,
        "the char left over holds more energy than the fuel burnt",
    )?;
    let released = fuel.checked_sub(char)?;
    must(
        useful.mj() <= released.mj(),
        "the water took up more heat than the fire set free",
    )?;
    let carbon_monoxide = test.co_g.map(EmissionMass::<CarbonMonoxide>::from_g);
    let pm25 = test.pm25_mg.map(grams).transpose()?;
    let per_minute = |amount| checked::quotient(amount, test.minutes);
    Ok(Performance {
        useful,
        fuel,
        char,
        efficiency_without_char: useful.efficiency(fuel)?,
        efficiency_with_char: useful.efficiency(released)?,
        char_energy_productivity: char.share_of(fuel)?,
        char_mass_productivity: Fraction::from_decimal(checked::quotient(
            burn.char.kg(),
            burn.dry.kg(),
        )?)?,
        burning_rate_g_per_min: checked::product(
            per_minute(burn.dry.kg())?,
            Decimal::ONE_THOUSAND,
        )?,
        firepower_kw: checked::quotient(
            checked::product(per_minute(released.mj())?, Decimal::ONE_THOUSAND)?,
            SECONDS_PER_MINUTE,
        )?,
        carbon_monoxide: carbon_monoxide
            .map(|mass| mass.per_delivered(useful))
            .transpose()?,
        pm25: pm25.map(|mass| mass.per_delivered(useful)).transpose()?,
        carbon_monoxide_g_per_min: test.co_g.map(per_minute).transpose()?,
        pm25_mg_per_min: test.pm25_mg.map(per_minute).transpose()?,
        equivalent_by_rule: equivalent_by_rule(
            burn.wet,
            burn.moisture,
            burn.char,
            CharEnergy::Credited,
        )?,
        boiling: boiling_c
            .map(|boiling_c| burn.boiling(test, boiling_c))
            .transpose()?,
    })
}

fn grams(mg: Decimal) -> Result<EmissionMass<Pm25>, UnitsError> {
    checked::quotient(mg, Decimal::ONE_THOUSAND).map(EmissionMass::from_g)
}

fn check(test: &StoveTest) -> Result<(), TestError> {
    let zero = Decimal::ZERO;
    let water = zero..=HOTTEST_WATER;
    let none_below = |value: Option<Decimal>| value.is_none_or(|value| value >= zero);
    let scored = |value: Option<Decimal>| {
        value.is_none_or(|value| (zero..=Decimal::ONE_HUNDRED).contains(&value))
    };
    let possible = [
        (test.fuel_wet_kg > zero, "no fuel was burnt"),
        (
            test.fuel_ncv_dry_mj_per_kg > zero,
            "the calorific value of the fuel must be above zero",
        ),
        (
            test.char_ncv_mj_per_kg > zero || test.char_left_kg.is_zero(),
            "the calorific value of the char must be above zero",
        ),
        (
            test.char_left_kg >= zero,
            "char left over cannot weigh less than nothing",
        ),
        (test.minutes > zero, "the test took no time"),
        (
            test.water_start_kg > zero && test.water_end_kg >= zero,
            "there was no water in the pot",
        ),
        (
            test.water_end_kg <= test.water_start_kg,
            "there was more water at the end than at the start",
        ),
        (
            water.contains(&test.water_start_c) && water.contains(&test.water_end_c),
            "water lies between 0 and 105 degC",
        ),
        (
            test.water_end_c >= test.water_start_c,
            "the water was colder at the end than at the start",
        ),
        (
            scored(test.safety_score) && scored(test.durability_score),
            "a score lies between 0 and 100",
        ),
        (
            none_below(test.co_g) && none_below(test.pm25_mg),
            "an emission cannot be below zero; correct the background first",
        ),
    ];
    possible
        .into_iter()
        .try_for_each(|(possible, words)| must(possible, words))
}

/// `4.186 kJ/(kg K) * water * rise + latent heat * water evaporated`.
fn useful_energy(test: &StoveTest, protocol: Protocol) -> Result<UsefulEnergy, TestError> {
    let rise = checked::difference(test.water_end_c, test.water_start_c)?;
    let warmed = checked::product(checked::product(HEAT_OF_WATER, test.water_start_kg)?, rise)?;
    let evaporated = checked::difference(test.water_start_kg, test.water_end_kg)?;
    let boiled_off = checked::product(evaporated, protocol.latent_heat())?;
    let useful = checked::sum(warmed, boiled_off)?;
    must(useful > Decimal::ZERO, "the water took up no heat")?;
    Ok(UsefulEnergy::from_mj(useful))
}

/// Fuel and char of one burn, on their bases.
struct Burn {
    wet: WetMass,
    moisture: WetBasisMoisture,
    dry: DryMass,
    char: DryMass,
    ncv: NetCalorificValueDry,
    char_ncv: NetCalorificValueDry,
}

impl Burn {
    fn of(test: &StoveTest) -> Result<Self, TestError> {
        let wet = WetMass::from_kg(test.fuel_wet_kg);
        let moisture = WetBasisMoisture::from_fraction(test.moisture_wb)?;
        let dry = wet.dried(moisture)?;
        let char = DryMass::from_kg(test.char_left_kg);
        must(
            char <= dry,
            "more char was left over than dry fuel was burnt",
        )?;
        Ok(Burn {
            wet,
            moisture,
            dry,
            char,
            ncv: NetCalorificValueDry::from_mj_per_kg(test.fuel_ncv_dry_mj_per_kg),
            char_ncv: NetCalorificValueDry::from_mj_per_kg(test.char_ncv_mj_per_kg),
        })
    }

    fn fuel_energy(
        &self,
        test: &StoveTest,
        protocol: Protocol,
        boiling_c: Option<Decimal>,
    ) -> Result<Energy, TestError> {
        match protocol {
            Protocol::Iso19867 => Ok(self.wet.heat(self.ncv.as_received(self.moisture)?)?),
            Protocol::WaterBoiling => {
                let boiling_c = boiling_c.ok_or(TestError::Impossible(
                    "protocol wbt_4_2_3 needs the altitude, for the local boiling point",
                ))?;
                let spent = self.equivalent(test, boiling_c, CharEnergy::Ignored)?;
                Ok(DryMass::from_kg(spent.kg()).heat(self.ncv)?)
            }
        }
    }

    /// The water at the start stands for the ambient temperature, as the protocol has it.
    fn equivalent(
        &self,
        test: &StoveTest,
        boiling_c: Decimal,
        char_energy: CharEnergy,
    ) -> Result<EquivalentDryFuel, TestError> {
        let heat = FuelHeat {
            fuel: self.ncv,
            char: self.char_ncv,
            moisture_mj_per_kg: heat_of_moisture(boiling_c, test.water_start_c)?,
        };
        Ok(equivalent_by_energy(
            self.wet,
            self.moisture,
            self.char,
            &heat,
            char_energy,
        )?)
    }

    fn boiling(&self, test: &StoveTest, boiling_point_c: Decimal) -> Result<Boiling, TestError> {
        must(
            test.water_start_c < boiling_point_c && test.water_start_c < test.water_end_c,
            "water that starts at the boil, or is not heated, tells nothing of boiling it",
        )?;
        must(
            test.water_end_kg > Decimal::ZERO,
            "no water was left in the pot",
        )?;
        let equivalent = self.equivalent(test, boiling_point_c, CharEnergy::Credited)?;
        let rise = checked::difference(test.water_end_c, test.water_start_c)?;
        let whole_rise = checked::difference(boiling_point_c, test.water_start_c)?;
        let corrected = |value| checked::quotient(checked::product(value, STANDARD_RISE)?, rise);
        let boiled = checked::product(test.water_end_kg, checked::quotient(rise, whole_rise)?)?;
        let grams = checked::product(equivalent.kg(), Decimal::ONE_THOUSAND)?;
        let specific = checked::quotient(grams, boiled)?;
        let boils = checked::sum(test.water_end_c, BOILING_TOLERANCE)? >= boiling_point_c;
        Ok(Boiling {
            boiling_point_c,
            equivalent,
            specific_consumption_g_per_l: specific,
            specific_consumption_corrected_g_per_l: corrected(specific)?,
            equivalent_burning_rate_g_per_min: checked::quotient(grams, test.minutes)?,
            time_to_boil_corrected_min: boils.then(|| corrected(test.minutes)).transpose()?,
        })
    }
}
