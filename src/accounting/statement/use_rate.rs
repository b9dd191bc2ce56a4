//! Use: stove days in service, and the share of them on which stoves are in use.
//!
//! The share is that of stoves found in use, by years since installation. It is the only
//! place where use enters: a project kitchen test already holds how much a using
//! household cooks on the stove, so neither days per week nor meals multiply again.

use super::draft::Draft;
use crate::accounting::inputs::{EvidenceRole, UsageCount};
use crate::accounting::trace::{Estimate, Family, Heading, NodeRef, Sign, Survey, Term};
use crate::statistics::estimate::proportion_standard_error;
use rust_decimal::Decimal;
use std::collections::{BTreeMap, BTreeSet};

/// Days of the period, all in the ledger.
#[derive(Debug, Clone, Copy)]
pub(super) struct Use {
    pub stove_days: NodeRef,
    pub household_days_in_use: NodeRef,
    pub rate: NodeRef,
}

/// `U = sum over age bands of stove days * share in use`.
pub(super) fn days_in_use(draft: &mut Draft) -> Option<Use> {
    let mut by_band: BTreeMap<u32, (u64, u64)> = BTreeMap::new();
    for cohort in &draft.inputs.cohorts {
        let (days, stoves) = by_band.entry(cohort.age_band).or_default();
        let sums = days
            .checked_add(cohort.stove_days)
            .zip(stoves.checked_add(cohort.stoves));
        let Some(sums) = sums else {
            draft.gap(
                "number-too-large",
                "The stove days are too many to add up.".to_owned(),
            );
            return None;
        };
        (*days, *stoves) = sums;
    }
    if !by_band.is_empty()
        && draft
            .inputs
            .usage
            .iter()
            .all(|count| all_answers(count).is_none())
    {
        draft.gap(
            "no-usage-survey",
            "Stoves were in service, but no answer of a usage survey lies in the period."
                .to_owned(),
        );
        return None;
    }
    let (mut served, mut households, mut used) = (Vec::new(), Vec::new(), Vec::new());
    for (band, (days, stoves)) in by_band.into_iter().filter(|(_, (days, _))| *days > 0) {
        let (stove_days, household_days) = days_in_band(draft, band, days, stoves)?;
        let rate = share_in_use(draft, band)?;
        let heading = Heading::new(
            format!("use/household_days_in_use/band/{band}"),
            format!(
                "household-days in use, stoves in year {}",
                u64::from(band) + 1
            ),
            "days-in-use-of-age-band",
            "household-day",
        );
        let in_use = draft.ledger.product(heading, &[household_days, rate]);
        used.push(Term(Sign::Plus, draft.keep(in_use)?));
        served.push(Term(Sign::Plus, stove_days));
        households.push(Term(Sign::Plus, household_days));
    }
    totals(draft, &served, &households, &used)
}

fn days_in_band(
    draft: &mut Draft,
    band: u32,
    days: u64,
    stoves: u64,
) -> Option<(NodeRef, NodeRef)> {
    let at = BTreeMap::from([("age_band".to_owned(), band.to_string())]);
    let year = u64::from(band) + 1;
    let heading = Heading::new(
        format!("use/stove_days/band/{band}"),
        format!("stove days in service, stoves in year {year}"),
        "stove-days",
        "stove-day",
    );
    let record = draft
        .ledger
        .record(heading, days.into(), EvidenceRole::Register, at, stoves);
    let stove_days = draft.keep(record)?;
    let one = draft.convention(
        "household_days_per_stove_day",
        "a stove day is a household-day: a household's second stove gives no days",
        "household-day/stove-day",
        Decimal::ONE,
    )?;
    let heading = Heading::new(
        format!("use/household_days/band/{band}"),
        format!("household-days in service, stoves in year {year}"),
        "household-days",
        "household-day",
    );
    let product = draft.ledger.product(heading, &[stove_days, one]);
    Some((stove_days, draft.keep(product)?))
}

