//! The share of stoves in use in one age band, by the design of the usage survey.

use crate::accounting::inputs::{EvidenceRole, UsageCount};
use crate::accounting::methodology::Design;
use crate::accounting::rounding::to_statistic;
use crate::accounting::statement::draft::Draft;
use crate::accounting::statement::population::{Population, Sample, population};
use crate::accounting::statement::sites;
use crate::accounting::trace::{Estimate, Family, Heading, LedgerError, NodeRef, Survey};
use crate::statistics::StatisticsError;
use crate::statistics::design::{ClusterFrame, ClusterTotal, cluster_totals_mean_vector};
use crate::statistics::estimate::proportion_standard_error;
use rust_decimal::Decimal;
use std::collections::BTreeMap;

/// A share, its variance and what it is known with.
struct Share {
    value: Decimal,
    variance: f64,
    degrees_of_freedom: f64,
    design: String,
}

/// Stoves in use over all answers: not found and refused are not in use.
pub(super) fn share_in_use(draft: &mut Draft, band: u32) -> Option<NodeRef> {
    let counts = sites_of_band(draft, band)?;
    let all = summed(band, counts.values().copied());
    let Some(answers) = all_answers(&all) else {
        return no_answers(draft, band);
    };
    let wanted = draft.inputs.methodology.minimum_answers_per_age_band;
    if answers < u64::from(wanted) {
        draft.note(
            "few-usage-answers",
            format!("Age band {band} has {answers} usage answers; the methodology wants {wanted}."),
        );
    }
    let answered: BTreeMap<&str, (u64, u64)> = counts
        .iter()
        .filter_map(|(site, count)| Some((*site, (count.in_use, all_answers(count)?))))
        .collect();
    let name = format!("usage answers, age band {band}");
    let design = draft.inputs.methodology.designs.usage;
    let taken = answered
        .iter()
        .map(|(site, (_, answers))| (*site, *answers))
        .collect();
    let sample = Sample {
        name: &name,
        role: EvidenceRole::Usage,
        age_band: Some(band),
        design,
        taken: &taken,
    };
    let drawn_from = population(draft, &sample)?;
    let share = match design {
        Design::SimpleRandom => simple(draft, &name, all.in_use, answers, &drawn_from)?,
        Design::StratifiedBySite | Design::PostStratifiedBySite => {
            stratified(draft, &sample, band, &answered, &drawn_from)?
        }
        Design::ClusteredBySite => clustered(draft, &name, &answered, all.in_use, answers)?,
    };
    let label = format!(
        "share of stoves in use in year {}: {} of {answers} answers ({} not in use, {} not found, \
         {} refused)",
        u64::from(band) + 1,
        all.in_use,
        all.not_in_use,
        all.not_found,
        all.refused
    );
    let survey = Survey {
        name: format!("{name} ({answers}{})", share.design),
        role: EvidenceRole::Usage,
        units: answers,
        degrees_of_freedom: share.degrees_of_freedom,
        family: Family::Proportion,
        estimates: vec![Estimate {
            heading: Heading::new(format!("use/rate/band/{band}"), label, "share-in-use", "1"),
            value: share.value,
            at: BTreeMap::from([("age_band".to_owned(), band.to_string())]),
        }],
        covariance: vec![vec![share.variance]],
    };
    let nodes = draft.ledger.survey(survey);
    draft.keep(nodes)?.first().copied()
}

fn kept<T>(draft: &mut Draft, id: &str, found: Result<T, StatisticsError>) -> Option<T> {
    let found = found.map_err(|reason| LedgerError::Statistics {
        id: id.to_owned(),
        reason,
    });
    draft.keep(found)
}

fn simple(
    draft: &mut Draft,
    name: &str,
    in_use: u64,
    answers: u64,
    drawn_from: &Population,
) -> Option<Share> {
    let error = kept(draft, name, proportion_standard_error(in_use, answers))?;
    Some(Share {
        value: Decimal::from(in_use) / Decimal::from(answers),
        variance: error * error * drawn_from.left(answers),
        // One answer has no spread; it gets the fewest degrees that Student's t is defined for.
        degrees_of_freedom: answers.saturating_sub(1).max(1) as f64,
        design: String::new(),
    })
}

