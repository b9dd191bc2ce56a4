//! What the laboratory found in the char of one feedstock, as one survey in the ledger.

use crate::accounting::char_lab::Composition;
use crate::accounting::evidence::CharLabTest;
use crate::accounting::inputs::EvidenceRole;
use crate::accounting::rounding::to_statistic;
use crate::accounting::statement::draft::Draft;
use crate::accounting::trace::{Estimate, Family, Heading, LedgerError, NodeRef, Survey};
use crate::statistics::estimate::{VectorMean, mean_vector};
use rust_decimal::Decimal;
use std::collections::BTreeMap;

/// One sample of char; the mean of its results where it was analysed more than once.
pub(super) struct Sample<'a> {
    pub code: &'a str,
    pub found: Composition,
}

/// The means of the samples, in the ledger.
pub(super) struct Means {
    /// kg organic C/kg dry char.
    pub organic_carbon: NodeRef,
    /// Molar H/C_org.
    pub hydrogen_to_carbon: NodeRef,
}

/// The samples of a feedstock's char by code; none where the laboratory had none.
///
/// A result that no char can have is a gap: leaving it out would choose among the evidence.
pub(super) fn samples<'a>(draft: &mut Draft<'a>, feedstock: &str) -> Option<Vec<Sample<'a>>> {
    let mut results: BTreeMap<&'a str, Vec<Composition>> = BTreeMap::new();
    let mut tests: Vec<&'a CharLabTest> = draft
        .inputs
        .char_lab
        .iter()
        .filter(|test| test.feedstock == feedstock)
        .collect();
    tests.sort_by_key(|test| (&test.sample_code, &test.laboratory, test.sampled_on));
    let mut sound = true;
    for test in tests {
        match Composition::of(test) {
            Ok(found) => results.entry(&test.sample_code).or_default().push(found),
            Err(error) => {
                sound = false;
                let sentence = format!(
                    "The laboratory's figures for the sample {} of {feedstock} char cannot be: \
                     {error}.",
                    test.sample_code
                );
                draft.gap("char-lab-implausible", sentence);
            }
        }
    }
    let samples = results.into_iter().map(|(code, results)| {
        let organic_carbon = mean(draft, results.iter().map(|found| found.organic_carbon));
        let hydrogen_to_carbon = mean(draft, results.iter().map(|found| found.hydrogen_to_carbon));
        let found = Composition {
            organic_carbon: organic_carbon?,
            hydrogen_to_carbon: hydrogen_to_carbon?,
        };
        Some(Sample { code, found })
    });
    let samples = samples.collect::<Option<Vec<_>>>();
    samples.filter(|_| sound)
}

fn mean(draft: &mut Draft, values: impl ExactSizeIterator<Item = Decimal>) -> Option<Decimal> {
    let count = Decimal::from(values.len());
    let mut values = values;
    let sum = values.try_fold(Decimal::ZERO, |sum, value| sum.checked_add(value));
    let mean = sum.and_then(|sum| sum.checked_div(count));
    draft.keep(mean.ok_or_else(|| LedgerError::TooLarge {
        id: "char_lab".to_owned(),
    }))
}

/// Enters the means of C_org and H/C_org as one survey: both were found in the same samples.
///
/// A single sample has no spread of its own: its carbon takes `spread_of_one`, a standard
/// deviation, and the spread of its H/C_org stays unknown and uncounted, which is noted.
pub(super) fn enter(
    draft: &mut Draft,
    feedstock: &str,
    samples: &[Sample],
    spread_of_one: f64,
) -> Option<Means> {
    let count = samples.len();
    let (covariance, degrees_of_freedom) = match samples {
        [one] => {
            draft.note(
                "char-lab-one-sample",
                format!(
                    "The laboratory analysed one sample of {feedstock} char, {}: its carbon is \
                     used with the spread of the cited default; how far H/C_org varies between \
                     samples is not known and not counted.",
                    one.code
                ),
            );
            let carbon_alone = vec![vec![spread_of_one * spread_of_one, 0.0], vec![0.0, 0.0]];
            (carbon_alone, f64::INFINITY)
        }
        several => {
            let spread = spread(draft, feedstock, several)?;
            (spread.covariance, spread.degrees_of_freedom)
        }
    };
    let carbons = samples.iter().map(|sample| sample.found.organic_carbon);
    let ratios = samples.iter().map(|sample| sample.found.hydrogen_to_carbon);
    let (carbon, ratio) = (mean(draft, carbons)?, mean(draft, ratios)?);
    let estimate = |heading: Heading, value: Decimal| Estimate {
        heading,
        value,
        at: BTreeMap::from([("feedstock".to_owned(), feedstock.to_owned())]),
    };
    let spread_words = if count == 1 {
        ", with the spread of the cited default"
    } else {
        ""
    };
    let carbon_heading = Heading::new(
        format!("char_lab/{feedstock}/organic_carbon"),
        format!(
            "organic carbon of {feedstock} char, mean of {count} laboratory samples{spread_words}"
        ),
        "mean-organic-carbon",
        "kg C/kg dry char",
    );
    let ratio_heading = Heading::new(
        format!("char_lab/{feedstock}/hydrogen_to_carbon"),
        format!("molar H/C_org of {feedstock} char, mean of {count} laboratory samples"),
        "mean-hydrogen-to-carbon",
        "1",
    );
    let nodes = draft.ledger.survey(Survey {
        name: format!("laboratory samples of {feedstock} char ({count})"),
        role: EvidenceRole::CharLab,
        units: count as u64,
        degrees_of_freedom,
        family: Family::StudentT,
        estimates: vec![
            estimate(carbon_heading, carbon),
            estimate(ratio_heading, ratio),
        ],
        covariance,
    });
    let [organic_carbon, hydrogen_to_carbon] = <[NodeRef; 2]>::try_from(draft.keep(nodes)?).ok()?;
    Some(Means {
        organic_carbon,
        hydrogen_to_carbon,
    })
}

/// Covariance of the two means, `n - 1` degrees of freedom.
fn spread(draft: &mut Draft, feedstock: &str, samples: &[Sample]) -> Option<VectorMean> {
    let row = |sample: &Sample| {
        let Composition {
            organic_carbon,
            hydrogen_to_carbon,
        } = sample.found;
        vec![
            to_statistic(organic_carbon),
            to_statistic(hydrogen_to_carbon),
        ]
    };
    let rows: Vec<Vec<f64>> = samples.iter().map(row).collect();
    let spread = mean_vector(&rows).map_err(|reason| LedgerError::Statistics {
        id: format!("char_lab/{feedstock}"),
        reason,
    });
    draft.keep(spread)
}
