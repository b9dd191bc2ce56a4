//! Every statement of a bag, computed again from the rows by the very function
//! that the service runs.

use super::evidence::{Accepted, Evidence};
use super::layout;
use super::record::{History, StatedAt};
use super::report::{Fault, Level, Report};
use crate::accounting::factor::Factor;
use crate::accounting::gather;
use crate::accounting::inputs::{
    BatchRef, EvidenceRole, EvidenceSet, KitchenHousehold, StatementInputs,
};
use crate::accounting::methodology::FinitePopulation;
use crate::accounting::records::flags::RowPlace;
use crate::accounting::records::{ChosenRounds, RoundRecord, choose_rounds};
use crate::accounting::statement::{Statement, compare, state};
use crate::accounting::trace::prov_json;
use crate::trail::bag::Bag;
use crate::trail::canonical::canonical_of;
use std::collections::BTreeMap;
use std::io::Read;

pub(super) fn check(bag: &Bag, history: &History, evidence: &Evidence, report: &mut Report) {
    let mut figures = 0;
    for stated in &history.statements {
        let file = layout::statement_file(&stated.subject);
        if file_bytes(bag, &file) != Ok(stated.bytes.clone()) {
            let problem = "it is not what the trail committed to";
            report.fault(Level::Figures, Fault::of_payload(&file, problem));
        }
        check_provenance(bag, stated, report);
        match recompute(history, evidence, stated) {
            Ok(again) => {
                figures += stated.statement.figures.len() + stated.statement.trace.nodes.len();
                compare_statements(&file, stated, &again, report);
            }
            Err(problem) => report.fault(Level::Figures, Fault::of_payload(&file, problem)),
        }
    }
    report.done(
        Level::Figures,
        format!(
            "{} statement(s) computed again from the rows: {figures} figures and trace nodes equal",
            history.statements.len()
        ),
    );
}

/// The trace in the words of PROV says what the statement says.
fn check_provenance(bag: &Bag, stated: &StatedAt, report: &mut Report) {
    let file = layout::provenance_file(&stated.subject);
    let due = canonical_of(&prov_json(&stated.statement, &stated.subject));
    let problem = match (file_bytes(bag, &file), due) {
        (Ok(found), Ok(due)) if found == due => return,
        (Ok(_), Ok(_)) => "it is not the trace of the statement".to_owned(),
        (Err(problem), _) => problem,
        (_, Err(error)) => error.to_string(),
    };
    report.fault(Level::Figures, Fault::of_payload(&file, problem));
}

fn file_bytes(bag: &Bag, file: &str) -> Result<Vec<u8>, String> {
    let mut bytes = Vec::new();
    bag.payload(file)
        .map_err(|e| e.to_string())?
        .read_to_end(&mut bytes)
        .map_err(|e| e.to_string())?;
    Ok(bytes)
}

fn compare_statements(file: &str, stated: &StatedAt, again: &Statement, report: &mut Report) {
    let mut differences = compare(&stated.statement, again);
    // What a reader asks for first: the figures, and of each its value.
    differences.sort_by_key(|difference| {
        (
            !difference.place.starts_with("figure"),
            !difference.place.ends_with(", value"),
        )
    });
    for difference in &differences {
        report.fault(
            Level::Figures,
            Fault::of_payload(file, difference.to_string()),
        );
    }
    let bytes = canonical_of(again).unwrap_or_default();
    if differences.is_empty() && bytes != stated.bytes {
        let own = env!("CARGO_PKG_VERSION");
        let problem = if stated.statement.program_version == own {
            "computing it again gives other bytes".to_owned()
        } else {
            format!(
                "it was made by version {} of the program; this is {own}",
                stated.statement.program_version
            )
        };
        report.fault(Level::Figures, Fault::of_payload(file, problem));
    }
}

fn recompute(
    history: &History,
    evidence: &Evidence,
    stated: &StatedAt,
) -> Result<Statement, String> {
    let inputs = inputs_at(history, evidence, &stated.statement, stated.sequence)?;
    state(&inputs).map_err(|gaps| {
        let sentences: Vec<String> = gaps.into_iter().map(|gap| gap.sentence).collect();
        format!("it cannot be computed again: {}", sentences.join(" "))
    })
}

/// Rows that count at `position`, of these rounds where any are named.
fn known<'a, T>(
    history: &History,
    evidence: &Evidence,
    rows: &'a [Accepted<T>],
    position: u64,
    rounds: Option<&[String]>,
) -> Vec<&'a T> {
    let counts = |batch, line| history.corrections.counts(batch, line, position);
    evidence.known(rows, position, rounds, counts)
}