/// `sum W_h p_h`, each site weighed by its stove days in the band.
///
/// The variance is `sum W_h^2 (1 - n_h / N_h) v_h`; where the sites are strata only since the draw,
/// `(1 - n / N) n / (n - 1) sum W_h^2 v_h`, with the degrees of freedom of one sample.
fn stratified(
    draft: &mut Draft,
    sample: &Sample,
    band: u32,
    answered: &BTreeMap<&str, (u64, u64)>,
    drawn_from: &Population,
) -> Option<Share> {
    let name = sample.name;
    let lone: Vec<&str> = answered
        .iter()
        .filter(|(_, (_, answers))| *answers < 2)
        .map(|(site, _)| *site)
        .collect();
    if !lone.is_empty() {
        draft.gap(
            "stratum-of-one-answer",
            format!(
                "The {name} are stratified by site, but these sites have one answer, which has \
                 no spread: {}.",
                lone.join(", ")
            ),
        );
        return None;
    }
    let days = sites::stove_days(draft, Some(band));
    let weights = sites::weights(draft, &days, sample.taken, name);
    let total: f64 = weights.values().map(|weight| to_statistic(*weight)).sum();
    let (mut parts, mut variance, mut weighed) = (Vec::new(), 0.0, 0);
    for (site, weight) in &weights {
        let (in_use, answers) = *answered.get(site)?;
        let error = kept(draft, name, proportion_standard_error(in_use, answers))?;
        let left = drawn_from.left_in(site, answers);
        variance += (to_statistic(*weight) / total * error).powi(2) * left;
        weighed += answers;
        parts.push((*weight, Decimal::from(in_use) / Decimal::from(answers)));
    }
    let value = sites::weighted_mean(parts.into_iter()).ok_or_else(|| LedgerError::TooLarge {
        id: name.to_owned(),
    });
    let value = draft.keep(value)?;
    let (answers, sites) = (weighed as f64, weights.len());
    if sample.design == Design::PostStratifiedBySite {
        return Some(Share {
            value,
            variance: variance * answers / (answers - 1.0) * drawn_from.left(weighed),
            degrees_of_freedom: answers - 1.0,
            design: format!(", weighed afterwards by {sites} sites"),
        });
    }
    Some(Share {
        value,
        variance,
        degrees_of_freedom: answers - sites as f64,
        design: format!(", {sites} sites as strata"),
    })
}

/// The share over all answers, its doubt from how the sites differ.
fn clustered(
    draft: &mut Draft,
    name: &str,
    answered: &BTreeMap<&str, (u64, u64)>,
    in_use: u64,
    answers: u64,
) -> Option<Share> {
    if answered.len() < 2 {
        draft.gap(
            "too-few-clusters",
            format!(
                "The {name} are clustered by site, but only {} site was sampled; two at least are \
                 needed to know a spread.",
                answered.len()
            ),
        );
        return None;
    }
    let clusters: Vec<ClusterTotal> = answered
        .values()
        .map(|(in_use, answers)| ClusterTotal {
            size: *answers as f64,
            totals: vec![*in_use as f64],
        })
        .collect();
    let spread = kept(
        draft,
        name,
        cluster_totals_mean_vector(&clusters, ClusterFrame::default()),
    )?;
    let between = spread
        .covariance
        .first()
        .and_then(|line| line.first())
        .copied()
        .unwrap_or(0.0);
    // Sites that all answer alike do not leave less doubt than the answers themselves.
    let least = kept(draft, name, proportion_standard_error(in_use, answers))?.powi(2);
    let alike = in_use == 0 || in_use == answers;
    Some(Share {
        value: Decimal::from(in_use) / Decimal::from(answers),
        variance: if alike { least } else { between },
        degrees_of_freedom: spread.degrees_of_freedom,
        design: format!(", {} sites as clusters", clusters.len()),
    })
}

/// The answers of one age band in each site.
pub(super) fn sites_of_band<'a>(
    draft: &mut Draft<'a>,
    band: u32,
) -> Option<BTreeMap<&'a str, &'a UsageCount>> {
    let mut sites = BTreeMap::new();
    let usage = &draft.inputs.usage;
    for count in usage.iter().filter(|count| count.age_band == band) {
        if sites.insert(count.site_code.as_str(), count).is_some() {
            let sentence = format!("The usage answers of age band {band} are given twice.");
            draft.gap("usage-counted-twice", sentence);
            return None;
        }
    }
    Some(sites)
}

fn summed<'c>(band: u32, counts: impl Iterator<Item = &'c UsageCount>) -> UsageCount {
    let mut all = UsageCount {
        age_band: band,
        ..UsageCount::default()
    };
    for count in counts {
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
    all
}

pub(super) fn all_answers(count: &UsageCount) -> Option<u64> {
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
