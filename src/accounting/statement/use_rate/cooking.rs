//! How much of the cooking of using households moved to the project stove.
//!
//! Only methods without a project kitchen test need it; it multiplies once, here.

use super::Use;
use super::answers::sites_of_band;
use crate::accounting::factor::Quantity;
use crate::accounting::inputs::{EvidenceRole, Sums};
use crate::accounting::methodology::{CookingShare, Design};
use crate::accounting::rounding::to_statistic;
use crate::accounting::statement::co2e::of_quantity;
use crate::accounting::statement::draft::Draft;
use crate::accounting::statement::sites;
use crate::accounting::trace::{
    Estimate, Family, Heading, LedgerError, NodeRef, Sign, Survey, Term,
};
use crate::statistics::design::{ClusterFrame, ClusterTotal, cluster_totals_mean_vector};
use rust_decimal::Decimal;
use std::collections::BTreeMap;

/// Cooking on the project stove as a share of the cooking of all household-days in use.
pub(in crate::accounting::statement) struct CookingMoved {
    pub share: NodeRef,
    /// The part of `share` that stoves of each age band bring; it adds up to `share`.
    pub bands: Vec<(u32, NodeRef)>,
}

/// `sum over age bands of household-days in use * share of cooking / household-days in use`.
pub(in crate::accounting::statement) fn cooking_moved(
    draft: &mut Draft,
    days: &Use,
    rule: &CookingShare,
) -> Option<CookingMoved> {
    applied_here(draft, rule);
    // Without a day in use no cooking moved: the sum of nothing. All bands are tried before
    // giving up, so that all gaps are named at once.
    let bands: Vec<Option<(u32, NodeRef)>> = days
        .bands_in_use(draft)
        .into_iter()
        .map(|(band, days_of_band)| {
            let part = moved_in_band(draft, days, rule, band, days_of_band)?;
            Some((band, part))
        })
        .collect();
    let bands: Vec<(u32, NodeRef)> = bands.into_iter().collect::<Option<_>>()?;
    let terms: Vec<Term> = bands
        .iter()
        .map(|(_, part)| Term(Sign::Plus, *part))
        .collect();
    let heading = Heading::new(
        "use/cooking_moved",
        "share of cooking moved to the project stove, over household-days in use",
        "cooking-moved",
        "1",
    );
    let share = draft.ledger.sum(heading, &terms);
    Some(CookingMoved {
        share: draft.keep(share)?,
        bands,
    })
}

/// What one age band brings: its days in use times its share of cooking, over all days in use.
fn moved_in_band(
    draft: &mut Draft,
    days: &Use,
    rule: &CookingShare,
    band: u32,
    days_of_band: NodeRef,
) -> Option<NodeRef> {
    let share = match rule {
        CookingShare::UsageSurvey => meal_share(draft, band)?,
        CookingShare::Cited(id) => {
            let factor = draft.named_factor(id, "share of cooking on the project stove")?;
            of_quantity(draft, factor, Quantity::CookingShare)?
        }
    };
    let year = u64::from(band) + 1;
    let heading = Heading::new(
        format!("use/cooking_days_moved/band/{band}"),
        format!("household-days of cooking moved to the project stove, stoves in year {year}"),
        "intensity-of-use",
        "household-day",
    );
    let moved = draft.ledger.product(heading, &[days_of_band, share]);
    let moved = draft.keep(moved)?;
    let heading = Heading::new(
        format!("use/cooking_moved/band/{band}"),
        format!(
            "cooking moved to project stoves in year {year}, of all cooking on household-days in \
             use"
        ),
        "cooking-moved",
        "1",
    );
    let part = draft
        .ledger
        .quotient(heading, moved, days.household_days_in_use);
    draft.keep(part)
}

