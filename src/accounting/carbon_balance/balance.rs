//! The balance of one test: factors, combustion efficiency, closure.

use super::BalanceError;
use super::air::{CARBON, CH4, CO, CO2, Excess, gas_mg_per_m3, molar_volume_l};
use super::test::PlumeTest;
use crate::accounting::units::{
    BlackCarbon, CarbonDioxide, CarbonMonoxide, FactorPerKg, Fraction, Methane, Nmvoc,
    OrganicCarbon, Pm25, Species, UnitsError, checked,
};
use rust_decimal::Decimal;

/// Carbon in PM2.5 where neither it nor black and organic carbon were measured (MEMORY).
const PM25_CARBON: Decimal = Decimal::from_parts(7, 0, 0, false, 1);
/// Carbon that a hood may see over carbon that the fuel gave off (common practice, no source).
const CLOSURE_FROM: Decimal = Decimal::from_parts(80, 0, 0, false, 2);
const CLOSURE_TO: Decimal = Decimal::from_parts(120, 0, 0, false, 2);
const MG_PER_KG: Decimal = Decimal::from_parts(1_000_000, 0, 0, false, 0);
/// Sampled air outside these is a mistake, often of the unit (kelvin, hPa): degC and Pa.
const TEMPERATURES_C: (Decimal, Decimal) = (
    Decimal::from_parts(40, 0, 0, true, 0),
    Decimal::from_parts(200, 0, 0, false, 0),
);
const PRESSURES_PA: (Decimal, Decimal) = (
    Decimal::from_parts(40_000, 0, 0, false, 0),
    Decimal::from_parts(120_000, 0, 0, false, 0),
);

/// Emission factors of one test, each of its own type.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct EmissionFactors {
    pub co2: FactorPerKg<CarbonDioxide>,
    pub co: FactorPerKg<CarbonMonoxide>,
    pub ch4: Option<FactorPerKg<Methane>>,
    pub nmvoc: Option<FactorPerKg<Nmvoc>>,
    pub pm25: Option<FactorPerKg<Pm25>>,
    pub bc: Option<FactorPerKg<BlackCarbon>>,
    pub oc: Option<FactorPerKg<OrganicCarbon>>,
}

impl EmissionFactors {
    /// Species code and g/kg dry fuel of all that was measured.
    pub fn listed(&self) -> Vec<(&'static str, Decimal)> {
        fn entry<S: Species>(factor: FactorPerKg<S>) -> (&'static str, Decimal) {
            (S::CODE, factor.g_per_kg())
        }
        [
            Some(entry(self.co2)),
            Some(entry(self.co)),
            self.ch4.map(entry),
            self.nmvoc.map(entry),
            self.pm25.map(entry),
            self.bc.map(entry),
            self.oc.map(entry),
        ]
        .into_iter()
        .flatten()
        .collect()
    }
}

/// Where the carbon of a kg of dry fuel went, g carbon per kg dry fuel, worked back from the
/// factors.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Closure {
    pub fuel: Decimal,
    pub co2: Decimal,
    pub co: Decimal,
    pub ch4: Decimal,
    pub nmvoc: Decimal,
    pub pm25: Decimal,
    pub char: Decimal,
    pub ash: Decimal,
    /// Carbon that the hood saw over carbon that the fuel gave off; only a hood can know it.
    pub hood_share: Option<Decimal>,
}

impl Closure {
    /// All that is accounted for less the carbon of the fuel, g per kg dry fuel.
    pub fn gap(&self) -> Result<Decimal, UnitsError> {
        let parts = [
            self.co2, self.co, self.ch4, self.nmvoc, self.pm25, self.char, self.ash,
        ];
        checked::difference(checked::total(parts)?, self.fuel)
    }
}

