//! Answers of the usage surveys, counted by years since installation.

use super::{GatherError, site_of, sites};
use crate::accounting::evidence::{Deployment, Household, UsageAnswer, UsageOutcome};
use crate::accounting::inputs::{Period, Sums, UsageCount};
use crate::accounting::stove_days::age_band;
use chrono::NaiveDate;
use rust_decimal::Decimal;
use std::borrow::Borrow;
use std::collections::hash_map::Entry;
use std::collections::{BTreeMap, BTreeSet, HashMap};

/// Answers surveyed inside the period, by age band at the day of the survey, then by site.
///
/// An answer belongs to the deployment of the same stove in the same household
/// with the latest installation not after the survey.
pub fn usage_counts<A: Borrow<UsageAnswer>, D: Borrow<Deployment>, H: Borrow<Household>>(
    answers: &[A],
    deployments: &[D],
    households: &[H],
    period: &Period,
) -> Result<Vec<UsageCount>, GatherError> {
    let sites = sites(households);
    let installations = Installations::of(deployments);
    let mut counts: BTreeMap<(u32, String), UsageCount> = BTreeMap::new();
    let inside = |answer: &&UsageAnswer| {
        period.starts_on <= answer.surveyed_on && answer.surveyed_on < period.ends_on
    };
    for answer in answers.iter().map(Borrow::borrow).filter(inside) {
        let band = installations
            .latest(answer)
            .and_then(|installed_on| age_band(installed_on, answer.surveyed_on))
            .ok_or_else(|| GatherError::UnknownDeployment {
                serial: answer.serial.clone(),
                household: answer.household_code.clone(),
                on: answer.surveyed_on,
            })?;
        let what = || format!("the usage answer of stove {}", answer.serial);
        let site = site_of(&sites, &answer.household_code, what)?;
        let count = counts.entry((band, site.clone())).or_insert(UsageCount {
            age_band: band,
            site_code: site,
            ..UsageCount::default()
        });
        match answer.outcome {
            UsageOutcome::InUse => {
                count.in_use += 1;
                add(&mut count.meal_share, answer.share_of_meals);
                add(
                    &mut count.days_per_week,
                    answer.days_used_last_week.map(Decimal::from),
                );
            }
            UsageOutcome::NotInUse => count.not_in_use += 1,
            UsageOutcome::NotFound => count.not_found += 1,
            UsageOutcome::Refused => count.refused += 1,
        }
    }
    Ok(counts.into_values().collect())
}

/// When each stove came into each household.
struct Installations<'a> {
    /// The one installation that most stoves have.
    only: HashMap<&'a str, (&'a str, NaiveDate)>,
    /// Those of stoves that moved or came back.
    further: BTreeSet<(&'a str, &'a str, NaiveDate)>,
}

impl<'a> Installations<'a> {
    fn of<D: Borrow<Deployment>>(deployments: &'a [D]) -> Self {
        let (mut only, mut further) = (HashMap::new(), BTreeSet::new());
        for deployment in deployments.iter().map(Borrow::borrow) {
            let (serial, household) = (&*deployment.serial, &*deployment.household_code);
            let on = deployment.installed_on;
            match only.entry(serial) {
                Entry::Vacant(place) => {
                    place.insert((household, on));
                }
                Entry::Occupied(_) => {
                    further.insert((serial, household, on));
                }
            }
        }
        Installations { only, further }
    }

    /// The latest one of the answer's stove in its household that is not after the survey.
    fn latest(&self, answer: &UsageAnswer) -> Option<NaiveDate> {
        let (serial, household) = (&*answer.serial, &*answer.household_code);
        let fits = |on: &NaiveDate| *on <= answer.surveyed_on;
        let only = self
            .only
            .get(serial)
            .filter(|(there, _)| *there == household);
        let only = only.map(|(_, on)| *on).filter(fits);
        let from = (serial, household, NaiveDate::MIN);
        let until = (serial, household, answer.surveyed_on);
        let further = self.further.range(from..=until).next_back();
        only.max(further.map(|(_, _, on)| *on))
    }
}

/// Shares and days are small: their sums cannot overflow.
fn add(sums: &mut Sums, told: Option<Decimal>) {
    if let Some(value) = told {
        sums.count += 1;
        sums.sum = (sums.sum + value).normalize();
        sums.sum_of_squares = (sums.sum_of_squares + value * value).normalize();
    }
}
