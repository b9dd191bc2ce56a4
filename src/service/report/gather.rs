//! From entries of the trail to what a report is made of.

use crate::accounting::factor::Factor;
use crate::accounting::inputs::EvidenceRole;
use crate::accounting::methodology::Methodology;
use crate::accounting::records::corrections::{
    BatchWithdrawnRecord, CorrectionKind, RowExcludedRecord, RowSupersededRecord,
};
use crate::accounting::records::findings::{Act, Finding, FindingBook, Told};
use crate::accounting::records::flags::{FlagAnswerRecord, FlagsRaisedRecord};
use crate::accounting::records::opinions::{OPINION_RECORDED, OpinionRecord};
use crate::accounting::records::{
    BatchRecord, FactorsRecord, RoundRecord, SiteRecord, StoveModelRecord, kind,
};
use crate::accounting::rounds::records::kind as step;
use crate::accounting::statement::Statement;
use crate::report::source::{
    CorrectionFacts, Counted, FlagFacts, OpinionFacts, ReportSource, RoundFacts,
};
use crate::service::ServiceError;
use crate::store::statements::StatementRow;
use crate::store::trail::EntryRow;
use chrono::SecondsFormat;
use serde::de::DeserializeOwned;
use std::collections::{BTreeMap, BTreeSet};
use uuid::Uuid;

/// What is known of the report before the trail is read.
pub(super) struct Head {
    pub row: StatementRow,
    /// The entry that holds the statement.
    pub entry: EntryRow,
    pub position: u64,
    pub checkpoint: String,
    pub key: String,
    pub base: Option<String>,
}

/// The kinds of entries that a report is made of.
pub(super) fn kinds() -> Vec<&'static str> {
    let mut kinds = vec![
        kind::SITE_ADDED,
        kind::STOVE_MODEL_ADDED,
        kind::FACTORS_ADDED,
        kind::METHODOLOGY_ADDED,
        kind::ROUND_OPENED,
        kind::BATCH_ACCEPTED,
        kind::FLAGS_RAISED,
        kind::FLAG_ANSWERED,
        step::ROUND_PLANNED,
        step::ROUND_FRAMED,
        step::ROUND_SEEDED,
        step::ROUND_DRAWN,
        step::ROUND_CLOSED,
        OPINION_RECORDED,
    ];
    kinds.extend(kind::CORRECTIONS);
    kinds.extend(Act::ALL.map(Act::entry_kind));
    kinds
}

/// What the entries tell, as they are read one after the other.
#[derive(Default)]
struct History {
    sites: Vec<SiteRecord>,
    models: Vec<StoveModelRecord>,
    factors: Vec<Factor>,
    methodologies: Vec<Methodology>,
    rounds: Vec<RoundFacts>,
    batches: BTreeMap<Uuid, BatchRecord>,
    corrections: Vec<CorrectionFacts>,
    /// With the batch that they were raised on.
    flags: Vec<(Uuid, FlagFacts)>,
    findings: FindingBook,
    opinions: Vec<OpinionFacts>,
}

