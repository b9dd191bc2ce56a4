//! From columns of measured values to their means in the ledger, by the design of the sample.

use super::group::Group;
use crate::accounting::inputs::EvidenceRole;
use crate::accounting::methodology::Design;
use crate::accounting::rounding::to_statistic;
use crate::accounting::statement::draft::Draft;
use crate::accounting::statement::population::{Population, Sample, population};
use crate::accounting::statement::sites;
use crate::accounting::trace::{Estimate, Family, Heading, LedgerError, NodeRef, Survey};
use crate::statistics::StatisticsError;
use crate::statistics::design::{
    ClusterFrame, ClusterTotal, Stratum, cluster_totals_mean_vector, post_stratified_mean_vector,
    simple_mean_vector, stratified_mean_vector,
};
use crate::statistics::estimate::VectorMean;
use rust_decimal::Decimal;
use std::collections::BTreeMap;

/// What the means of a sample are called in the ledger.
pub(super) struct Named {
    pub name: String,
    pub role: EvidenceRole,
    /// One for each column.
    pub headings: Vec<(Heading, BTreeMap<String, String>)>,
}

/// Exact means, their spread, and what the design adds to the sample's name.
struct Averages {
    means: Vec<Decimal>,
    spread: VectorMean,
    design: String,
}

/// Means of a simple random sample, a node for each column.
pub(super) fn simple(
    draft: &mut Draft,
    named: Named,
    columns: &[&[Decimal]],
) -> Option<Vec<NodeRef>> {
    let averages = simple_random(draft, &named.name, columns, None)?;
    enter(draft, named, columns, averages)
}

/// Means of households measured together, a node for each column of each group.
///
/// The groups have the same households in the same order, so that what they share
/// between before and after is in the covariance.
pub(super) fn kitchens(
    draft: &mut Draft,
    name: &str,
    groups: &[&Group],
) -> Option<Vec<Vec<NodeRef>>> {
    let last = groups.last()?;
    let columns: Vec<&[Decimal]> = groups
        .iter()
        .flat_map(|group| group.columns.iter().map(Vec::as_slice))
        .collect();
    let mut rows_of_site: BTreeMap<&str, Vec<usize>> = BTreeMap::new();
    for (row, household) in last.households.iter().enumerate() {
        rows_of_site.entry(&household.site).or_default().push(row);
    }
    let design = draft.inputs.methodology.designs.kitchens;
    let taken = rows_of_site
        .iter()
        .map(|(site, rows)| (*site, rows.len() as u64))
        .collect();
    let sample = Sample {
        name,
        role: last.role,
        age_band: None,
        design,
        taken: &taken,
    };
    let drawn_from = population(draft, &sample)?;
    let averages = match design {
        Design::SimpleRandom => simple_random(draft, name, &columns, drawn_from.whole)?,
        Design::StratifiedBySite | Design::PostStratifiedBySite => {
            stratified(draft, &sample, &columns, &rows_of_site, &drawn_from)?
        }
        Design::ClusteredBySite => clustered(draft, name, &columns, &rows_of_site)?,
    };
    let named = Named {
        name: format!(
            "{name} ({} households{})",
            last.households.len(),
            averages.design
        ),
        role: last.role,
        headings: groups.iter().flat_map(|group| group.headings()).collect(),
    };
    let mut nodes = enter(draft, named, &columns, averages)?.into_iter();
    let mut by_group = Vec::new();
    for group in groups {
        let own: Vec<NodeRef> = nodes.by_ref().take(group.columns.len()).collect();
        own.iter()
            .for_each(|node| draft.ledger.rests_on(*node, group.role));
        by_group.push(own);
    }
    Some(by_group)
}

fn simple_random(
    draft: &mut Draft,
    name: &str,
    columns: &[&[Decimal]],
    drawn_from: Option<u64>,
) -> Option<Averages> {
    let all: Vec<usize> = (0..units(columns)).collect();
    let spread = spread(
        draft,
        name,
        simple_mean_vector(&rows(columns, &all), drawn_from),
    )?;
    Some(Averages {
        means: means(draft, name, columns, &all)?,
        spread,
        design: String::new(),
    })
}

