//! From accepted rows to the exact counts and sums that a statement is a function of.
//!
//! The offline verifier comes this way; the store reaches the same values by SQL.
//! Nothing is divided and nothing is rounded here.

mod char_lots;
mod cohorts;
mod kitchens;
mod samples;
mod to_draw_from;
mod usage;

pub use char_lots::char_lots;
pub use cohorts::cohorts;
pub use kitchens::{kitchen_households, survey_households};
pub use samples::{char_lab, cooking_tests, stove_tests};
pub use to_draw_from::{FieldDays, to_draw_from};
pub use usage::usage_counts;

use crate::accounting::evidence::{Deployment, DeploymentEnd, Household};
use crate::accounting::units::UnitsError;
use chrono::NaiveDate;
use std::collections::BTreeMap;

/// A row that cannot be counted, in words that let its owner find it.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum GatherError {
    #[error("household {household} of {what} is not in the register")]
    UnknownHousehold { household: String, what: String },
    #[error("stove {serial} was not yet in household {household} when it was visited on {on}")]
    UnknownDeployment {
        serial: String,
        household: String,
        on: NaiveDate,
    },
    #[error("{what}: {reason}")]
    Unusable { what: String, reason: UnitsError },
}

/// Deployments with the ends that were recorded for them afterwards.
///
/// An end stated in the deployment itself stands; of several later ends the earliest does.
pub fn with_ends(deployments: &[Deployment], ends: &[DeploymentEnd]) -> Vec<Deployment> {
    let mut earliest: BTreeMap<(&str, NaiveDate), &DeploymentEnd> = BTreeMap::new();
    for end in ends {
        earliest
            .entry((end.serial.as_str(), end.installed_on))
            .and_modify(|known| {
                if (end.ended_on, &end.end_reason) < (known.ended_on, &known.end_reason) {
                    *known = end;
                }
            })
            .or_insert(end);
    }
    let ended = |deployment: &Deployment| {
        let mut deployment = deployment.clone();
        let key = (deployment.serial.as_str(), deployment.installed_on);
        if let (None, Some(end)) = (deployment.ended_on, earliest.get(&key)) {
            deployment.ended_on = Some(end.ended_on);
            deployment.end_reason = Some(end.end_reason.clone());
        }
        deployment
    };
    deployments.iter().map(ended).collect()
}

/// Site of each household.
fn sites(households: &[Household]) -> BTreeMap<&str, &str> {
    households
        .iter()
        .map(|h| (h.household_code.as_str(), h.site_code.as_str()))
        .collect()
}

fn site_of(
    sites: &BTreeMap<&str, &str>,
    household: &str,
    what: impl FnOnce() -> String,
) -> Result<String, GatherError> {
    sites
        .get(household)
        .map(|site| (*site).to_owned())
        .ok_or_else(|| GatherError::UnknownHousehold {
            household: household.to_owned(),
            what: what(),
        })
}

#[cfg(test)]
mod tests;