/// Reads the entries, in the order of the trail, into the source of the report.
pub(super) fn source(head: Head, entries: &[EntryRow]) -> Result<ReportSource, ServiceError> {
    let statement: Statement = read(&head.entry)?;
    let mut history = History::default();
    for entry in entries {
        history.take(entry)?;
    }
    let id = format!(
        "{}@{}",
        statement.methodology.code, statement.methodology.version
    );
    let methodology = history
        .methodologies
        .iter()
        .find(|methodology| methodology.id() == id)
        .cloned()
        .ok_or_else(|| ServiceError::Internal(format!("methodology {id} is not in the trail")))?;
    let named = methodology.factors.iter();
    let factors = named
        .filter_map(|id| {
            history
                .factors
                .iter()
                .find(|factor| factor.id() == *id)
                .cloned()
        })
        .collect();
    let (rounds, register) = history.read_by(&statement);
    let read: BTreeSet<Uuid> = statement
        .evidence
        .iter()
        .flat_map(|set| set.batches.iter().map(|batch| batch.id))
        .collect();
    let flags = history.flags.into_iter();
    let subject = head.row.statement_id;
    Ok(ReportSource {
        statement_id: subject,
        sha256: hex::encode(&head.row.content_hash),
        sequence: head.row.sequence,
        made_at: head.entry.at.to_rfc3339_opts(SecondsFormat::Secs, true),
        restatement: head.row.restatement,
        methodology,
        factors,
        sites: history.sites,
        models: history.models,
        rounds,
        register,
        corrections: history.corrections,
        flags: flags
            .filter(|(batch, _)| read.contains(batch))
            .map(|(_, flag)| flag)
            .collect(),
        findings: concerned(history.findings.findings(), &statement, subject),
        opinions: history
            .opinions
            .into_iter()
            .filter(|opinion| opinion.record.statement == subject)
            .collect(),
        position: head.position,
        checkpoint: head.checkpoint,
        key: head.key,
        base: head.base,
        statement,
    })
}

/// Findings of the period, and those on the statement itself.
fn concerned(findings: &[Finding], statement: &Statement, id: Uuid) -> Vec<Finding> {
    let id = id.to_string();
    findings
        .iter()
        .filter(|finding| {
            finding.period.as_deref() == Some(statement.period.code.as_str())
                || finding.subject.key.starts_with(&id)
        })
        .cloned()
        .collect()
}

impl History {
    fn take(&mut self, entry: &EntryRow) -> Result<(), ServiceError> {
        if let Some(act) = Act::from_entry_kind(&entry.kind) {
            return self.take_finding(act, entry);
        }
        match entry.kind.as_str() {
            kind::SITE_ADDED => self.sites.push(read(entry)?),
            kind::STOVE_MODEL_ADDED => self.models.push(read(entry)?),
            kind::FACTORS_ADDED => self.factors.extend(read::<FactorsRecord>(entry)?.factors),
            kind::METHODOLOGY_ADDED => self.methodologies.push(read(entry)?),
            kind::ROUND_OPENED => self.rounds.push(opened(read(entry)?)),
            kind::BATCH_ACCEPTED => {
                let record: BatchRecord = read(entry)?;
                self.batches.insert(record.id, record);
            }
            kind::ROW_SUPERSEDED | kind::ROW_EXCLUDED | kind::BATCH_WITHDRAWN => {
                self.take_correction(entry)?;
            }
            kind::FLAGS_RAISED => {
                let record: FlagsRaisedRecord = read(entry)?;
                let of_batch = record.flags.into_iter().map(|flag| {
                    let facts = FlagFacts {
                        round: record.round.clone(),
                        flag,
                        answer: None,
                    };
                    (record.batch, facts)
                });
                self.flags.extend(of_batch);
            }
            kind::FLAG_ANSWERED => {
                let record: FlagAnswerRecord = read(entry)?;
                let known = self.flags.iter_mut();
                for (_, facts) in known.filter(|(_, facts)| facts.flag.id == record.flag) {
                    facts.answer = Some((record.disposition, record.reason.clone()));
                }
            }
            OPINION_RECORDED => {
                let record: OpinionRecord = read(entry)?;
                self.opinions.push(OpinionFacts {
                    record,
                    sequence: entry.sequence,
                    recorded_by: entry.actor.clone(),
                    recorded_on: entry.at.date_naive().to_string(),
                });
            }
            _ => self.take_step(entry)?,
        }
        Ok(())
    }

    fn take_finding(&mut self, act: Act, entry: &EntryRow) -> Result<(), ServiceError> {
        let time = entry.at.to_rfc3339_opts(SecondsFormat::Millis, true);
        let told = Told {
            sequence: entry.sequence,
            subject: &entry.subject,
            actor: &entry.actor,
            time: &time,
        };
        self.findings
            .take(act, told, &entry.content)
            .map_err(|e| damaged(entry, &e))
    }

