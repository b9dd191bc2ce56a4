//! Use: stove days in service, and the share of them on which stoves are in use.
//!
//! The share is that of stoves found in use, by years since installation. How much a using
//! household cooks on the stove is another matter: a project kitchen test already holds it,
//! and where no such test stands behind the saving, `cooking` multiplies by it, once.

mod answers;
mod cooking;

pub(super) use cooking::{CookingMoved, cooking_moved};

use super::draft::Draft;
use crate::accounting::inputs::EvidenceRole;
use crate::accounting::trace::{Heading, NodeRef, Sign, Term};
use answers::{all_answers, share_in_use};
use rust_decimal::Decimal;
use std::collections::BTreeMap;

/// Days of the period, all in the ledger.
#[derive(Debug, Clone)]
pub(super) struct Use {
    pub stove_days: NodeRef,
    pub household_days_in_use: NodeRef,
    pub rate: NodeRef,
    /// Of these household-days in use, those of each age band, the youngest first.
    pub bands: Vec<(u32, NodeRef)>,
}

impl Use {
    /// The age bands of which some stove is in use.
    pub fn bands_in_use(&self, draft: &Draft) -> Vec<(u32, NodeRef)> {
        let used = |(_, days): &&(u32, NodeRef)| !draft.ledger.value(*days).is_zero();
        self.bands.iter().filter(used).copied().collect()
    }
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
    let (mut served, mut households, mut bands) = (Vec::new(), Vec::new(), Vec::new());
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
        bands.push((band, draft.keep(in_use)?));
        served.push(Term(Sign::Plus, stove_days));
        households.push(Term(Sign::Plus, household_days));
    }
    totals(draft, &served, &households, bands)
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

fn totals(
    draft: &mut Draft,
    served: &[Term],
    households: &[Term],
    bands: Vec<(u32, NodeRef)>,
) -> Option<Use> {
    let used: Vec<Term> = bands
        .iter()
        .map(|(_, days)| Term(Sign::Plus, *days))
        .collect();
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
        &used,
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
        bands,
    })
}
