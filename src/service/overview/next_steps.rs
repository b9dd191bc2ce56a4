//! What is to be done next, each step with the place where it is done.
//!
//! A pure reading of what the overview has gathered; the order is that of the work: the
//! register, the rounds, what waits for an answer, then each open period.

use super::Missing;
use crate::service::periods::PeriodView;
use crate::service::rounds::RoundView;
use crate::service::statements::StatementView;
use chrono::NaiveDate;
use std::collections::BTreeMap;
use uuid::Uuid;

/// Where a step is taken.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Place {
    Sites,
    Evidence,
    Rounds,
    Round(String),
    Flags,
    Finding(String),
    Findings,
    Factors,
    Statements,
    Statement(Uuid),
    Methods(String),
}

/// One thing to do, in words.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NextStep {
    /// Period that waits for it; none where it is of the programme.
    pub period: Option<String>,
    pub words: String,
    pub place: Place,
}

impl NextStep {
    fn new(words: impl Into<String>, place: Place) -> Self {
        NextStep {
            period: None,
            words: words.into(),
            place,
        }
    }

    fn of_period(period: &str, words: impl Into<String>, place: Place) -> Self {
        NextStep {
            period: Some(period.to_owned()),
            ..NextStep::new(words, place)
        }
    }
}

/// What the steps are read from.
pub(super) struct Known<'a> {
    pub today: NaiveDate,
    pub sites: usize,
    pub models: usize,
    pub households: u64,
    pub deployments: u64,
    pub rounds: &'a [RoundView],
    /// Last recorded step of each round that the program draws.
    pub last_steps: &'a BTreeMap<String, String>,
    pub open_flags: u64,
    /// Findings that are not closed.
    pub open_findings: u64,
    pub periods: &'a [PeriodView],
    /// Findings that hold each period open.
    pub blocking: &'a BTreeMap<String, Vec<String>>,
    /// The latest first.
    pub statements: &'a [StatementView],
    pub batch_sequences: &'a [u64],
    pub missing: &'a [Missing],
}

pub(super) fn next_steps(known: &Known) -> Vec<NextStep> {
    let mut steps = of_register(known);
    steps.extend(
        known
            .rounds
            .iter()
            .filter_map(|round| of_round(round, known)),
    );
    if known.open_flags > 0 {
        let words = match known.open_flags {
            1 => "Answer the one open flag".to_owned(),
            count => format!("Answer {count} open flags"),
        };
        steps.push(NextStep::new(words, Place::Flags));
    }
    if known.open_findings > 0 {
        let words = match known.open_findings {
            1 => "Bring the one open finding to its close".to_owned(),
            count => format!("Bring {count} open findings to their close"),
        };
        steps.push(NextStep::new(words, Place::Findings));
    }
    if known.periods.is_empty() {
        steps.push(NextStep::new(
            "Open the first monitoring period",
            Place::Statements,
        ));
    }
    for period in known.periods.iter().filter(|one| one.closed_by.is_none()) {
        steps.extend(of_period(period, known));
    }
    steps
}

/// What a new programme still lacks.
fn of_register(known: &Known) -> Vec<NextStep> {
    [
        (known.sites == 0, "Add the first site", Place::Sites),
        (known.models == 0, "Add the first stove model", Place::Sites),
        (
            known.households == 0,
            "Send the list of households",
            Place::Evidence,
        ),
        (
            known.deployments == 0,
            "Send the list of stoves handed out",
            Place::Evidence,
        ),
        (
            known.rounds.is_empty(),
            "Open the first round",
            Place::Rounds,
        ),
    ]
    .into_iter()
    .filter(|(lacks, _, _)| *lacks)
    .map(|(_, words, place)| NextStep::new(words, place))
    .collect()
}

/// The next step of a round that the program draws.
fn of_round(view: &RoundView, known: &Known) -> Option<NextStep> {
    let code = &view.round.code;
    let words = match known.last_steps.get(code).map(String::as_str)? {
        "plan" => format!("Round {code}: take its frame"),
        "frame" => format!("Round {code}: fix its seed and draw"),
        "seed" | "draw" if view.round.ends_on <= known.today => format!("Round {code}: close it"),
        "seed" | "draw" => format!("Round {code}: visit what was drawn"),
        _ => return None,
    };
    Some(NextStep::new(words, Place::Round(code.clone())))
}

fn of_period(view: &PeriodView, known: &Known) -> Vec<NextStep> {
    let code = view.period.code.as_str();
    let Some(latest) = known.statements.iter().find(|one| one.period == code) else {
        let missing = known.missing.iter().find(|one| one.period == code);
        return missing.map_or_else(Vec::new, |missing| before_stating(code, missing));
    };
    let later = known.batch_sequences.iter();
    let later = later
        .filter(|sequence| **sequence >= latest.position)
        .count();
    let mut steps = Vec::new();
    if later > 0 {
        let word = if later == 1 { "batch" } else { "batches" };
        let words = format!("State it again: {later} {word} came after its last statement");
        steps.push(NextStep::of_period(code, words, Place::Statements));
    }
    let blocking = known.blocking.get(code).map_or(&[][..], Vec::as_slice);
    for finding in blocking {
        let words = format!("Settle {finding}, which holds it open");
        steps.push(NextStep::of_period(
            code,
            words,
            Place::Finding(finding.clone()),
        ));
    }
    if steps.is_empty() {
        let words = "Read its statement, hand it to the verifier, then close the period";
        steps.push(NextStep::of_period(
            code,
            words,
            Place::Statement(latest.id),
        ));
    }
    steps
}

fn before_stating(code: &str, missing: &Missing) -> Vec<NextStep> {
    if missing.gaps.is_empty() {
        let words = format!("State it: nothing is missing for {}", missing.methodology);
        return vec![NextStep::of_period(code, words, Place::Statements)];
    }
    let step = |gap: &crate::accounting::statement::Gap| {
        NextStep::of_period(code, gap.sentence.clone(), place_of(code, &gap.code))
    };
    missing.gaps.iter().map(step).collect()
}

/// Where a gap is mended, by its code.
fn place_of(period: &str, gap: &str) -> Place {
    let of_a_methodology = [
        "without-rule",
        "twice",
        "otherwise",
        "unusable",
        "contradicts",
    ];
    if gap == "period-not-over" {
        Place::Statements
    } else if gap.starts_with("factor") || gap.starts_with("gwp") || gap.starts_with("species") {
        Place::Factors
    } else if of_a_methodology.iter().any(|end| gap.ends_with(end)) {
        Place::Methods(period.to_owned())
    } else {
        Place::Evidence
    }
}

#[cfg(test)]
#[path = "next_steps_tests.rs"]
mod tests;
