//! Two statements of one period, and what moved each figure from the one to the other.
//!
//! The inputs of the first are changed into those of the second one cause at a time: one
//! factor, one rule, one household's kitchen test, one cohort's stove days. What each step
//! moves is the cause's part; the parts of a figure add up to its difference, exactly, with
//! what rounding the two stated figures took or gave as a part of its own. The order of the
//! steps is fixed: evidence, then factors, then rules. Another order could share out an
//! interaction of two causes otherwise, never the sum.

mod changes;

use super::{Figure, Gap, unrounded};
use crate::accounting::claim::Claims;
use crate::accounting::inputs::{BatchRef, EvidenceRole, StatementInputs};
use changes::{Change, changes};
use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use utoipa::ToSchema;

/// Decimals that an unrounded figure is compared with, so that its parts add up exactly.
const COMPARED_DECIMALS: u32 = 12;

/// What lies between two statements.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Explanation {
    pub causes: Vec<Cause>,
    /// Figures that both statements have and that differ, in the order of the second.
    pub figures: Vec<FigureChange>,
    /// The two claims in whole tonnes, where they differ.
    pub claims: Vec<FigureChange>,
    /// Figures that only one of the two states.
    pub only_before: Vec<String>,
    pub only_after: Vec<String>,
    /// Batches that the second statement reads and the first does not.
    pub batches_added: Vec<BatchOfRole>,
    /// Batches that the first statement reads and the second does not.
    pub batches_removed: Vec<BatchOfRole>,
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct BatchOfRole {
    pub role: EvidenceRole,
    pub batch: BatchRef,
}

/// One thing that is different.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Cause {
    pub kind: CauseKind,
    /// E.g. `factor fnrb-default@1`, `kitchen test of H-0012, project`.
    pub title: String,
    /// What it was and what it became, in words.
    pub change: String,
    /// Of evidence: where its rows are found.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub evidence: Option<EvidencePlace>,
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct EvidencePlace {
    pub role: EvidenceRole,
    /// Picks the raw rows, as in the trace.
    #[serde(rename = "where")]
    pub at: BTreeMap<String, String>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum CauseKind {
    /// Rows of the register or of a round.
    Evidence,
    Factor,
    /// A choice of the methodology.
    Rule,
    /// Several that can only be made together: apart, no statement could be made.
    Together,
}

/// How one figure moved, and what moved it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct FigureChange {
    pub id: String,
    pub label: String,
    pub unit: String,
    #[serde(with = "rust_decimal::serde::str")]
    pub before: Decimal,
    #[serde(with = "rust_decimal::serde::str")]
    pub after: Decimal,
    #[serde(with = "rust_decimal::serde::str")]
    pub difference: Decimal,
    /// Causes that moved it, in their order; with `rounding` they add up to `difference`.
    pub parts: Vec<Part>,
    #[serde(with = "rust_decimal::serde::str")]
    pub rounding: Decimal,
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Part {
    /// Place in `Explanation::causes`.
    pub cause: usize,
    #[serde(with = "rust_decimal::serde::str")]
    pub moved: Decimal,
}

/// The two cannot be explained from one another.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum ExplainError {
    #[error("the two statements are of different programmes or periods")]
    OtherPeriod,
    #[error("one of the two statements cannot be made: {0}")]
    Gaps(String),
    #[error("a figure is too large to be compared")]
    TooLarge,
}

/// What moved each figure from the statement of `before` to that of `after`.
pub fn explain(
    before: &StatementInputs,
    after: &StatementInputs,
) -> Result<Explanation, ExplainError> {
    if before.programme.id != after.programme.id || before.period != after.period {
        return Err(ExplainError::OtherPeriod);
    }
    let walk = walk(before, after)?;
    let (Some(first), Some(last)) = (walk.values.first(), walk.values.last()) else {
        return Err(ExplainError::TooLarge);
    };
    let mut figures = Vec::new();
    for figure in &last.figures {
        let Some(earlier) = first.figure(&figure.id) else {
            continue;
        };
        if earlier.value != figure.value {
            let ends = (earlier.value, figure.value);
            let names = [&figure.id, &figure.label, &figure.unit].map(String::as_str);
            figures.push(walk.moved(names, ends, &|values| values.whole.get(&figure.id).copied())?);
        }
    }
    let (batches_added, batches_removed) =
        (batches_beyond(after, before), batches_beyond(before, after));
    Ok(Explanation {
        claims: claims(&walk, first, last)?,
        figures,
        only_before: figures_beyond(first, last),
        only_after: figures_beyond(last, first),
        causes: walk.causes.clone(),
        batches_added,
        batches_removed,
    })
}

fn sentences(gaps: &[Gap]) -> String {
    let sentences: Vec<&str> = gaps.iter().map(|gap| gap.sentence.as_str()).collect();
    sentences.join(" ")
}

/// What a statement comes to at one step.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Values {
    /// As stated, rounded.
    pub figures: Vec<Figure>,
    /// Before rounding, by id.
    pub whole: BTreeMap<String, Decimal>,
    pub claims: Claims,
}

impl Values {
    pub fn figure(&self, id: &str) -> Option<&Figure> {
        self.figures.iter().find(|figure| figure.id == id)
    }