/// Stoves in use over all answers: not found and refused are not in use.
fn share_in_use(draft: &mut Draft, band: u32) -> Option<NodeRef> {
    let count = counts_of_band(draft, band)?;
    let Some(answers) = all_answers(&count) else {
        return no_answers(draft, band);
    };
    let wanted = draft.inputs.methodology.minimum_answers_per_age_band;
    if answers < u64::from(wanted) {
        draft.note(
            "few-usage-answers",
            format!("Age band {band} has {answers} usage answers; the methodology wants {wanted}."),
        );
    }
    let label = format!(
        "share of stoves in use in year {}: {} of {answers} answers ({} not in use, {} not found, \
         {} refused)",
        u64::from(band) + 1,
        count.in_use,
        count.not_in_use,
        count.not_found,
        count.refused
    );
    let id = format!("use/rate/band/{band}");
    let error = proportion_standard_error(count.in_use, answers).map_err(|reason| {
        crate::accounting::trace::LedgerError::Statistics {
            id: id.clone(),
            reason,
        }
    });
    let error = draft.keep(error)?;
    let survey = Survey {
        name: format!("usage answers, age band {band} ({answers})"),
        role: EvidenceRole::Usage,
        units: answers,
        // One answer has no spread; it gets the fewest degrees that Student's t is defined for.
        degrees_of_freedom: answers.saturating_sub(1).max(1) as f64,
        family: Family::Proportion,
        estimates: vec![Estimate {
            heading: Heading::new(id, label, "share-in-use", "1"),
            value: Decimal::from(count.in_use) / Decimal::from(answers),
            at: BTreeMap::from([("age_band".to_owned(), band.to_string())]),
        }],
        covariance: vec![vec![error * error]],
    };
    let nodes = draft.ledger.survey(survey);
    draft.keep(nodes)?.first().copied()
}

/// The answers of one age band, all sites together.
fn counts_of_band(draft: &mut Draft, band: u32) -> Option<UsageCount> {
    let mut sites = BTreeSet::new();
    let mut all = UsageCount {
        age_band: band,
        ..UsageCount::default()
    };
    let usage = &draft.inputs.usage;
    for count in usage.iter().filter(|count| count.age_band == band) {
        if !sites.insert(&count.site_code) {
            let sentence = format!("The usage answers of age band {band} are given twice.");
            draft.gap("usage-counted-twice", sentence);
            return None;
        }
        let sums = [
            (&mut all.in_use, count.in_use),
            (&mut all.not_in_use, count.not_in_use),
            (&mut all.not_found, count.not_found),
            (&mut all.refused, count.refused),
        ];
        for (sum, more) in sums {
            *sum = sum.saturating_add(more);
        }
    }
    Some(all)
}

fn all_answers(count: &UsageCount) -> Option<u64> {
    let sum = count
        .in_use
        .checked_add(count.not_in_use)?
        .checked_add(count.not_found)?
        .checked_add(count.refused)?;
    (sum > 0).then_some(sum)
}

fn no_answers(draft: &mut Draft, band: u32) -> Option<NodeRef> {
    draft.note(
        "no-usage-answers",
        format!("Age band {band} has stove days but no usage answers: its use counts as zero."),
    );
    let heading = Heading::new(
        format!("use/rate/band/{band}"),
        format!(
            "no usage answers for year {}: use counts as zero",
            u64::from(band) + 1
        ),
        "no-answers-no-use",
        "1",
    );
    let zero = draft.ledger.constant(heading, Decimal::ZERO);
    draft.keep(zero)
}

fn totals(draft: &mut Draft, served: &[Term], households: &[Term], used: &[Term]) -> Option<Use> {
    let stove_days = draft.ledger.sum(
        Heading::new(
            "use/stove_days",
            "stove days in service",
            "stove-days",
            "stove-day",
        ),
        served,
    );
    let stove_days = draft.keep(stove_days)?;
    let all = draft.ledger.sum(
        Heading::new(
            "use/household_days",
            "household-days in service",
            "household-days",
            "household-day",
        ),
        households,
    );
    let all = draft.keep(all)?;
    let in_use = draft.ledger.sum(
        Heading::new(
            "use/household_days_in_use",
            "household-days in use",
            "days-in-use",
            "household-day",
        ),
        used,
    );
    let in_use = draft.keep(in_use)?;
    let rate = if draft.ledger.value(all).is_zero() {
        draft.note(
            "no-stove-days",
            "No stove was in service in this period.".to_owned(),
        );
        let heading = Heading::new(
            "use/rate",
            "no stove in service: the use rate counts as zero",
            "no-days-no-use",
            "1",
        );
        draft.ledger.constant(heading, Decimal::ZERO)
    } else {
        let heading = Heading::new("use/rate", "use rate over all stove days", "use-rate", "1");
        draft.ledger.quotient(heading, in_use, all)
    };
    Some(Use {
        stove_days,
        household_days_in_use: in_use,
        rate: draft.keep(rate)?,
    })
}
