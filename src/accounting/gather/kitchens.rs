//! Kitchen tests, summed over the days of each household.

use super::{GatherError, site_of, sites};
use crate::accounting::evidence::{Household, KitchenDay};
use crate::accounting::fuel::standard_adults;
use crate::accounting::inputs::{Burn, KitchenHousehold};
use crate::accounting::units::{DryMass, UnitsError};
use chrono::NaiveDate;
use rust_decimal::Decimal;
use std::collections::BTreeMap;

#[derive(Default)]
struct Kitchen {
    adults_by_day: BTreeMap<NaiveDate, Decimal>,
    dry: BTreeMap<Burn, DryMass>,
}

/// One household's days added up, sorted by household.
///
/// A day is counted once however many fuels were weighed on it; where its rows
/// name different numbers of people, the most standard adults stand for it.
pub fn kitchen_households(
    days: &[KitchenDay],
    households: &[Household],
) -> Result<Vec<KitchenHousehold>, GatherError> {
    let mut kitchens: BTreeMap<&str, Kitchen> = BTreeMap::new();
    for day in days {
        let unusable = |reason| GatherError::Unusable {
            what: place(day),
            reason,
        };
        let kitchen = kitchens.entry(day.household_code.as_str()).or_default();
        let adults = kitchen.adults_by_day.entry(day.measured_on).or_default();
        *adults = (*adults).max(standard_adults(&day.people));
        let burn = Burn {
            device: day.device.clone(),
            fuel: day.fuel.clone(),
        };
        let dry = kitchen.dry.entry(burn).or_default();
        *dry = day
            .dry_used()
            .and_then(|used| dry.checked_add(used))
            .map_err(unusable)?;
    }
    let sites = sites(households);
    kitchens
        .into_iter()
        .map(|(household, kitchen)| summed(household, kitchen, &sites))
        .collect()
}

fn summed(
    household: &str,
    kitchen: Kitchen,
    sites: &BTreeMap<&str, &str>,
) -> Result<KitchenHousehold, GatherError> {
    let what = || "a kitchen test".to_owned();
    let too_large = || GatherError::Unusable {
        what: format!("kitchen test of household {household}"),
        reason: UnitsError::TooLarge,
    };
    let site = site_of(sites, household, what)?;
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

fn place(day: &KitchenDay) -> String {
    format!(
        "kitchen test of household {} on {}, {} in {}",
        day.household_code, day.measured_on, day.fuel, day.device
    )
}
