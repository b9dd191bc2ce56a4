//! Replicates of carbon-balance tests: means, their doubt, and factors ready for the library.

use super::BalanceError;
use super::balance::{Balance, balance};
use super::test::PlumeTest;
use crate::accounting::cautions;
use crate::accounting::factor::{Factor, Quantity, SourceMark};
use crate::accounting::methodology::CharPlace;
use crate::accounting::replicates::{FactorNaming, Replicates, citation, stated};
use crate::accounting::rounding::{FIGURE_DIGITS, to_digits};
use crate::accounting::stove_test::{
    EmissionRate, RateCheck, TestError, WHO_CAUTION, check_rate, rate_per_minute,
};
use crate::accounting::units::{CarbonDioxide, Species, checked};
use rust_decimal::Decimal;
use serde::Serialize;
use std::collections::{BTreeMap, BTreeSet};
use utoipa::ToSchema;

/// Unit of every factor of a carbon balance.
const UNIT: &str = "g/kg dry fuel";

/// One emission factor of one test.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct SpeciesValue {
    pub species: &'static str,
    /// g per kg dry fuel.
    #[serde(serialize_with = "stated")]
    pub g_per_kg_dry_fuel: Decimal,
}

/// Where the carbon of a kg of dry fuel went, g per kg dry fuel.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct CarbonSplit {
    #[serde(serialize_with = "stated")]
    pub fuel: Decimal,
    /// In all gases and particles.
    #[serde(serialize_with = "stated")]
    pub emitted: Decimal,
    #[serde(serialize_with = "stated")]
    pub char: Decimal,
    #[serde(serialize_with = "stated")]
    pub ash: Decimal,
    /// Carbon that the hood saw over carbon that the fuel gave off; null for a plume.
    #[serde(serialize_with = "stated_option")]
    pub hood_share: Option<Decimal>,
}

/// What one test tells.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct TestBalance {
    pub test_code: String,
    #[serde(serialize_with = "stated")]
    pub modified_combustion_efficiency: Decimal,
    #[serde(serialize_with = "stated")]
    pub nominal_combustion_efficiency: Decimal,
    pub emission_factors: Vec<SpeciesValue>,
    /// CO2 by the K form, a cross check, g per kg dry fuel.
    #[serde(serialize_with = "stated")]
    pub co2_by_k: Decimal,
    pub carbon: CarbonSplit,
    /// Beside the targets of WHO 2014, where the burning rate was given.
    pub rates_who_2014: Vec<RateCheck>,
    pub notes: Vec<&'static str>,
}

/// Replicates of one species, g/kg dry fuel.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct SpeciesSummary {
    pub species: &'static str,
    pub unit: &'static str,
    #[serde(flatten)]
    pub replicates: Replicates,
    /// Ready to be added to the library; absent where no naming was given or one test stands
    /// alone.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub factor: Option<Factor>,
}

/// What carbon-balance tests of one device and fuel tell, one by one and together.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct BalanceReport {
    pub device: String,
    pub fuel: String,
    pub tests: Vec<TestBalance>,
    pub modified_combustion_efficiency: Replicates,
    pub nominal_combustion_efficiency: Replicates,
    pub species: Vec<SpeciesSummary>,
    pub notes: Vec<&'static str>,
    pub cautions: Vec<&'static str>,
}

/// Draws the balance of every test and summarises the replicates.
///
/// # Errors
/// No test; a code that stands twice; tests of several devices or fuels, or of which only some
/// take char into account; a test that cannot be, named by its code; a factor code that cannot
/// be.
pub fn report(
    tests: &[PlumeTest],
    naming: Option<&FactorNaming>,
) -> Result<BalanceReport, BalanceError> {
    let first = alike(tests)?;
    let mut balances = Vec::with_capacity(tests.len());
    let mut values: BTreeMap<&'static str, Vec<Decimal>> = BTreeMap::new();
    let mut species_in_order = Vec::new();
    for test in tests {
        let found = balance(test).map_err(in_test(test))?;
        for (species, value) in found.factors.listed() {
            if !species_in_order.contains(&species) {
                species_in_order.push(species);
            }
            values.entry(species).or_default().push(value);
        }
        balances.push(found);
    }
    let efficiencies =
        |of: fn(&Balance) -> Decimal| Replicates::of(&balances.iter().map(of).collect::<Vec<_>>());
    let mce = efficiencies(|found| found.modified_combustion_efficiency.value())?;
    let species = species_in_order
        .into_iter()
        .map(|species| {
            let replicates = Replicates::of(values.get(species).map_or(&[], Vec::as_slice))?;
            let factor = match naming {
                Some(naming) if replicates.doubt.is_some() => {
                    Some(to_factor(species, &replicates, tests, &mce, naming)?)
                }
                _ => None,
            };
            Ok(SpeciesSummary {
                species,
                unit: UNIT,
                replicates,
                factor,
            })
        })
        .collect::<Result<_, BalanceError>>()?;
    Ok(BalanceReport {
        device: first.device.clone(),
        fuel: first.fuel.clone(),
        modified_combustion_efficiency: mce,
        nominal_combustion_efficiency: efficiencies(|found| {
            found.nominal_combustion_efficiency.value()
        })?,
        tests: tests
            .iter()
            .zip(&balances)
            .map(|(test, found)| test_balance(test, found).map_err(in_test(test)))
            .collect::<Result<_, _>>()?,
        species,
        notes: vec![WHO_CAUTION],
        cautions: cautions::stove().to_vec(),
    })
}

