//! The same evidence stated by several methodologies.

use super::{Figure, Gap, MethodologyName, unrounded};
use crate::accounting::claim::Claims;
use crate::accounting::factor::{Factor, FactorId};
use crate::accounting::inputs::StatementInputs;
use crate::accounting::methodology::{FinitePopulation, Methodology};
use rust_decimal::Decimal;

/// The figures by which methodologies are compared, as far as a statement has them.
const HEADLINES: [&str; 4] = [
    "fuel_saved_per_household_day",
    "fuel_saved",
    "reductions_co2e",
    "removals_co2",
];

/// What one methodology makes of the evidence.
#[derive(Debug, Clone, PartialEq)]
pub struct SideBySide {
    pub methodology: MethodologyName,
    /// The headline, or everything that is missing for it.
    pub outcome: Result<Headline, Vec<Gap>>,
}

/// Fuel saved, reductions and removals, and what may be claimed of them.
#[derive(Debug, Clone, PartialEq)]
pub struct Headline {
    /// In order: fuel saved per household-day and in all, reductions, removals.
    pub figures: Vec<Figure>,
    pub claims: Claims,
}

/// States `inputs` by each methodology with its factors, in their order.
///
/// Stove days and char lots were counted under the methodology of `inputs`; one that would
/// have counted them otherwise is refused, not answered with the wrong counts.
pub fn side_by_side(
    inputs: &StatementInputs,
    methodologies: &[(Methodology, Vec<Factor>)],
) -> Vec<SideBySide> {
    methodologies
        .iter()
        .map(|(methodology, factors)| SideBySide {
            methodology: MethodologyName {
                code: methodology.code.clone(),
                version: methodology.version,
                title: methodology.title.clone(),
            },
            outcome: stated_by(inputs, methodology, factors),
        })
        .collect()
}

fn stated_by(
    inputs: &StatementInputs,
    methodology: &Methodology,
    factors: &[Factor],
) -> Result<Headline, Vec<Gap>> {
    let gaps = counted_otherwise(inputs, methodology, factors);
    if !gaps.is_empty() {
        return Err(gaps);
    }
    let reached = unrounded(&StatementInputs {
        methodology: methodology.clone(),
        factors: factors.to_vec(),
        ..inputs.clone()
    })?;
    let figures = HEADLINES
        .iter()
        .filter_map(|id| reached.figure(id).cloned())
        .collect();
    Ok(Headline {
        figures,
        claims: reached.claims,
    })
}

/// What was counted under one methodology and would have been counted otherwise under another.
pub fn counted_otherwise(
    inputs: &StatementInputs,
    methodology: &Methodology,
    factors: &[Factor],
) -> Vec<Gap> {
    let mut gaps = Vec::new();
    let (own, other) = (inputs.methodology.grace_days, methodology.grace_days);
    if own != other {
        gaps.push(Gap {
            code: "stove-days-counted-otherwise".to_owned(),
            sentence: format!(
                "The stove days were counted with {own} days of grace after installation, {} \
                 wants {other}.",
                methodology.id()
            ),
        });
    }
    let counts = |methodology: &Methodology| methodology.designs.finite_population;
    if counts(methodology) != counts(&inputs.methodology)
        && counts(methodology) == FinitePopulation::Register
    {
        gaps.push(Gap {
            code: "population-not-counted".to_owned(),
            sentence: format!(
                "{} corrects for finite populations; the stoves and households in service were \
                 not counted.",
                methodology.id()
            ),
        });
    }
    let bound = |id: &FactorId, among: &[Factor]| -> Option<Decimal> {
        let factor = among.iter().find(|factor| factor.id() == *id)?;
        Some(factor.value)
    };
    let own = bound(&inputs.methodology.char_rule.yield_bound, &inputs.factors);
    let other = bound(&methodology.char_rule.yield_bound, factors);
    if let (Some(own), Some(other)) = (own, other)
        && own != other
        && !inputs.char_lots.is_empty()
    {
        gaps.push(Gap {
            code: "char-counted-otherwise".to_owned(),
            sentence: format!(
                "The char was held against a yield bound of {own}, {} wants {other}.",
                methodology.id()
            ),
        });
    }
    gaps
}