/// What one test tells.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Balance {
    /// `dCO2 / (dCO2 + dCO)`.
    pub modified_combustion_efficiency: Fraction,
    /// Share of the emitted carbon that left as CO2.
    pub nominal_combustion_efficiency: Fraction,
    /// Carbon that the fire added to the air, mg/m3.
    pub carbon_mg_per_m3: Decimal,
    pub factors: EmissionFactors,
    /// Emitted carbon that is not in CO2, over that in CO2.
    pub k: Decimal,
    /// CO2 the other way, `(C_fuel - C_char - C_ash) / (1 + K)`: a cross check.
    pub co2_by_k: FactorPerKg<CarbonDioxide>,
    pub closure: Closure,
    pub notes: Vec<&'static str>,
}

/// Emission factors of one test, `EF = 1000 * (C_fuel - C_char - C_ash) * dX / sum of dC`.
///
/// # Errors
/// A plume below its background, or without any CO2 of a fire; carbon that cannot close; values
/// that no test can give.
pub fn balance(test: &PlumeTest) -> Result<Balance, BalanceError> {
    let budget = Budget::of(test)?;
    let excess = Excess::of(test)?;
    let volume = volume(test)?;
    let mut notes = notes(test, &excess);
    let carbon = Carbon::of(test, &excess, volume, &mut notes)?;
    let total = carbon.total()?;
    let emitted = budget.emitted_g()?;
    let ef = |mg_per_m3: Decimal| checked::quotient(checked::product(emitted, mg_per_m3)?, total);
    let gas = |ppm: Decimal, molar_mass| ef(gas_mg_per_m3(ppm, molar_mass, volume)?);
    let factors = EmissionFactors {
        co2: FactorPerKg::from_g_per_kg(gas(excess.co2, CO2)?),
        co: FactorPerKg::from_g_per_kg(gas(excess.co, CO)?),
        ch4: typed(excess.ch4.map(|ppm| gas(ppm, CH4)))?,
        nmvoc: typed(excess.nmvoc_carbon.map(|ppm| {
            let molar_mass = test.nmvoc_g_per_mol_carbon.unwrap_or(CARBON);
            gas(ppm, molar_mass)
        }))?,
        pm25: typed(excess.pm25.map(ef))?,
        bc: typed(excess.bc.map(ef))?,
        oc: typed(excess.oc.map(ef))?,
    };
    let k = carbon.k()?;
    let co2_carbon = checked::quotient(emitted, checked::sum(Decimal::ONE, k)?)?;
    let both = checked::sum(excess.co2, excess.co)?;
    Ok(Balance {
        modified_combustion_efficiency: share(excess.co2, both)?,
        nominal_combustion_efficiency: share(carbon.co2, total)?,
        carbon_mg_per_m3: total,
        k,
        co2_by_k: FactorPerKg::from_g_per_kg(checked::quotient(
            checked::product(co2_carbon, CO2)?,
            CARBON,
        )?),
        closure: closure(test, &budget, &carbon, &factors)?,
        factors,
        notes,
    })
}

fn typed<S: Species>(
    value: Option<Result<Decimal, UnitsError>>,
) -> Result<Option<FactorPerKg<S>>, UnitsError> {
    Ok(value.transpose()?.map(FactorPerKg::from_g_per_kg))
}

fn share(part: Decimal, whole: Decimal) -> Result<Fraction, UnitsError> {
    Fraction::from_decimal(checked::quotient(part, whole)?)
}

fn volume(test: &PlumeTest) -> Result<Decimal, BalanceError> {
    let within = |value, (from, to): (Decimal, Decimal)| value >= from && value <= to;
    if !within(test.temperature_c, TEMPERATURES_C) {
        return Err(BalanceError::Impossible(
            "the air's temperature lies outside -40 to 200 degC",
        ));
    }
    if !within(test.pressure_pa, PRESSURES_PA) {
        return Err(BalanceError::Impossible(
            "the air's pressure lies outside 40 000 to 120 000 Pa",
        ));
    }
    Ok(molar_volume_l(test.temperature_c, test.pressure_pa)?)
}

