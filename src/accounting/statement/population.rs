//! The finite populations that samples were drawn from, where the methodology counts them.

use super::draft::Draft;
use crate::accounting::inputs::EvidenceRole;
use crate::accounting::methodology::{Design, FinitePopulation};
use crate::accounting::trace::Heading;
use rust_decimal::Decimal;
use std::collections::BTreeMap;

/// One sample: what it is called, and how many of each site are in it.
pub(super) struct Sample<'s> {
    pub name: &'s str,
    pub role: EvidenceRole,
    pub age_band: Option<u32>,
    pub design: Design,
    pub taken: &'s BTreeMap<&'s str, u64>,
}

/// Units to draw from; a site, or the whole, that is absent counts as endless.
#[derive(Debug, Default)]
pub(super) struct Population {
    pub of_site: BTreeMap<String, u64>,
    pub whole: Option<u64>,
}

impl Population {
    /// `1 - n / N` of the whole.
    pub fn left(&self, taken: u64) -> f64 {
        left(taken, self.whole)
    }

    /// `1 - n / N` of one site.
    pub fn left_in(&self, site: &str, taken: u64) -> f64 {
        left(taken, self.of_site.get(site).copied())
    }
}

fn left(taken: u64, population: Option<u64>) -> f64 {
    match population {
        Some(population) if population > 0 => 1.0 - taken as f64 / population as f64,
        _ => 1.0,
    }
}

/// What the sample was drawn from: a node for each count, a sentence with each correction.
///
/// Sites that were drawn as clusters are not corrected: the share of sites drawn says nothing of
/// the units that were left out within them.
pub(super) fn population(draft: &mut Draft, sample: &Sample) -> Option<Population> {
    let designs = draft.inputs.methodology.designs;
    if designs.finite_population == FinitePopulation::None
        || sample.design == Design::ClusteredBySite
    {
        return Some(Population::default());
    }
    let counts: BTreeMap<&str, u64> = draft
        .inputs
        .to_draw_from
        .iter()
        .filter(|count| count.role == sample.role && count.age_band == sample.age_band)
        .map(|count| (count.site_code.as_str(), count.units))
        .collect();
    let mut found = Population::default();
    if sample.design == Design::StratifiedBySite {
        for (site, taken) in sample.taken {
            let units = counts.get(site).copied().unwrap_or(0);
            if let Some(units) = counted(draft, sample, Some(site), *taken, units)? {
                found.of_site.insert((*site).to_owned(), units);
            }
        }
    } else {
        let add = |all: u64, units: &u64| all.saturating_add(*units);
        let taken = sample.taken.values().fold(0, add);
        let units = counts.values().fold(0, add);
        found.whole = counted(draft, sample, None, taken, units)?;
    }
    Some(found)
}

/// The units of one stratum, or of all; none, and a note, where the sample is larger than them.
fn counted(
    draft: &mut Draft,
    sample: &Sample,
    site: Option<&str>,
    taken: u64,
    units: u64,
) -> Option<Option<u64>> {
    let (slug, words) = match sample.role {
        EvidenceRole::Usage => ("usage", "stoves in service"),
        EvidenceRole::ProjectKitchens => ("project_kitchens", "households with a stove in service"),
        EvidenceRole::BaselineSurvey => ("baseline_survey", "households of the register"),
        _ => ("baseline_kitchens", "households of the register"),
    };
    let name = sample.name;
    let place = site.map_or(String::new(), |site| format!(" in {site}"));
    if units < taken {
        draft.note(
            "population-too-small",
            format!(
                "The {name}{place} are {taken}, the register has {units} {words} on those days: \
                 no correction for a finite population."
            ),
        );
        return Some(None);
    }
    let band = sample
        .age_band
        .map_or(String::new(), |band| format!("/band/{band}"));
    let site = site.map_or(String::new(), |site| format!("/{site}"));
    let at = sample
        .age_band
        .map(|band| ("age_band".to_owned(), band.to_string()));
    let heading = Heading::new(
        format!("drawn_from/{slug}{band}{site}"),
        format!("{words}{place}, of which {taken} are in the {name}"),
        "population-drawn-from",
        "1",
    );
    let counted = Decimal::from(units);
    let record = draft.ledger.record(
        heading,
        counted,
        EvidenceRole::Register,
        at.into_iter().collect(),
        units,
    );
    draft.keep(record)?;
    let left = Decimal::ONE
        - Decimal::from(taken)
            .checked_div(counted)
            .unwrap_or_default();
    draft.note(
        "finite-population",
        format!(
            "The {name}{place} took {taken} of {units} {words}: the variance counts {} of what it \
             would from a population without end (1 - {taken} / {units}).",
            left.round_dp(4).normalize()
        ),
    );
    Some(Some(units))
}