/// Says where intensity of use is, so that nobody multiplies by it again.
fn applied_here(draft: &mut Draft, rule: &CookingShare) {
    let source = match rule {
        CookingShare::UsageSurvey => {
            "the share of meals that users told the usage survey".to_owned()
        }
        CookingShare::Cited(id) => format!("the share of cooking of {id}"),
    };
    draft.note(
        "intensity-of-use",
        format!(
            "Intensity of use is applied once, by {source} (use/cooking_moved): the saving is of \
             the cooking that moved, the rest stays on the old stoves and counts as project fuel. \
             Days of use per week do not multiply again."
        ),
    );
}

/// A mean of meal shares, its variance and what it is known with.
struct MealShare {
    value: Decimal,
    variance: f64,
    degrees_of_freedom: f64,
    design: String,
}

/// Mean share of meals of those in use who told it. How many users there are no register
/// tells, so that no finite population is counted here.
fn meal_share(draft: &mut Draft, band: u32) -> Option<NodeRef> {
    let told: BTreeMap<&str, Sums> = sites_of_band(draft, band)?
        .into_iter()
        .filter(|(_, count)| count.meal_share.count > 0)
        .map(|(site, count)| (site, count.meal_share))
        .collect();
    let name = format!("shares of meals, age band {band}");
    let all = draft.keep(added(&name, told.values()))?;
    if all.count < 2 {
        draft.gap(
            "too-few-meal-shares",
            format!(
                "Age band {band} has stoves in use, but {} of its users told their share of \
                 meals; two at least are needed to know a spread.",
                all.count
            ),
        );
        return None;
    }
    let share = match draft.inputs.methodology.designs.usage {
        Design::SimpleRandom => simple(draft, &name, &all)?,
        Design::StratifiedBySite | Design::PostStratifiedBySite => {
            stratified(draft, &name, band, &told)?
        }
        Design::ClusteredBySite => clustered(draft, &name, &told, &all)?,
    };
    if share.value < Decimal::ZERO || share.value > Decimal::ONE {
        let sentence = format!("The {name} have a mean of {}, outside 0 to 1.", share.value);
        draft.gap("meal-share-out-of-range", sentence);
        return None;
    }
    let survey = Survey {
        name: format!("{name} ({}{})", all.count, share.design),
        role: EvidenceRole::Usage,
        units: all.count,
        degrees_of_freedom: share.degrees_of_freedom,
        family: Family::StudentT,
        estimates: vec![Estimate {
            heading: Heading::new(
                format!("use/cooking_share/band/{band}"),
                format!(
                    "share of meals on the project stove in year {}, mean of {} users",
                    u64::from(band) + 1,
                    all.count
                ),
                "mean-share-of-meals",
                "1",
            ),
            value: share.value,
            at: BTreeMap::from([("age_band".to_owned(), band.to_string())]),
        }],
        covariance: vec![vec![share.variance]],
    };
    let nodes = draft.ledger.survey(survey);
    draft.keep(nodes)?.first().copied()
}

fn too_large(name: &str) -> LedgerError {
    LedgerError::TooLarge {
        id: name.to_owned(),
    }
}

fn added<'s>(name: &str, parts: impl Iterator<Item = &'s Sums>) -> Result<Sums, LedgerError> {
    let mut all = Sums::default();
    for part in parts {
        let more =
            |so_far: Decimal, own: Decimal| so_far.checked_add(own).ok_or_else(|| too_large(name));
        all.count = all
            .count
            .checked_add(part.count)
            .ok_or_else(|| too_large(name))?;
        all.sum = more(all.sum, part.sum)?;
        all.sum_of_squares = more(all.sum_of_squares, part.sum_of_squares)?;
    }
    Ok(all)
}

