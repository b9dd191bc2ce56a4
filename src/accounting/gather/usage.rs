//! Answers of the usage surveys, counted by years since installation.

use super::GatherError;
use crate::accounting::evidence::{Deployment, UsageAnswer, UsageOutcome};
use crate::accounting::inputs::{Period, UsageCount};
use crate::accounting::stove_days::age_band;
use chrono::NaiveDate;
use std::collections::{BTreeMap, BTreeSet};

/// Answers surveyed inside the period, by age band at the day of the survey.
///
/// An answer belongs to the deployment of the same stove in the same household
/// with the latest installation not after the survey.
pub fn usage_counts(
    answers: &[UsageAnswer],
    deployments: &[Deployment],
    period: &Period,
) -> Result<Vec<UsageCount>, GatherError> {
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
    let mut counts: BTreeMap<u32, UsageCount> = BTreeMap::new();
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
        let count = counts.entry(band).or_insert(UsageCount {
            age_band: band,
            in_use: 0,
            not_in_use: 0,
            not_found: 0,
            refused: 0,
        });
        match answer.outcome {
            UsageOutcome::InUse => count.in_use += 1,
            UsageOutcome::NotInUse => count.not_in_use += 1,
            UsageOutcome::NotFound => count.not_found += 1,
            UsageOutcome::Refused => count.refused += 1,
        }
    }
    Ok(counts.into_values().collect())
}