fn in_test(test: &PlumeTest) -> impl FnOnce(BalanceError) -> BalanceError {
    let code = test.test_code.clone();
    move |reason| BalanceError::Test {
        code,
        reason: Box::new(reason),
    }
}

/// The first of tests that are replicates of one another.
fn alike(tests: &[PlumeTest]) -> Result<&PlumeTest, BalanceError> {
    let first = tests.first().ok_or(TestError::NoTest)?;
    let mut seen = BTreeSet::new();
    for test in tests {
        if !seen.insert(&test.test_code) {
            return Err(TestError::Twice(test.test_code.clone()).into());
        }
        if (&test.device, &test.fuel) != (&first.device, &first.fuel) {
            return Err(BalanceError::Mixed(
                "tests of several devices or fuels have no common mean; send each set by itself",
            ));
        }
        if test.char.is_some() != first.char.is_some() {
            return Err(BalanceError::Mixed(
                "some tests take the char into account and some do not; send each set by itself",
            ));
        }
    }
    Ok(first)
}

fn test_balance(test: &PlumeTest, found: &Balance) -> Result<TestBalance, BalanceError> {
    let closure = &found.closure;
    let emitted = checked::difference(
        checked::difference(closure.fuel, closure.char)?,
        closure.ash,
    )?;
    Ok(TestBalance {
        test_code: test.test_code.clone(),
        modified_combustion_efficiency: found.modified_combustion_efficiency.value(),
        nominal_combustion_efficiency: found.nominal_combustion_efficiency.value(),
        emission_factors: found
            .factors
            .listed()
            .into_iter()
            .map(|(species, g_per_kg_dry_fuel)| SpeciesValue {
                species,
                g_per_kg_dry_fuel,
            })
            .collect(),
        co2_by_k: found.co2_by_k.g_per_kg(),
        carbon: CarbonSplit {
            fuel: closure.fuel,
            emitted: checked::sum(emitted, closure.gap()?)?,
            char: closure.char,
            ash: closure.ash,
            hood_share: closure.hood_share,
        },
        rates_who_2014: rates(test, found)?,
        notes: found.notes.clone(),
    })
}

fn rates(test: &PlumeTest, found: &Balance) -> Result<Vec<RateCheck>, BalanceError> {
    let Some(burning) = test.fuel_dry_kg_per_h else {
        return Ok(Vec::new());
    };
    if burning <= Decimal::ZERO {
        return Err(BalanceError::Impossible(
            "the burning rate must be above zero",
        ));
    }
    let mut rates = Vec::new();
    if let Some(pm25) = found.factors.pm25 {
        let mg = checked::product(rate_per_minute(pm25, burning)?, Decimal::ONE_THOUSAND)?;
        rates.push(check_rate(EmissionRate::Pm25, mg));
    }
    let co = rate_per_minute(found.factors.co, burning)?;
    rates.push(check_rate(EmissionRate::CarbonMonoxide, co));
    Ok(rates)
}

/// One species of `tests` as a version for the library.
///
/// # Errors
/// Fewer than two replicates; a code that cannot be.
pub fn to_factor(
    species: &'static str,
    replicates: &Replicates,
    tests: &[PlumeTest],
    modified_combustion_efficiency: &Replicates,
    naming: &FactorNaming,
) -> Result<Factor, BalanceError> {
    let first = tests.first().ok_or(TestError::NoTest)?;
    let (value, spread) = replicates.factor_value(None)?;
    let cited = tests.iter().map(|test| {
        (
            test.test_code.as_str(),
            test.laboratory.as_str(),
            test.tested_on,
        )
    });
    let co2_without_char = species == CarbonDioxide::CODE && first.char.is_some();
    Ok(Factor {
        code: naming.factor_code(&[&first.device, &first.fuel, species])?,
        version: naming.version,
        quantity: Quantity::EmissionFactor,
        species: Some(species.to_owned()),
        device: Some(first.device.clone()),
        fuel: naming.fuel_class.clone(),
        value,
        unit: UNIT.to_owned(),
        spread,
        source: citation("Carbon-balance tests", cited),
        mark: SourceMark::Computed,
        note: Some(format!(
            "{} Modified combustion efficiency {}. Fuel: {}. {}",
            replicates.words(UNIT),
            to_digits(modified_combustion_efficiency.mean, FIGURE_DIGITS),
            first.fuel,
            char_words(first.char.is_some(), co2_without_char),
        )),
        char_treatment: co2_without_char.then_some(CharPlace::CarbonBalance),
        gwp_set: None,
    })
}

fn char_words(char_taken_off: bool, co2: bool) -> &'static str {
    match (char_taken_off, co2) {
        (true, true) => {
            "The carbon left in char is taken off the fuel's carbon and so left out of this CO2: \
             the same char must not be counted as stored, nor its energy credited."
        }
        (true, false) => "The carbon left in char is taken off the fuel's carbon.",
        (false, _) => {
            "The char is left out: all carbon of the fuel is taken as emitted, which overstates \
             this factor where any char is left over."
        }
    }
}

fn stated_option<S: serde::Serializer>(
    value: &Option<Decimal>,
    serializer: S,
) -> Result<S::Ok, S::Error> {
    match value {
        Some(value) => stated(value, serializer),
        None => serializer.serialize_none(),
    }
}
