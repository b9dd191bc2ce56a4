//! Answers of the usage surveys, counted by years since installation.

use super::{GatherError, site_of, sites};
use crate::accounting::evidence::{Deployment, Household, UsageAnswer, UsageOutcome};
use crate::accounting::inputs::{Period, Sums, UsageCount};
use crate::accounting::stove_days::age_band;
use chrono::NaiveDate;
use rust_decimal::Decimal;
use std::collections::{BTreeMap, BTreeSet};

/// Answers surveyed inside the period, by age band at the day of the survey, then by site.
///
/// An answer belongs to the deployment of the same stove in the same household
/// with the latest installation not after the survey.
pub fn usage_counts(
    answers: &[UsageAnswer],
    deployments: &[Deployment],
    households: &[Household],
    period: &Period,
) -> Result<Vec<UsageCount>, GatherError> {
    let sites = sites(households);
    let mut installations: BTreeMap<(&str, &str), BTreeSet<NaiveDate>> = BTreeMap::new();
    for deployment in deployments {
        installations
            .entry((
                deployment.serial.as_str(),
                deployment.household_code.as_str(),
            ))
            .or_default()
            .insert(deployment.installed_on);
    }
    let mut counts: BTreeMap<(u32, String), UsageCount> = BTreeMap::new();
    let inside = |answer: &&UsageAnswer| {
        period.starts_on <= answer.surveyed_on && answer.surveyed_on < period.ends_on
    };
    for answer in answers.iter().filter(inside) {
        let key = (answer.serial.as_str(), answer.household_code.as_str());
        let band = installations
            .get(&key)
            .and_then(|dates| dates.range(..=answer.surveyed_on).next_back())
            .and_then(|installed_on| age_band(*installed_on, answer.surveyed_on))
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

/// Shares and days are small: their sums cannot overflow.
fn add(sums: &mut Sums, told: Option<Decimal>) {
    if let Some(value) = told {
        sums.count += 1;
        sums.sum = (sums.sum + value).normalize();
        sums.sum_of_squares = (sums.sum_of_squares + value * value).normalize();
    }
}
