//! The statement: a pure function of its inputs, with its trace.
//!
//! Same inputs, same program version: same bytes. No clock, no actor, no chance.

mod advice;
mod agreement;
mod char;
pub(in crate::accounting) mod co2e;
mod compare;
mod draft;
mod figures;
mod for_information;
mod fuel;
pub(in crate::accounting) mod kiln;
mod leakage;
pub(in crate::accounting) mod lookup;
mod masses;
mod population;
mod restatement;
pub(in crate::accounting) mod short_lived;
mod side_by_side;
mod simulation;
mod sites;
pub(in crate::accounting) mod species;
mod use_rate;

pub use advice::Advice;
pub use char::SoilSink;
pub use compare::{Difference, compare};
pub use draft::Gap;
pub use for_information::ForInformation;
pub use restatement::{
    BatchOfRole, Cause, CauseKind, EvidencePlace, ExplainError, Explanation, FigureChange, Part,
    explain,
};
pub use side_by_side::{Headline, SideBySide, counted_otherwise, side_by_side};
pub use simulation::{InputContribution, SimulatedFigure, Simulation};

use crate::accounting::cautions;
use crate::accounting::claim::Claims;
use crate::accounting::inputs::{EvidenceSet, Period, ProgrammeName, StatementInputs};
use crate::accounting::methodology::Approach;
use crate::accounting::rounding::ROUNDING_RULE;
use crate::accounting::trace::{Share, Trace};
use draft::Draft;
use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};

/// Names the layout of a statement's JSON.
pub const SCHEMA: &str = "emberbook/statement/2";

/// The computed result of a period under a methodology, at one position of the trail.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Statement {
    pub schema: String,
    pub programme: ProgrammeName,
    pub period: Period,
    /// Trail size the evidence was read at.
    pub position: u64,
    pub methodology: MethodologyName,
    pub program_version: String,
    pub figures: Vec<Figure>,
    pub claims: Claims,
    /// The same figures by the second approach; statements of the first layout have none.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub simulation: Option<Simulation>,
    /// What would make the intervals of the claims narrower.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub advice: Vec<Advice>,
    pub notes: Vec<Note>,
    pub rounding: String,
    pub cautions: Vec<String>,
    pub evidence: Vec<EvidenceSet>,
    pub trace: Trace,
}

impl Statement {
    pub fn figure(&self, id: &str) -> Option<&Figure> {
        self.figures.iter().find(|figure| figure.id == id)
    }
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct MethodologyName {
    pub code: String,
    pub version: u32,
    pub title: String,
}

/// One stated number, rounded, with its interval and the node that it is.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Figure {
    pub id: String,
    pub label: String,
    pub unit: String,
    #[serde(with = "rust_decimal::serde::str")]
    pub value: Decimal,
    #[serde(with = "rust_decimal::serde::str")]
    pub lower: Decimal,
    #[serde(with = "rust_decimal::serde::str")]
    pub upper: Decimal,
    /// Of the two-sided interval, e.g. `0.9`.
    #[serde(with = "rust_decimal::serde::str")]
    pub confidence: Decimal,
    /// Id of its node in the trace.
    pub node: String,
    pub kind: FigureKind,
    /// What brings the most variance, the largest first.
    pub shares: Vec<Share>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum FigureKind {
    /// Not emitted.
    Reduction,
    /// Taken out of the air and stored. Never added to a reduction.
    Removal,
    Mass,
    Percent,
    /// Days, rates: what was done.
    Activity,
    /// Told beside the account; no claim is ever drawn from it.
    ForInformation,
}

/// Something that a reader of the figures must know.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Note {
    pub code: String,
    pub sentence: String,
}

/// Computes the statement, or says in words everything that is missing for it.
pub fn state(inputs: &StatementInputs) -> Result<Statement, Vec<Gap>> {
    let mut draft = Draft::open(inputs).map_err(|gap| vec![gap])?;
    let stated = account(&mut draft);
    let Draft {
        ledger,
        gaps,
        notes,
        ..
    } = draft;
    match stated {
        Some(account) if gaps.is_empty() => {
            let trace = ledger.close().map_err(|error| {
                vec![Gap {
                    code: "number-too-large".to_owned(),
                    sentence: format!("This cannot be computed: {error}."),
                }]
            })?;
            Ok(assemble(inputs, account, notes, trace))
        }
        _ => Err(gaps),
    }
}

/// What the account arrives at, beside its trace.
struct Account {
    figures: Vec<Figure>,
    claims: Claims,
    simulation: Simulation,
    advice: Vec<Advice>,
}

/// Everything that is missing before the statement can be made; nothing is simulated.
pub fn gaps(inputs: &StatementInputs) -> Vec<Gap> {
    unrounded(inputs).err().unwrap_or_default()
}