/// Sites as strata, of the draw or made after it.
fn stratified(
    draft: &mut Draft,
    sample: &Sample,
    columns: &[&[Decimal]],
    rows_of_site: &BTreeMap<&str, Vec<usize>>,
    drawn_from: &Population,
) -> Option<Averages> {
    let name = sample.name;
    let lone: Vec<&str> = rows_of_site
        .iter()
        .filter(|(_, rows)| rows.len() < 2)
        .map(|(site, _)| *site)
        .collect();
    if !lone.is_empty() {
        draft.gap(
            "stratum-of-one-kitchen",
            format!(
                "The {name} are stratified by site, but these sites have one kitchen, which has \
                 no spread: {}.",
                lone.join(", ")
            ),
        );
        return None;
    }
    let days = sites::stove_days(draft, None);
    let weights = sites::weights(draft, &days, sample.taken, name);
    let mut strata = Vec::new();
    let mut site_means = Vec::new();
    for (site, weight) in &weights {
        let own = rows_of_site.get(site)?;
        site_means.push((*weight, means(draft, name, columns, own)?));
        strata.push(Stratum {
            weight: to_statistic(*weight),
            population: drawn_from.of_site.get(*site).copied(),
            rows: rows(columns, own),
        });
    }
    let mean_of_column = |column: usize| {
        let parts = site_means.iter().map(|(weight, means)| {
            let mean = means.get(column).copied().unwrap_or_default();
            (*weight, mean)
        });
        sites::weighted_mean(parts).ok_or_else(|| LedgerError::TooLarge {
            id: name.to_owned(),
        })
    };
    let means: Result<Vec<_>, _> = (0..columns.len()).map(mean_of_column).collect();
    let means = draft.keep(means)?;
    let sites = strata.len();
    if sample.design == Design::PostStratifiedBySite {
        return Some(Averages {
            means,
            spread: spread(
                draft,
                name,
                post_stratified_mean_vector(&strata, drawn_from.whole),
            )?,
            design: format!(", weighed afterwards by {sites} sites"),
        });
    }
    Some(Averages {
        means,
        spread: spread(draft, name, stratified_mean_vector(&strata))?,
        design: format!(", {sites} sites as strata"),
    })
}

fn clustered(
    draft: &mut Draft,
    name: &str,
    columns: &[&[Decimal]],
    rows_of_site: &BTreeMap<&str, Vec<usize>>,
) -> Option<Averages> {
    if rows_of_site.len() < 2 {
        draft.gap(
            "too-few-clusters",
            format!(
                "The {name} are clustered by site, but only {} site was sampled; two at least are \
                 needed to know a spread.",
                rows_of_site.len()
            ),
        );
        return None;
    }
    let total = |own: &Vec<usize>| {
        let mut totals = vec![0.0; columns.len()];
        for row in rows(columns, own) {
            totals
                .iter_mut()
                .zip(row)
                .for_each(|(total, value)| *total += value);
        }
        ClusterTotal {
            size: own.len() as f64,
            totals,
        }
    };
    let clusters: Vec<ClusterTotal> = rows_of_site.values().map(total).collect();
    let all: Vec<usize> = (0..units(columns)).collect();
    Some(Averages {
        // The ratio of totals over sizes is the mean over all households.
        means: means(draft, name, columns, &all)?,
        spread: spread(
            draft,
            name,
            cluster_totals_mean_vector(&clusters, ClusterFrame::default()),
        )?,
        design: format!(", {} sites as clusters", clusters.len()),
    })
}

fn units(columns: &[&[Decimal]]) -> usize {
    columns.first().map_or(0, |column| column.len())
}

fn rows(columns: &[&[Decimal]], wanted: &[usize]) -> Vec<Vec<f64>> {
    let cell = |column: &&[Decimal], row: usize| column.get(row).copied().map_or(0.0, to_statistic);
    wanted
        .iter()
        .map(|row| columns.iter().map(|column| cell(column, *row)).collect())
        .collect()
}

fn means(
    draft: &mut Draft,
    name: &str,
    columns: &[&[Decimal]],
    wanted: &[usize],
) -> Option<Vec<Decimal>> {
    let mean = |column: &&[Decimal]| {
        wanted
            .iter()
            .try_fold(Decimal::ZERO, |sum, row| {
                sum.checked_add(*column.get(*row)?)
            })
            .and_then(|sum| sum.checked_div(Decimal::from(wanted.len())))
            .ok_or_else(|| LedgerError::TooLarge {
                id: name.to_owned(),
            })
    };
    let means: Result<Vec<_>, _> = columns.iter().map(mean).collect();
    draft.keep(means)
}

fn spread(
    draft: &mut Draft,
    name: &str,
    found: Result<VectorMean, StatisticsError>,
) -> Option<VectorMean> {
    let found = found.map_err(|reason| LedgerError::Statistics {
        id: name.to_owned(),
        reason,
    });
    draft.keep(found)
}

fn enter(
    draft: &mut Draft,
    named: Named,
    columns: &[&[Decimal]],
    averages: Averages,
) -> Option<Vec<NodeRef>> {
    let estimates = named
        .headings
        .into_iter()
        .zip(averages.means)
        .map(|((heading, at), value)| Estimate { heading, value, at })
        .collect();
    let nodes = draft.ledger.survey(Survey {
        name: named.name,
        role: named.role,
        units: units(columns) as u64,
        degrees_of_freedom: averages.spread.degrees_of_freedom,
        family: Family::StudentT,
        estimates,
        covariance: averages.spread.covariance,
    });
    draft.keep(nodes)
}