/// Carbon of a kg of dry fuel, kg.
struct Budget {
    fuel: Decimal,
    char: Decimal,
    ash: Decimal,
}

impl Budget {
    fn of(test: &PlumeTest) -> Result<Self, BalanceError> {
        let fraction = |value| Fraction::from_decimal(value).map(Fraction::value);
        let fuel = fraction(test.fuel_carbon)?;
        let char = match &test.char {
            Some(char) => fraction(char.mass_yield)? * fraction(char.carbon)?,
            None => Decimal::ZERO,
        };
        let ash = fraction(test.ash_carbon.unwrap_or_default())?;
        if char + ash >= fuel {
            return Err(BalanceError::NothingEmitted {
                kept: char + ash,
                fuel,
            });
        }
        Ok(Budget { fuel, char, ash })
    }

    /// g carbon emitted per kg dry fuel.
    fn emitted_g(&self) -> Result<Decimal, UnitsError> {
        checked::product(self.fuel - self.char - self.ash, Decimal::ONE_THOUSAND)
    }
}

/// Carbon that the fire added to the air, mg/m3.
struct Carbon {
    co2: Decimal,
    co: Decimal,
    ch4: Decimal,
    nmvoc: Decimal,
    pm25: Decimal,
}

impl Carbon {
    fn of(
        test: &PlumeTest,
        excess: &Excess,
        volume: Decimal,
        notes: &mut Vec<&'static str>,
    ) -> Result<Self, BalanceError> {
        let gas = |ppm: Option<Decimal>| gas_mg_per_m3(ppm.unwrap_or_default(), CARBON, volume);
        if excess.nmvoc_carbon.is_some() {
            let molar_mass = test.nmvoc_g_per_mol_carbon;
            if molar_mass.is_none_or(|grams| grams < CARBON) {
                return Err(BalanceError::Impossible(
                    "NMVOC needs its mass per mole of carbon, which is at least that of carbon, \
                     12.011 g",
                ));
            }
        }
        Ok(Carbon {
            co2: gas(Some(excess.co2))?,
            co: gas(Some(excess.co))?,
            ch4: gas(excess.ch4)?,
            nmvoc: gas(excess.nmvoc_carbon)?,
            pm25: particle_carbon(test, excess, notes)?,
        })
    }

    fn total(&self) -> Result<Decimal, UnitsError> {
        checked::total([self.co2, self.co, self.ch4, self.nmvoc, self.pm25])
    }

    /// Ratios to the carbon in CO2, added up.
    fn k(&self) -> Result<Decimal, UnitsError> {
        [self.co, self.ch4, self.nmvoc, self.pm25]
            .into_iter()
            .map(|carbon| checked::quotient(carbon, self.co2))
            .try_fold(Decimal::ZERO, |k, ratio| checked::sum(k, ratio?))
    }
}

/// Carbon in the particles, mg/m3: by the measured share, else black and organic carbon, else by
/// the default share.
fn particle_carbon(
    test: &PlumeTest,
    excess: &Excess,
    notes: &mut Vec<&'static str>,
) -> Result<Decimal, BalanceError> {
    let of_filters = checked::sum(excess.bc.unwrap_or_default(), excess.oc.unwrap_or_default())?;
    let Some(pm25) = excess.pm25 else {
        return Ok(of_filters);
    };
    if of_filters > pm25 {
        return Err(BalanceError::Impossible(
            "black and organic carbon together weigh more than the PM2.5 that holds them",
        ));
    }
    if let Some(carbon) = test.pm25_carbon {
        let carbon = checked::product(pm25, Fraction::from_decimal(carbon)?.value())?;
        if carbon < of_filters {
            return Err(BalanceError::Impossible(
                "black and organic carbon together are more than the carbon stated for PM2.5",
            ));
        }
        return Ok(carbon);
    }
    if excess.bc.is_some() && excess.oc.is_some() {
        return Ok(of_filters);
    }
    notes.push("The carbon in PM2.5 was not measured: 0.7 of its mass is assumed (MEMORY).");
    Ok(checked::product(pm25, PM25_CARBON)?.max(of_filters))
}