    /// Whole tonnes of reductions, then of removals.
    fn claimed(&self) -> [Decimal; 2] {
        let Claims {
            reductions,
            removals,
        } = &self.claims;
        [
            reductions.tonnes.tonnes().into(),
            removals.tonnes.tonnes().into(),
        ]
    }
}

/// The steps from the one to the other, with the values at each of them.
struct Walk {
    causes: Vec<Cause>,
    /// One more than there are causes: where the walk begins, then after each cause.
    values: Vec<Values>,
}

fn walk(before: &StatementInputs, after: &StatementInputs) -> Result<Walk, ExplainError> {
    let gaps = |gaps: Vec<Gap>| ExplainError::Gaps(sentences(&gaps));
    let mut current = before.clone();
    let mut causes = Vec::new();
    let mut values = vec![unrounded(&current).map_err(gaps)?];
    let mut waiting: Vec<Cause> = Vec::new();
    for Change { cause, apply } in changes(before, after) {
        apply(&mut current);
        waiting.push(cause);
        if let Ok(reached) = unrounded(&current) {
            causes.extend(joined(std::mem::take(&mut waiting)));
            values.push(reached);
        }
    }
    let end = unrounded(after).map_err(gaps)?;
    if values.last() != Some(&end) {
        waiting.push(Cause {
            kind: CauseKind::Rule,
            title: "what is left".to_owned(),
            change: "everything that no other cause names".to_owned(),
            evidence: None,
        });
    }
    if let Some(cause) = joined(waiting) {
        causes.push(cause);
        values.push(end);
    }
    Ok(Walk { causes, values })
}

/// Causes that only together lead to another statement.
fn joined(mut causes: Vec<Cause>) -> Option<Cause> {
    if causes.len() < 2 {
        return causes.pop();
    }
    let listed = |text: fn(&Cause) -> &String| {
        let texts: Vec<&str> = causes.iter().map(|cause| text(cause).as_str()).collect();
        texts.join("; ")
    };
    Some(Cause {
        kind: CauseKind::Together,
        title: listed(|cause| &cause.title),
        change: listed(|cause| &cause.change),
        evidence: None,
    })
}

impl Walk {
    fn moved(
        &self,
        [id, label, unit]: [&str; 3],
        (before, after): (Decimal, Decimal),
        value: &dyn Fn(&Values) -> Option<Decimal>,
    ) -> Result<FigureChange, ExplainError> {
        let apart = |a: Decimal, b: Decimal| a.checked_sub(b).ok_or(ExplainError::TooLarge);
        // A figure that one step does not state stands where it stood.
        let mut chain: Vec<Decimal> = Vec::with_capacity(self.values.len());
        for values in &self.values {
            let found = value(values).map(|value| value.round_dp(COMPARED_DECIMALS));
            let standing = chain.last().copied().unwrap_or(before);
            chain.push(found.unwrap_or(standing));
        }
        let mut parts = Vec::new();
        let mut sum = Decimal::ZERO;
        for (cause, pair) in chain.windows(2).enumerate() {
            let [from, to] = pair else { continue };
            let moved = apart(*to, *from)?;
            if !moved.is_zero() {
                sum = sum.checked_add(moved).ok_or(ExplainError::TooLarge)?;
                parts.push(Part {
                    cause,
                    moved: moved.normalize(),
                });
            }
        }
        let difference = apart(after, before)?;
        Ok(FigureChange {
            id: id.to_owned(),
            label: label.to_owned(),
            unit: unit.to_owned(),
            before,
            after,
            difference: difference.normalize(),
            parts,
            rounding: apart(difference, sum)?.normalize(),
        })
    }
}

fn claims(walk: &Walk, first: &Values, last: &Values) -> Result<Vec<FigureChange>, ExplainError> {
    let names = [
        ["claim_reductions", "claim of reductions", "tCO2e"],
        ["claim_removals", "claim of removals", "tCO2"],
    ];
    let mut changed = Vec::new();
    for (which, (before, after)) in first.claimed().into_iter().zip(last.claimed()).enumerate() {
        let claimed = |values: &Values| values.claimed().get(which).copied();
        if let Some(names) = names.get(which).filter(|_| before != after) {
            changed.push(walk.moved(*names, (before, after), &claimed)?);
        }
    }
    Ok(changed)
}

fn figures_beyond(here: &Values, there: &Values) -> Vec<String> {
    here.figures
        .iter()
        .filter(|figure| there.figure(&figure.id).is_none())
        .map(|figure| figure.id.clone())
        .collect()
}

fn batches_beyond(here: &StatementInputs, there: &StatementInputs) -> Vec<BatchOfRole> {
    let known = |role: EvidenceRole, batch: &BatchRef| {
        let sets = there.evidence.iter().filter(|set| set.role == role);
        sets.flat_map(|set| &set.batches)
            .any(|other| other.id == batch.id)
    };
    here.evidence
        .iter()
        .flat_map(|set| set.batches.iter().map(|batch| (set.role, batch)))
        .filter(|(role, batch)| !known(*role, batch))
        .map(|(role, batch)| BatchOfRole {
            role,
            batch: batch.clone(),
        })
        .collect()
}
