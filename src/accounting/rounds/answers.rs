//! What the rows of a round say of each unit that they name: its visit, and its value.

use super::plan::SampleUnit;
use super::progress::{Answer, Visit};
use crate::accounting::char_lab::Composition;
use crate::accounting::cooking_test::specific_consumption;
use crate::accounting::evidence::{
    BaselineSurveyAnswer, CharLabTest, CharWeighing, CookingTest, KitchenDay, MoistureReading,
    StoveTest, UsageAnswer, UsageOutcome,
};
use crate::accounting::stove_test::{CharEnergy, efficiency_without_char};
use chrono::NaiveDate;
use rust_decimal::{Decimal, RoundingStrategy};
use std::collections::{BTreeMap, BTreeSet};

/// Decimals of a unit's value: far finer than any scale in the field.
const VALUE_DECIMALS: u32 = 12;

/// The device whose cooking tests a round measures: the programme's own.
const PROJECT_DEVICE: &str = "gasifier";

/// The rows of one round that count.
#[derive(Debug)]
pub enum RoundRows {
    Usage(Vec<UsageAnswer>),
    Kitchens(Vec<KitchenDay>),
    Weighings(Vec<CharWeighing>),
    Baseline(Vec<BaselineSurveyAnswer>),
    Cooking(Vec<CookingTest>),
    StoveTests(Vec<StoveTest>),
    CharLab(Vec<CharLabTest>),
    Moisture(Vec<MoistureReading>),
}

/// What was gathered of one unit.
#[derive(Debug, Default)]
struct Gathered {
    sum: Decimal,
    values: u64,
    days: BTreeSet<NaiveDate>,
    /// A row whose value cannot be worked out leaves the unit without one.
    spoilt: bool,
}

impl Gathered {
    fn add(&mut self, value: Option<Decimal>) {
        match value.and_then(|value| self.sum.checked_add(value)) {
            Some(sum) => {
                self.sum = sum;
                self.values += 1;
            }
            None => self.spoilt = true,
        }
    }

    fn over(&self, count: u64) -> Option<Decimal> {
        if self.spoilt {
            return None;
        }
        self.sum.checked_div(Decimal::from(count))
    }
}

type Units<'a> = BTreeMap<&'a str, Gathered>;

impl RoundRows {
    /// One answer for each unit that the rows name.
    ///
    /// A usage survey gives 1 for in use and 0 for not; of a household with several stoves
    /// surveyed the best outcome stands. Kitchen tests and baseline surveys give dry fuel in kg a
    /// day over all devices, weighings dry char in kg over the round, cooking tests the mean
    /// specific consumption of the gasifier tests (the cook's code is the household's), stove
    /// tests the mean efficiency without the char's energy (the test's code is the serial, a
    /// slash and the burn's number), a laboratory organic carbon (the sample's code is the
    /// weighing's), readings the mean moisture.
    pub fn answers(&self, unit: SampleUnit) -> Vec<Answer> {
        let mut units = Units::new();
        match self {
            RoundRows::Usage(rows) => return usage(rows, unit),
            RoundRows::Kitchens(rows) => {
                for row in rows {
                    let unit = units.entry(&row.household_code).or_default();
                    unit.add(row.dry_used().ok().map(|mass| mass.kg()));
                    unit.days.insert(row.measured_on);
                }
                return stated(units, |unit| unit.over(unit.days.len() as u64));
            }
            RoundRows::Baseline(rows) => {
                for row in rows {
                    let unit = units.entry(&row.household_code).or_default();
                    unit.add(row.dry_per_day().ok().map(|mass| mass.kg()));
                    unit.days.insert(row.surveyed_on);
                }
                return stated(units, |unit| unit.over(unit.days.len() as u64));
            }
            RoundRows::Weighings(rows) => {
                for row in rows {
                    let unit = units.entry(&row.household_code).or_default();
                    unit.add(row.dry_char().ok().map(|mass| mass.kg()));
                }
                return stated(units, |unit| unit.over(1));
            }
            RoundRows::Cooking(rows) => {
                for row in rows {
                    let unit = units.entry(&row.cook_code).or_default();
                    if row.device == PROJECT_DEVICE {
                        unit.add(specific_consumption(row, CharEnergy::Ignored).ok());
                    }
                }
            }
            RoundRows::StoveTests(rows) => {
                for row in rows {
                    let unit = units.entry(tested_stove(&row.test_code)).or_default();
                    unit.add(efficiency_without_char(row).ok());
                }
            }
            RoundRows::CharLab(rows) => {
                for row in rows {
                    let unit = units.entry(&row.sample_code).or_default();
                    unit.add(Composition::of(row).ok().map(|found| found.organic_carbon));
                }
            }
            RoundRows::Moisture(rows) => {
                for row in rows {
                    let unit = units.entry(&row.household_code).or_default();
                    unit.add(Some(row.moisture_wb));
                }
            }
        }
        stated(units, |unit| unit.over(unit.values))
    }
}

/// The serial in a test's code: what stands before the slash and the burn's number.
pub fn tested_stove(test_code: &str) -> &str {
    match test_code.rsplit_once('/') {
        Some((serial, burn))
            if !burn.is_empty() && burn.bytes().all(|byte| byte.is_ascii_digit()) =>
        {
            serial
        }
        _ => test_code,
    }
}

fn stated(units: Units<'_>, value: impl Fn(&Gathered) -> Option<Decimal>) -> Vec<Answer> {
    units
        .into_iter()
        .map(|(unit, gathered)| Answer {
            unit: unit.to_owned(),
            visit: Visit::Done,
            value: value(&gathered).map(|value| {
                value.round_dp_with_strategy(VALUE_DECIMALS, RoundingStrategy::MidpointAwayFromZero)
            }),
        })
        .collect()
}

fn usage(rows: &[UsageAnswer], unit: SampleUnit) -> Vec<Answer> {
    // The better an outcome, the greater.
    let rank = |outcome| match outcome {
        UsageOutcome::NotFound => 0,
        UsageOutcome::Refused => 1,
        UsageOutcome::NotInUse => 2,
        UsageOutcome::InUse => 3,
    };
    let mut best: BTreeMap<&str, u8> = BTreeMap::new();
    for row in rows {
        let named = match unit {
            SampleUnit::Stove => &row.serial,
            _ => &row.household_code,
        };
        let known = best.entry(named).or_default();
        *known = (*known).max(rank(row.outcome));
    }
    best.into_iter()
        .map(|(unit, rank)| {
            let (visit, value) = match rank {
                0 => (Visit::NotFound, None),
                1 => (Visit::Refused, None),
                2 => (Visit::Done, Some(Decimal::ZERO)),
                _ => (Visit::Done, Some(Decimal::ONE)),
            };
            Answer {
                unit: unit.to_owned(),
                visit,
                value,
            }
        })
        .collect()
}

#[cfg(test)]
mod tests;
