//! How much each sampled site weighs where sites are strata.

use super::draft::Draft;
use rust_decimal::Decimal;
use std::collections::BTreeMap;

/// Weight of each sampled site, in stove days; `sampled` has the units seen in each.
///
/// A site with stove days that was not sampled is named, and its share goes to the
/// others in proportion. Without any stove days the sample itself gives the weights.
pub(super) fn weights<'s>(
    draft: &mut Draft,
    days: &BTreeMap<&str, u64>,
    sampled: &BTreeMap<&'s str, u64>,
    what: &str,
) -> BTreeMap<&'s str, Decimal> {
    let unseen: Vec<&str> = days
        .iter()
        .filter(|(site, days)| **days > 0 && !sampled.contains_key(*site))
        .map(|(site, _)| *site)
        .collect();
    if !unseen.is_empty() {
        draft.note(
            "site-not-sampled",
            format!(
                "No {what} in {}: the share of stove days there is spread over the other sites.",
                unseen.join(", ")
            ),
        );
    }
    let of_site = |site: &str| days.get(site).copied().unwrap_or(0);
    if sampled.keys().all(|site| of_site(site) == 0) {
        return sampled
            .iter()
            .map(|(site, units)| (*site, Decimal::from(*units)))
            .collect();
    }
    let idle: Vec<&str> = sampled
        .keys()
        .copied()
        .filter(|site| of_site(site) == 0)
        .collect();
    if !idle.is_empty() {
        draft.note(
            "site-without-stove-days",
            format!(
                "The {what} in {} weigh nothing: no stove was in service there.",
                idle.join(", ")
            ),
        );
    }
    sampled
        .keys()
        .filter(|site| of_site(site) > 0)
        .map(|site| (*site, Decimal::from(of_site(site))))
        .collect()
}

/// Stove days of each site, of one age band or of all.
pub(super) fn stove_days<'a>(draft: &Draft<'a>, band: Option<u32>) -> BTreeMap<&'a str, u64> {
    let mut days: BTreeMap<&str, u64> = BTreeMap::new();
    let cohorts = &draft.inputs.cohorts;
    for cohort in cohorts
        .iter()
        .filter(|cohort| band.is_none_or(|band| cohort.age_band == band))
    {
        let sum = days.entry(&cohort.site_code).or_default();
        *sum = sum.saturating_add(cohort.stove_days);
    }
    days
}

/// `sum of weight * mean over sum of weights`; none where it cannot be computed.
pub(super) fn weighted_mean(parts: impl Iterator<Item = (Decimal, Decimal)>) -> Option<Decimal> {
    let (mut above, mut below) = (Decimal::ZERO, Decimal::ZERO);
    for (weight, mean) in parts {
        above = above.checked_add(weight.checked_mul(mean)?)?;
        below = below.checked_add(weight)?;
    }
    above.checked_div(below)
}
