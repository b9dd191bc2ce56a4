//! From accepted rows to the exact counts and sums that a statement is a function of.
//!
//! The offline verifier comes this way; the store reaches the same values by SQL.
//! Nothing is divided and nothing is rounded here. Rows are taken by themselves or by reference,
//! so that whoever holds a million of them need not copy any.

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
use std::borrow::Borrow;
use std::collections::HashMap;

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

/// Deployments with the ends that were recorded for them afterwards, one after the other.
///
/// An end stated in the deployment itself stands; of several later ends the earliest does.
pub fn with_ends<'a, D: Borrow<Deployment>, E: Borrow<DeploymentEnd>>(
    deployments: &'a [D],
    ends: &'a [E],
) -> impl Iterator<Item = Deployment> + 'a {
    let mut earliest: HashMap<(&str, NaiveDate), &DeploymentEnd> = HashMap::new();
    for end in ends.iter().map(Borrow::borrow) {
        earliest
            .entry((end.serial.as_str(), end.installed_on))
            .and_modify(|known| {
                if (end.ended_on, &end.end_reason) < (known.ended_on, &known.end_reason) {
                    *known = end;
                }
            })
            .or_insert(end);
    }
    deployments
        .iter()
        .map(Borrow::borrow)
        .map(move |deployment| {
            let mut deployment: Deployment = deployment.clone();
            if deployment.ended_on.is_none()
                && let Some(end) =
                    earliest.get(&(deployment.serial.as_str(), deployment.installed_on))
            {
                deployment.ended_on = Some(end.ended_on);
                deployment.end_reason = Some(end.end_reason.clone());
            }
            deployment
        })
}

/// Site of each household.
fn sites<H: Borrow<Household>>(households: &[H]) -> HashMap<&str, &str> {
    households
        .iter()
        .map(Borrow::borrow)
        .map(|h| (h.household_code.as_str(), h.site_code.as_str()))
        .collect()
}

fn site_of(
    sites: &HashMap<&str, &str>,
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