/// What the statement claims to be a function of, gathered from the rows.
fn inputs_at(
    history: &History,
    evidence: &Evidence,
    statement: &Statement,
    sequence: u64,
) -> Result<StatementInputs, String> {
    let position = statement.position;
    if position > sequence {
        return Err(format!(
            "it claims position {position} but stands at entry {sequence}"
        ));
    }
    let programme = history
        .programme_name()
        .ok_or("the trail creates no programme")?;
    let period = history
        .periods
        .iter()
        .find(|(opened, period)| *opened < sequence && period.code == statement.period.code)
        .map(|(_, period)| period.clone())
        .ok_or_else(|| format!("period {} is not in the trail", statement.period.code))?;
    let (code, version) = (&statement.methodology.code, statement.methodology.version);
    let methodology = history
        .methodologies
        .iter()
        .find(|(added, m)| *added < position && m.code == *code && m.version == version)
        .map(|(_, methodology)| methodology.clone())
        .ok_or_else(|| format!("methodology {code}@{version} is not in the trail"))?;
    let factors: Vec<Factor> = methodology
        .factors
        .iter()
        .filter_map(|id| {
            let known = |(added, f): &&(u64, Factor)| *added < position && f.id() == *id;
            history
                .factors
                .iter()
                .find(known)
                .map(|(_, factor)| factor.clone())
        })
        .collect();
    let yield_bound = factors
        .iter()
        .find(|factor| factor.id() == methodology.char_rule.yield_bound)
        .map(|factor| factor.value)
        .ok_or_else(|| {
            format!(
                "factor {} is not in the trail",
                methodology.char_rule.yield_bound
            )
        })?;
    let rounds: Vec<RoundRecord> = history
        .rounds
        .iter()
        .filter(|(opened, _)| *opened < position)
        .map(|(_, round)| round.clone())
        .collect();
    let chosen = choose_rounds(&rounds, &period);

    let words = |e: gather::GatherError| e.to_string();
    let households = known(history, evidence, &evidence.households, position, None);
    let deployments = known(history, evidence, &evidence.deployments, position, None);
    let ends = known(history, evidence, &evidence.deployment_ends, position, None);
    let kitchens = |rounds: &[String]| -> Result<Vec<KitchenHousehold>, String> {
        let days = known(
            history,
            evidence,
            &evidence.kitchen_days,
            position,
            Some(rounds),
        );
        gather::kitchen_households(&days, &households).map_err(words)
    };
    let usage = known(
        history,
        evidence,
        &evidence.usage_answers,
        position,
        Some(&chosen.usage),
    );
    let weighings = known(
        history,
        evidence,
        &evidence.char_weighings,
        position,
        Some(&chosen.char_weighings),
    );
    let answers = known(
        history,
        evidence,
        &evidence.baseline_answers,
        position,
        Some(&chosen.baseline_survey),
    );
    let cooking = known(
        history,
        evidence,
        &evidence.cooking_tests,
        position,
        Some(&chosen.cooking_tests),
    );
    let stoves = known(
        history,
        evidence,
        &evidence.stove_tests,
        position,
        Some(&chosen.stove_tests),
    );
    let samples = known(
        history,
        evidence,
        &evidence.char_samples,
        position,
        Some(&chosen.char_lab),
    );
    let to_draw_from = match methodology.designs.finite_population {
        FinitePopulation::None => Vec::new(),
        FinitePopulation::Register => {
            let field = gather::FieldDays::of(&rounds, &chosen, &period);
            gather::to_draw_from(&households, &deployments, &ends, &field).map_err(words)?
        }
    };
    Ok(StatementInputs {
        programme,
        cohorts: gather::cohorts(
            &households,
            &deployments,
            &ends,
            &period,
            methodology.grace_days,
        )
        .map_err(words)?,
        usage: gather::usage_counts(&usage, &deployments, &households, &period).map_err(words)?,
        baseline_kitchens: kitchens(&chosen.baseline_kitchens)?,
        project_kitchens: kitchens(&chosen.project_kitchens)?,
        char_lots: gather::char_lots(&weighings, &period, yield_bound).map_err(words)?,
        baseline_survey: gather::survey_households(&answers, &households).map_err(words)?,
        cooking_tests: gather::cooking_tests(&cooking),
        stove_tests: gather::stove_tests(&stoves),
        char_lab: gather::char_lab(&samples),
        to_draw_from,
        open_flags: open_flags(history, position, &chosen),
        evidence: evidence_sets(history, position, &chosen),
        period,
        position,
        methodology,
        factors,
    })
}

/// Flags on rows that count, of the rounds that are read, not answered by then.
fn open_flags(history: &History, position: u64, chosen: &ChosenRounds) -> BTreeMap<String, u64> {
    let rounds = chosen.all_read();
    let mut open = BTreeMap::new();
    for raised in history.flags.values() {
        let counts = |row: &RowPlace| history.corrections.counts(row.batch, row.line, position);
        if raised.sequence < position
            && raised.answered.is_none_or(|answered| answered >= position)
            && rounds.contains(&raised.round)
            && raised.flag.rows.iter().any(counts)
        {
            *open.entry(raised.flag.screen.clone()).or_default() += 1;
        }
    }
    open
}

fn evidence_sets(history: &History, position: u64, chosen: &ChosenRounds) -> Vec<EvidenceSet> {
    let batches = |rounds: Option<&[String]>| {
        let mut found: Vec<_> = history
            .batches
            .values()
            .filter(|(sequence, batch)| {
                *sequence < position
                    && !history.corrections.is_withdrawn(batch.id, position)
                    && match (rounds, &batch.round) {
                        (None, None) => true,
                        (Some(rounds), Some(round)) => rounds.contains(round),
                        _ => false,
                    }
            })
            .collect();
        found.sort_by_key(|(sequence, _)| *sequence);
        found
            .into_iter()
            .map(|(_, batch)| BatchRef {
                id: batch.id,
                rows: batch.rows,
                root: batch.root.clone(),
            })
            .collect()
    };
    let mut sets = vec![EvidenceSet {
        role: EvidenceRole::Register,
        rounds: Vec::new(),
        batches: batches(None),
    }];
    for (role, rounds) in chosen.by_role() {
        sets.push(EvidenceSet {
            role,
            rounds: rounds.to_vec(),
            batches: batches(Some(rounds)),
        });
    }
    sets
}