/// Mean and its variance, `(n * sum of squares - sum^2) / (n^2 (n - 1))`; two values at least.
fn mean_of(name: &str, sums: &Sums) -> Result<(Decimal, f64), LedgerError> {
    let n = Decimal::from(sums.count);
    let computed = || {
        let mean = sums.sum.checked_div(n)?;
        let above = n
            .checked_mul(sums.sum_of_squares)?
            .checked_sub(sums.sum.checked_mul(sums.sum)?)?;
        let below = n
            .checked_mul(n)?
            .checked_mul(n.checked_sub(Decimal::ONE)?)?;
        Some((mean, to_statistic(above.checked_div(below)?).max(0.0)))
    };
    computed().ok_or_else(|| too_large(name))
}

fn simple(draft: &mut Draft, name: &str, all: &Sums) -> Option<MealShare> {
    let (value, variance) = draft.keep(mean_of(name, all))?;
    Some(MealShare {
        value,
        variance,
        degrees_of_freedom: all.count.saturating_sub(1) as f64,
        design: String::new(),
    })
}

fn stratified(
    draft: &mut Draft,
    name: &str,
    band: u32,
    told: &BTreeMap<&str, Sums>,
) -> Option<MealShare> {
    let lone: Vec<&str> = told
        .iter()
        .filter(|(_, sums)| sums.count < 2)
        .map(|(site, _)| *site)
        .collect();
    if !lone.is_empty() {
        draft.gap(
            "stratum-of-one-answer",
            format!(
                "The {name} are stratified by site, but these sites have one, which has no \
                 spread: {}.",
                lone.join(", ")
            ),
        );
        return None;
    }
    let days = sites::stove_days(draft, Some(band));
    let sampled = told
        .iter()
        .map(|(site, sums)| (*site, sums.count))
        .collect();
    let weights = sites::weights(draft, &days, &sampled, name);
    let total: f64 = weights.values().map(|weight| to_statistic(*weight)).sum();
    let (mut parts, mut variance, mut users) = (Vec::new(), 0.0, 0);
    let afterwards = draft.inputs.methodology.designs.usage == Design::PostStratifiedBySite;
    for (site, weight) in &weights {
        let sums = told.get(site)?;
        let (mean, of_mean) = draft.keep(mean_of(name, sums))?;
        let n = sums.count as f64;
        // Made after the draw, the strata leave one divisor, of all users, for their squares.
        let of_mean = if afterwards {
            of_mean * (n - 1.0) / n
        } else {
            of_mean
        };
        variance += (to_statistic(*weight) / total).powi(2) * of_mean;
        users += sums.count;
        parts.push((*weight, mean));
    }
    let value = sites::weighted_mean(parts.into_iter()).ok_or_else(|| too_large(name));
    let value = draft.keep(value)?;
    let (users, sites) = (users as f64, weights.len());
    if afterwards {
        return Some(MealShare {
            value,
            variance: variance * users / (users - 1.0),
            degrees_of_freedom: users - 1.0,
            design: format!(", weighed afterwards by {sites} sites"),
        });
    }
    Some(MealShare {
        value,
        variance,
        degrees_of_freedom: users - sites as f64,
        design: format!(", {sites} sites as strata"),
    })
}

fn clustered(
    draft: &mut Draft,
    name: &str,
    told: &BTreeMap<&str, Sums>,
    all: &Sums,
) -> Option<MealShare> {
    let clusters: Vec<ClusterTotal> = told
        .values()
        .map(|sums| ClusterTotal {
            size: sums.count as f64,
            totals: vec![to_statistic(sums.sum)],
        })
        .collect();
    let spread = cluster_totals_mean_vector(&clusters, ClusterFrame::default()).map_err(|reason| {
        LedgerError::Statistics {
            id: name.to_owned(),
            reason,
        }
    });
    let spread = draft.keep(spread)?;
    let (value, _) = draft.keep(mean_of(name, all))?;
    Some(MealShare {
        value,
        variance: spread
            .covariance
            .first()
            .and_then(|line| line.first())
            .copied()
            .unwrap_or(0.0),
        degrees_of_freedom: spread.degrees_of_freedom,
        design: format!(", {} sites as clusters", clusters.len()),
    })
}