/// The figures, before they are rounded too, and what may be claimed: all that a comparison
/// asks for. Simulated only where the claim rests on the draws.
fn unrounded(inputs: &StatementInputs) -> Result<restatement::Values, Vec<Gap>> {
    let mut draft = Draft::open(inputs).map_err(|gap| vec![gap])?;
    let reached = values(&mut draft);
    match reached {
        Some(values) if draft.gaps.is_empty() => Ok(values),
        _ => Err(draft.gaps),
    }
}

fn values(draft: &mut Draft) -> Option<restatement::Values> {
    let parts = parts(draft)?;
    let figures = figures::figures(draft, &parts)?;
    let drawn = match draft.inputs.methodology.uncertainty.claim_from {
        Approach::Analytic => None,
        Approach::MonteCarlo => Some(simulation::run(draft, &figures)?),
    };
    let claims = figures::claims(draft, &parts, drawn.as_ref())?;
    let value = |figure: &Figure| {
        let node = draft.ledger.find(&figure.node)?;
        Some((figure.id.clone(), draft.ledger.value(node)))
    };
    Some(restatement::Values {
        whole: figures.iter().filter_map(value).collect(),
        claims,
        figures,
    })
}

/// The whole account, in the order in which a reader follows it.
fn account(draft: &mut Draft) -> Option<Account> {
    let parts = parts(draft)?;
    let figures = figures::figures(draft, &parts)?;
    if !draft.gaps.is_empty() {
        return None;
    }
    let simulation = simulation::run(draft, &figures)?;
    agreement::note(draft, &figures, &simulation);
    note_open_flags(draft);
    Some(Account {
        claims: figures::claims(draft, &parts, Some(&simulation))?,
        advice: advice::advice(draft, &figures, &figures::CLAIMED)?,
        figures,
        simulation,
    })
}

/// Rows that nobody has looked at again yet.
fn note_open_flags(draft: &mut Draft) {
    let flags = &draft.inputs.open_flags;
    let all = flags
        .values()
        .fold(0u64, |sum, flags| sum.saturating_add(*flags));
    if all == 0 {
        return;
    }
    let kinds: Vec<String> = flags
        .iter()
        .map(|(screen, flags)| format!("{screen} {flags}"))
        .collect();
    let sentence = format!(
        "The screens raised flags on rows that this statement reads, and {all} of them had not \
         been answered: {}. A flag changes no row and no figure; rows that are wrong are \
         corrected or left out.",
        kinds.join(", ")
    );
    draft.note("open-flags", sentence);
}

/// Everything that the account is made of, in the ledger.
fn parts<'a>(draft: &mut Draft<'a>) -> Option<figures::Parts<'a>> {
    let inputs = draft.inputs;
    let days = use_rate::days_in_use(draft);
    let groups = fuel::groups(draft, days.as_ref());
    let (days, groups) = (days?, groups?);
    let (baseline, project) = (groups.baseline, groups.project);
    let in_use = days.household_days_in_use;
    let saving = fuel::saving(draft, &baseline, &project, in_use);
    let avoided = co2e::avoided(draft, &baseline, &project, in_use);
    let species: Vec<_> = inputs
        .methodology
        .species
        .iter()
        .map(|name| species::species_mass(draft, name, [&baseline, &project], in_use))
        .collect();
    let species: Option<Vec<_>> = species.into_iter().collect();
    let short_lived = species
        .as_ref()
        .and_then(|species| short_lived::short_lived(draft, species));
    let co2_factors = avoided
        .as_ref()
        .map_or(&[][..], |avoided| &avoided.co2_factors);
    let char = char::account(draft, &project, in_use, co2_factors);
    Some(figures::Parts {
        days,
        baseline,
        project,
        cooking_moved: groups.cooking_moved,
        saving: saving?,
        avoided: avoided?,
        species: species?,
        short_lived: short_lived?,
        char: char?,
    })
}

fn assemble(
    inputs: &StatementInputs,
    account: Account,
    notes: Vec<Note>,
    trace: Trace,
) -> Statement {
    // Who reads of char may go and handle some.
    let of_char = match inputs.char_lots.as_slice() {
        [] => &[][..],
        _ => cautions::char(),
    };
    Statement {
        schema: SCHEMA.to_owned(),
        programme: inputs.programme.clone(),
        period: inputs.period.clone(),
        position: inputs.position,
        methodology: MethodologyName {
            code: inputs.methodology.code.clone(),
            version: inputs.methodology.version,
            title: inputs.methodology.title.clone(),
        },
        program_version: env!("CARGO_PKG_VERSION").to_owned(),
        figures: account.figures,
        claims: account.claims,
        simulation: Some(account.simulation),
        advice: account.advice,
        notes,
        rounding: ROUNDING_RULE.to_owned(),
        cautions: cautions::statement()
            .iter()
            .chain(of_char)
            .map(|text| (*text).to_owned())
            .collect(),
        evidence: inputs.evidence.clone(),
        trace,
    }
}

#[cfg(test)]
mod tests;
