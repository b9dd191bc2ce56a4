//! Replicates of stove tests: by device, fuel and age of the stove.

use super::emission_rate::{RateCheck, WHO_CAUTION, check_rate};
use super::measure::{Measure, Measured, measures};
use super::performance::{Conditions, Protocol, performance};
use super::tiers::{LARGEST_FIREPOWER_KW, TIERS_NOTE, TierMetric, TierReading};
use super::{TestError, must};
use crate::accounting::cautions;
use crate::accounting::evidence::StoveTest;
use crate::accounting::factor::{Factor, Quantity, SourceMark};

use crate::accounting::replicates::{FactorNaming, Replicates, citation};
use crate::accounting::rounding::{NODE_DIGITS, to_digits};
use rust_decimal::Decimal;
use serde::Serialize;
use std::collections::{BTreeMap, BTreeSet};
use utoipa::ToSchema;

const EFFICIENCY_UNIT: &str = "fraction, without the char's energy";

/// One measured value.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct MeasuredValue {
    pub measure: Measure,
    pub unit: &'static str,
    #[serde(serialize_with = "crate::accounting::replicates::stated")]
    pub value: Decimal,
}

/// All that one test tells.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct TestMeasures {
    pub test_code: String,
    pub measures: Vec<MeasuredValue>,
}

/// Replicates of one measure.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct MeasureSummary {
    pub measure: Measure,
    pub unit: &'static str,
    #[serde(flatten)]
    pub replicates: Replicates,
    /// Absent where the measure has no tiers.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub tier: Option<TierReading>,
    /// The mean beside the targets of WHO 2014; absent where there is none.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub who_2014: Option<RateCheck>,
}

/// Replicates of one device, fuel and age.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct GroupSummary {
    pub device: String,
    pub fuel: String,
    /// Whole years that the stoves had been in use.
    pub stove_age_years: u32,
    pub tests: Vec<String>,
    pub measures: Vec<MeasureSummary>,
    pub notes: Vec<String>,
    /// A thermal efficiency without the char's energy, ready to be added to the library; absent
    /// where no naming was given or one test stands alone.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub factor: Option<Factor>,
}

/// What stove tests tell, one by one and together.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct StoveTestSummary {
    pub protocol: Protocol,
    pub tests: Vec<TestMeasures>,
    pub groups: Vec<GroupSummary>,
    pub notes: Vec<&'static str>,
    pub cautions: Vec<&'static str>,
}

/// Works out every test and summarises the replicates of each device, fuel and age.
///
/// # Errors
/// No test; a test code that stands twice; a test that cannot be, named by its code; a factor
/// code that cannot be.
pub fn summarise(
    tests: &[StoveTest],
    conditions: &Conditions,
    naming: Option<&FactorNaming>,
) -> Result<StoveTestSummary, TestError> {
    if tests.is_empty() {
        return Err(TestError::NoTest);
    }
    let mut seen = BTreeSet::new();
    let mut groups: BTreeMap<(&str, &str, u32), Vec<&StoveTest>> = BTreeMap::new();
    let mut measured = BTreeMap::new();
    for test in tests {
        let code = test.test_code.as_str();
        if !seen.insert(code) {
            return Err(TestError::Twice(code.to_owned()));
        }
        let values = performance(test, conditions)
            .and_then(|found| measures(test, &found))
            .map_err(TestError::of(code))?;
        measured.insert(code, values);
        groups
            .entry((&test.device, &test.fuel, test.stove_age_years))
            .or_default()
            .push(test);
    }
    Ok(StoveTestSummary {
        protocol: conditions.protocol,
        groups: groups
            .into_values()
            .map(|group| summary_of(&group, &measured, conditions.protocol, naming))
            .collect::<Result<_, _>>()?,
        tests: tests
            .iter()
            .map(|test| TestMeasures {
                test_code: test.test_code.clone(),
                measures: measured
                    .get(test.test_code.as_str())
                    .into_iter()
                    .flatten()
                    .map(|(measure, value)| MeasuredValue {
                        measure: *measure,
                        unit: measure.unit(),
                        value: *value,
                    })
                    .collect(),
            })
            .collect(),
        notes: vec![TIERS_NOTE, WHO_CAUTION],
        cautions: cautions::stove().to_vec(),
    })
}