    /// A step of a drawn round.
    fn take_step(&mut self, entry: &EntryRow) -> Result<(), ServiceError> {
        let round = self
            .rounds
            .iter_mut()
            .find(|round| round.record.code == entry.subject);
        let Some(round) = round else {
            return Ok(());
        };
        match entry.kind.as_str() {
            step::ROUND_PLANNED => round.plan = Some(read(entry)?),
            step::ROUND_FRAMED => round.frame = Some(read(entry)?),
            step::ROUND_SEEDED => round.seed = Some(read(entry)?),
            step::ROUND_DRAWN => round.draw = Some(read(entry)?),
            step::ROUND_CLOSED => round.close = Some(read(entry)?),
            _ => {}
        }
        Ok(())
    }

    fn take_correction(&mut self, entry: &EntryRow) -> Result<(), ServiceError> {
        let (correction, batch, line) = match entry.kind.as_str() {
            kind::ROW_SUPERSEDED => {
                let record: RowSupersededRecord = read(entry)?;
                let new = record.replacement;
                self.batches.insert(new.id, new);
                (CorrectionKind::Superseded, record.batch, Some(record.line))
            }
            kind::ROW_EXCLUDED => {
                let record: RowExcludedRecord = read(entry)?;
                (CorrectionKind::Excluded, record.batch, Some(record.line))
            }
            _ => {
                let record: BatchWithdrawnRecord = read(entry)?;
                (CorrectionKind::Withdrawn, record.batch, None)
            }
        };
        let what = match self.batches.get(&batch) {
            Some(known) => match &known.round {
                Some(round) => format!("{} in {round}", known.kind.replace('_', " ")),
                None => known.kind.replace('_', " "),
            },
            None => format!("batch {batch}"),
        };
        self.corrections.push(CorrectionFacts {
            sequence: entry.sequence,
            kind: correction,
            batch,
            line,
            what,
            reason: entry.reason.clone().unwrap_or_default(),
            actor: entry.actor.clone(),
            on: entry.at.date_naive().to_string(),
        });
        Ok(())
    }

    /// The rounds that the statement read, with what it read of them; and of the register.
    fn read_by(&self, statement: &Statement) -> (Vec<RoundFacts>, Counted) {
        let mut counted: BTreeMap<String, Counted> = BTreeMap::new();
        let mut register = Counted::default();
        for set in &statement.evidence {
            for batch in &set.batches {
                let round = self
                    .batches
                    .get(&batch.id)
                    .and_then(|known| known.round.clone());
                let count = match (set.role, round) {
                    (EvidenceRole::Register, _) | (_, None) => &mut register,
                    (_, Some(round)) => counted.entry(round).or_default(),
                };
                count.batches = count.batches.saturating_add(1);
                count.rows = count.rows.saturating_add(batch.rows);
            }
        }
        let named: BTreeSet<&String> = statement
            .evidence
            .iter()
            .flat_map(|set| &set.rounds)
            .collect();
        let mut rounds: Vec<RoundFacts> = self
            .rounds
            .iter()
            .filter(|round| named.contains(&round.record.code))
            .cloned()
            .collect();
        rounds.sort_by(|a, b| a.record.code.cmp(&b.record.code));
        for round in &mut rounds {
            round.counted = counted.get(&round.record.code).copied().unwrap_or_default();
        }
        (rounds, register)
    }
}

fn opened(record: RoundRecord) -> RoundFacts {
    RoundFacts {
        record,
        counted: Counted::default(),
        plan: None,
        frame: None,
        seed: None,
        draw: None,
        close: None,
    }
}

fn read<T: DeserializeOwned>(entry: &EntryRow) -> Result<T, ServiceError> {
    serde_json::from_slice(&entry.content).map_err(|e| damaged(entry, &e))
}

fn damaged(entry: &EntryRow, why: &dyn std::fmt::Display) -> ServiceError {
    ServiceError::Internal(format!("trail entry {}: {why}", entry.sequence))
}
