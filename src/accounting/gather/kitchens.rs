//! Kitchen tests and baseline surveys, summed over the days of each household.

use super::{GatherError, site_of, sites};
use crate::accounting::evidence::{BaselineSurveyAnswer, Household, KitchenDay, People};
use crate::accounting::fuel::standard_adults;
use crate::accounting::inputs::{Burn, KitchenHousehold};
use crate::accounting::units::{DryMass, UnitsError};
use chrono::NaiveDate;
use rust_decimal::Decimal;
use std::borrow::Borrow;
use std::collections::{BTreeMap, HashMap};

/// One fuel that one household burnt in one device on one day.
struct Burnt<'a> {
    household: &'a str,
    on: NaiveDate,
    device: &'a str,
    fuel: &'a str,
    people: &'a People,
    dry: Result<DryMass, UnitsError>,
}

#[derive(Default)]
struct Kitchen {
    adults_by_day: BTreeMap<NaiveDate, Decimal>,
    dry: BTreeMap<Burn, DryMass>,
}

/// One household's days added up, sorted by household.
///
/// A day is counted once however many fuels were weighed on it; where its rows
/// name different numbers of people, the most standard adults stand for it.
pub fn kitchen_households<K: Borrow<KitchenDay>, H: Borrow<Household>>(
    days: &[K],
    households: &[H],
) -> Result<Vec<KitchenHousehold>, GatherError> {
    let burnt = days.iter().map(Borrow::borrow).map(|day| Burnt {
        household: &day.household_code,
        on: day.measured_on,
        device: &day.device,
        fuel: &day.fuel,
        people: &day.people,
        dry: day.dry_used(),
    });
    added_up("kitchen test", burnt, households)
}

/// Baseline surveys in the same form: each day on which a household was asked counts as
/// one day, and what it said to burn on a usual day as burnt on it.
pub fn survey_households<A: Borrow<BaselineSurveyAnswer>, H: Borrow<Household>>(
    answers: &[A],
    households: &[H],
) -> Result<Vec<KitchenHousehold>, GatherError> {
    let burnt = answers.iter().map(Borrow::borrow).map(|answer| Burnt {
        household: &answer.household_code,
        on: answer.surveyed_on,
        device: &answer.device,
        fuel: &answer.fuel,
        people: &answer.people,
        dry: answer.dry_per_day(),
    });
    added_up("baseline survey", burnt, households)
}

fn added_up<'a>(
    what: &str,
    burnt: impl Iterator<Item = Burnt<'a>>,
    households: &[impl Borrow<Household>],
) -> Result<Vec<KitchenHousehold>, GatherError> {
    let mut kitchens: BTreeMap<&str, Kitchen> = BTreeMap::new();
    for row in burnt {
        let place = format!(
            "{what} of household {} on {}, {} in {}",
            row.household, row.on, row.fuel, row.device
        );
        let kitchen = kitchens.entry(row.household).or_default();
        let adults = kitchen.adults_by_day.entry(row.on).or_default();
        *adults = (*adults).max(standard_adults(row.people));
        let burn = Burn {
            device: row.device.to_owned(),
            fuel: row.fuel.to_owned(),
        };
        let dry = kitchen.dry.entry(burn).or_default();
        *dry = row
            .dry
            .and_then(|used| dry.checked_add(used))
            .map_err(|reason| GatherError::Unusable {
                what: place,
                reason,
            })?;
    }
    let sites = sites(households);
    kitchens
        .into_iter()
        .map(|(household, kitchen)| summed(what, household, kitchen, &sites))
        .collect()
}

fn summed(
    what: &str,
    household: &str,
    kitchen: Kitchen,
    sites: &HashMap<&str, &str>,
) -> Result<KitchenHousehold, GatherError> {
    let too_large = || GatherError::Unusable {
        what: format!("{what} of household {household}"),
        reason: UnitsError::TooLarge,
    };
    let site = site_of(sites, household, || format!("a {what}"))?;
    let days = u32::try_from(kitchen.adults_by_day.len()).map_err(|_| too_large())?;
    let adult_days = kitchen
        .adults_by_day
        .values()
        .try_fold(Decimal::ZERO, |sum, adults| sum.checked_add(*adults))
        .ok_or_else(too_large)?;
    Ok(KitchenHousehold {
        household: household.to_owned(),
        site,
        days,
        adult_days: adult_days.normalize(),
        dry_kg: kitchen
            .dry
            .into_iter()
            .map(|(burn, dry)| (burn, dry.kg().normalize()))
            .collect(),
    })
}
