//! Stove days by model, site and years since installation.

use super::{GatherError, site_of, sites, with_ends};
use crate::accounting::evidence::{Deployment, DeploymentEnd, Household};
use crate::accounting::inputs::{CohortDays, Period};
use crate::accounting::stove_days::stove_days_by_age;
use crate::accounting::units::UnitsError;
use std::borrow::Borrow;
use std::collections::BTreeMap;

/// Stove days of each cohort inside the period, sorted by their fields in order.
///
/// A deployment that crosses a birthday counts as a stove of both bands.
/// Cohorts without a day are left out.
pub fn cohorts<H: Borrow<Household>, D: Borrow<Deployment>, E: Borrow<DeploymentEnd>>(
    households: &[H],
    deployments: &[D],
    ends: &[E],
    period: &Period,
    grace_days: u32,
) -> Result<Vec<CohortDays>, GatherError> {
    let sites = sites(households);
    let mut found: BTreeMap<(String, u32, String, u32), (u64, u64)> = BTreeMap::new();
    for deployment in with_ends(deployments, ends) {
        let what = || format!("stove {}", deployment.serial);
        let site = site_of(&sites, &deployment.household_code, what)?;
        for (band, days) in stove_days_by_age(&deployment, period, grace_days) {
            let key = (
                deployment.model_code.clone(),
                deployment.model_version,
                site.clone(),
                band,
            );
            let (sum, stoves) = found.entry(key).or_default();
            *sum = sum.checked_add(days).ok_or_else(|| GatherError::Unusable {
                what: what(),
                reason: UnitsError::TooLarge,
            })?;
            *stoves += 1;
        }
    }
    let cohort =
        |((model_code, model_version, site_code, age_band), (stove_days, stoves))| CohortDays {
            model_code,
            model_version,
            site_code,
            age_band,
            stove_days,
            stoves,
        };
    Ok(found.into_iter().map(cohort).collect())
}