fn notes(test: &PlumeTest, excess: &Excess) -> Vec<&'static str> {
    let mut notes = Vec::new();
    if test.char.is_none() {
        notes.push(
            "The char is left out: all carbon of the fuel is taken as emitted. Where any char is \
             left over, this overstates every factor.",
        );
    }
    if excess.ch4.is_none() || excess.nmvoc_carbon.is_none() {
        notes.push(
            "Methane or other volatile compounds were not measured: their carbon is missing from \
             the sum, which overstates the other factors a little.",
        );
    }
    if excess.pm25.is_none() && (excess.bc.is_none() || excess.oc.is_none()) {
        notes.push(
            "Particles were not measured in full: their carbon is missing from the sum, which \
             overstates the other factors a little.",
        );
    }
    if test.hood.is_none() {
        notes.push(
            "A plume shows ratios only: that all carbon was seen can be checked under a hood alone.",
        );
    }
    notes
}

fn closure(
    test: &PlumeTest,
    budget: &Budget,
    carbon: &Carbon,
    factors: &EmissionFactors,
) -> Result<Closure, BalanceError> {
    let carbon_of = |g_per_kg: Decimal, molar_mass: Decimal| {
        checked::quotient(checked::product(g_per_kg, CARBON)?, molar_mass)
    };
    let grams = |kg: Decimal| checked::product(kg, Decimal::ONE_THOUSAND);
    let emitted = budget.emitted_g()?;
    let total = carbon.total()?;
    let ch4 = factors.ch4.map_or(Decimal::ZERO, FactorPerKg::g_per_kg);
    let nmvoc = factors.nmvoc.map_or(Decimal::ZERO, FactorPerKg::g_per_kg);
    let nmvoc_mass = test.nmvoc_g_per_mol_carbon.unwrap_or(CARBON);
    Ok(Closure {
        fuel: grams(budget.fuel)?,
        co2: carbon_of(factors.co2.g_per_kg(), CO2)?,
        co: carbon_of(factors.co.g_per_kg(), CO)?,
        ch4: carbon_of(ch4, CH4)?,
        nmvoc: carbon_of(nmvoc, nmvoc_mass)?,
        pm25: checked::product(emitted, checked::quotient(carbon.pm25, total)?)?,
        char: grams(budget.char)?,
        ash: grams(budget.ash)?,
        hood_share: hood_share(test, total, emitted)?,
    })
}

/// `carbon in the exhaust / carbon that the fuel gave off`.
fn hood_share(
    test: &PlumeTest,
    carbon_mg_per_m3: Decimal,
    emitted_g_per_kg: Decimal,
) -> Result<Option<Decimal>, BalanceError> {
    let Some(hood) = &test.hood else {
        return Ok(None);
    };
    if hood.exhaust_m3 <= Decimal::ZERO || hood.fuel_dry_kg <= Decimal::ZERO {
        return Err(BalanceError::Impossible(
            "a hood test has exhaust and fuel above zero",
        ));
    }
    let seen_kg = checked::quotient(
        checked::product(carbon_mg_per_m3, hood.exhaust_m3)?,
        MG_PER_KG,
    )?;
    let emitted_kg = checked::quotient(
        checked::product(emitted_g_per_kg, hood.fuel_dry_kg)?,
        Decimal::ONE_THOUSAND,
    )?;
    let share = checked::quotient(seen_kg, emitted_kg)?;
    if share < CLOSURE_FROM || share > CLOSURE_TO {
        return Err(BalanceError::Closure {
            share: share.round_dp(4),
        });
    }
    Ok(Some(share))
}