fn summary_of(
    group: &[&StoveTest],
    measured: &BTreeMap<&str, Measured>,
    protocol: Protocol,
    naming: Option<&FactorNaming>,
) -> Result<GroupSummary, TestError> {
    let first = group.first().ok_or(TestError::NoTest)?;
    let mut values: BTreeMap<Measure, Vec<Decimal>> = BTreeMap::new();
    for (measure, value) in group
        .iter()
        .filter_map(|test| measured.get(test.test_code.as_str()))
        .flatten()
    {
        values.entry(*measure).or_default().push(*value);
    }
    let replicates: BTreeMap<Measure, Replicates> = values
        .into_iter()
        .map(|(measure, values)| Ok((measure, Replicates::of(&values)?)))
        .collect::<Result<_, TestError>>()?;
    let too_strong = replicates
        .get(&Measure::Firepower)
        .is_some_and(|firepower| firepower.mean > LARGEST_FIREPOWER_KW);
    let efficiency = replicates.get(&Measure::ThermalEfficiencyWithoutChar);
    let factor = match (naming, efficiency) {
        (Some(naming), Some(efficiency)) if efficiency.doubt.is_some() => {
            Some(factor(group, efficiency, protocol, naming)?)
        }
        _ => None,
    };
    Ok(GroupSummary {
        device: first.device.clone(),
        fuel: first.fuel.clone(),
        stove_age_years: first.stove_age_years,
        tests: group.iter().map(|test| test.test_code.clone()).collect(),
        notes: notes(group.len(), too_strong, &replicates),
        measures: replicates
            .into_iter()
            .map(|(measure, replicates)| measure_summary(measure, replicates, too_strong))
            .collect(),
        factor,
    })
}

fn measure_summary(measure: Measure, replicates: Replicates, too_strong: bool) -> MeasureSummary {
    // A statistic ends in noise; a mean that stands on a bound must read as that bound.
    let settled = |value| to_digits(value, NODE_DIGITS);
    let mean = settled(replicates.mean);
    let interval = replicates
        .interval()
        .map(|(lower, upper)| (settled(lower), settled(upper)));
    let withheld = |metric: &TierMetric| too_strong && metric.is_of_emissions();
    MeasureSummary {
        measure,
        unit: measure.unit(),
        tier: measure
            .tier_metric()
            .filter(|metric| !withheld(metric))
            .map(|metric| TierReading::of(metric, mean, interval)),
        who_2014: measure.rate().map(|rate| check_rate(rate, mean)),
        replicates,
    }
}

fn notes(
    tests: usize,
    too_strong: bool,
    replicates: &BTreeMap<Measure, Replicates>,
) -> Vec<String> {
    let mut notes = Vec::new();
    if tests == 1 {
        notes.push(
            "One test alone: neither its doubt nor a cautious tier is known, and it makes no \
             factor."
                .to_owned(),
        );
    }
    if too_strong {
        notes.push(format!(
            "The mean firepower is above {LARGEST_FIREPOWER_KW} kW, for which the tiers of \
             emissions were not set: they are withheld."
        ));
    }
    for (measure, name) in [
        (Measure::CarbonMonoxideRate, "Carbon monoxide"),
        (Measure::Pm25Rate, "PM2.5"),
    ] {
        let found = replicates.get(&measure).map_or(0, |found| found.tests);
        if found < tests {
            notes.push(format!("{name} was measured in {found} of {tests} tests."));
        }
    }
    notes
}

/// The mean efficiency without the char's energy as a version for the library.
fn factor(
    group: &[&StoveTest],
    efficiency: &Replicates,
    protocol: Protocol,
    naming: &FactorNaming,
) -> Result<Factor, TestError> {
    let first = group.first().ok_or(TestError::NoTest)?;
    let age = format!("age-{}", first.stove_age_years);
    let (value, spread) = efficiency.factor_value(Some(Decimal::ONE))?;
    must(value > Decimal::ZERO, "the efficiency is zero")?;
    let basis = match protocol {
        Protocol::Iso19867 => "net calorific value of the fuel as fired",
        Protocol::WaterBoiling => "water boiling test 4.2.3",
    };
    let cited = group.iter().map(|test| {
        (
            test.test_code.as_str(),
            test.laboratory.as_str(),
            test.tested_on,
        )
    });
    Ok(Factor {
        code: naming.factor_code(&[&first.device, &first.fuel, &age])?,
        version: naming.version,
        quantity: Quantity::ThermalEfficiency,
        species: None,
        device: Some(first.device.clone()),
        fuel: naming.fuel_class.clone(),
        value,
        unit: EFFICIENCY_UNIT.to_owned(),
        spread,
        source: citation("Stove tests", cited),
        mark: SourceMark::Computed,
        note: Some(format!(
            "{} Without the char's energy: all fuel counts as spent. Basis: {basis}. Fuel: {}. \
             Stoves in use for {} whole years. Laboratory result; use in homes differs.",
            efficiency.words("(fraction)"),
            first.fuel,
            first.stove_age_years,
        )),
        char_treatment: None,
        gwp_set: None,
    })
}
