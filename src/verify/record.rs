//! The contents of the trail, read back into what they record.

use super::draws::RoundSteps;
use super::tables::Tables;
use crate::accounting::factor::Factor;
use crate::accounting::inputs::{Period, ProgrammeName};
use crate::accounting::methodology::Methodology;
use crate::accounting::records::access::{
    PasswordRecord, PersonRecord, TokenRecord, TokenRevokedRecord,
};
use crate::accounting::records::corrections::{
    BatchWithdrawnRecord, Correction, CorrectionKind, Corrections, RowExcludedRecord,
    RowSupersededRecord,
};
use crate::accounting::records::findings::FindingBook;
use crate::accounting::records::flags::{FlagAnswerRecord, FlagRecord, FlagsRaisedRecord};
use crate::accounting::records::opinions::{OPINION_RECORDED, OpinionRecord};
use crate::accounting::records::{
    BatchRecord, FactorsRecord, MappingRecord, PeriodClosedRecord, ProgrammeRecord, RoundRecord,
    SiteRecord, StoveModelRecord, kind,
};
use crate::accounting::rounds::records::{
    CloseRecord, DrawRecord, FrameRecord, PlanRecord, SeedRecord, kind as step,
};
use crate::accounting::statement::Statement;
use crate::trail::merkle::{Hash, sha256};
use std::collections::BTreeMap;
use uuid::Uuid;

/// Everything that the trail says, each with the entry that says it.
#[derive(Debug, Default)]
pub(super) struct History {
    /// How many entries were read.
    pub entries: u64,
    pub programme: Option<ProgrammeRecord>,
    pub factors: Vec<(u64, Factor)>,
    pub methodologies: Vec<(u64, Methodology)>,
    pub rounds: Vec<(u64, RoundRecord)>,
    /// In the order in which they were planned.
    pub drawn_rounds: Vec<RoundSteps>,
    /// Each close of a round, drawn or not.
    pub closes: Vec<(u64, CloseRecord)>,
    pub batches: BTreeMap<Uuid, (u64, BatchRecord)>,
    pub flags: BTreeMap<Uuid, FlagAt>,
    pub corrections: Corrections,
    pub periods: Vec<(u64, Period)>,
    pub statements: Vec<StatedAt>,
    pub findings: FindingBook,
    /// Column names that files may have been read by, as they were saved.
    pub mappings: Vec<SavedMapping>,
    pub tables: Tables,
}

/// Column names of a programme's own sheets, with the entry that saved them.
#[derive(Debug)]
pub(super) struct SavedMapping {
    pub sequence: u64,
    pub record: MappingRecord,
}

/// A flag as it was raised, and the first entry that answers it.
#[derive(Debug)]
pub(super) struct FlagAt {
    pub sequence: u64,
    pub round: String,
    pub flag: FlagRecord,
    pub answered: Option<u64>,
}

/// A statement as recorded: its exact bytes, and what they say.
#[derive(Debug)]
pub(super) struct StatedAt {
    pub sequence: u64,
    pub subject: String,
    pub bytes: Vec<u8>,
    pub statement: Statement,
}

impl History {
    /// Takes in the content of one entry; `root` is the trail's root just after it.
    ///
    /// # Errors
    /// A sentence where the content is not what its kind says.
    pub fn take(
        &mut self,
        sequence: u64,
        entry_kind: &str,
        subject: &str,
        content: &[u8],
        root: Hash,
    ) -> Result<(), String> {
        self.tables.take(sequence, entry_kind, content)?;
        match entry_kind {
            kind::PROGRAMME_CREATED if sequence == 0 => {
                self.programme = Some(read(content)?);
            }
            kind::PROGRAMME_CREATED => return Err("a programme is created once, first".into()),
            kind::PERSON_ADDED | kind::PERSON_CHANGED => {
                read::<PersonRecord>(content)?;
            }
            kind::PASSWORD_SET => {
                read::<PasswordRecord>(content)?;
            }
            kind::TOKEN_ISSUED => {
                read::<TokenRecord>(content)?;
            }
            kind::TOKEN_REVOKED => {
                read::<TokenRevokedRecord>(content)?;
            }
            kind::FLAGS_RAISED => {
                let record: FlagsRaisedRecord = read(content)?;
                if !self.batches.contains_key(&record.batch) {
                    return Err("flags are raised on a batch that was not accepted".into());
                }
                for flag in record.flags {
                    let id = flag.id;
                    let raised = FlagAt {
                        sequence,
                        round: record.round.clone(),
                        flag,
                        answered: None,
                    };
                    if self.flags.insert(id, raised).is_some() {
                        return Err(format!("flag {id} is raised a second time"));
                    }
                }
            }
            kind::FLAG_ANSWERED => {
                let record: FlagAnswerRecord = read(content)?;
                let Some(raised) = self.flags.get_mut(&record.flag) else {
                    return Err(format!("flag {} was never raised", record.flag));
                };
                raised.answered.get_or_insert(sequence);
            }
            kind::MAPPING_SAVED => {
                let record = read(content)?;
                self.mappings.push(SavedMapping { sequence, record });
            }
            kind::SITE_ADDED => {
                read::<SiteRecord>(content)?;
            }
            kind::STOVE_MODEL_ADDED => {
                read::<StoveModelRecord>(content)?;
            }
            kind::FACTORS_ADDED => {
                let record: FactorsRecord = read(content)?;
                for factor in record.factors {
                    if self
                        .factors
                        .iter()
                        .any(|(_, known)| known.id() == factor.id())
                    {
                        return Err(format!("factor {} is added a second time", factor.id()));
                    }
                    self.factors.push((sequence, factor));
                }
            }
            kind::METHODOLOGY_ADDED => {
                self.methodologies.push((sequence, read(content)?));
            }
            step::ROUND_PLANNED => {
                let record: PlanRecord = read(content)?;
                if self.drawn_rounds.iter().any(|s| s.round == record.round)
                    || !self.rounds.iter().any(|(_, r)| r.code == record.round)
                {
                    return Err("a round is planned once, when it is opened".into());
                }
                self.drawn_rounds
                    .push(RoundSteps::planned(sequence, record));
            }
            step::ROUND_FRAMED => {
                let record: FrameRecord = read(content)?;
                let steps = self.steps(&record.round)?;
                once(steps.frame.is_none())?;
                steps.frame = Some((sequence, record, root));
            }
            step::ROUND_SEEDED => {
                let record: SeedRecord = read(content)?;
                let steps = self.steps(&record.round)?;
                once(steps.frame.is_some() && steps.seed.is_none())?;
                steps.seed = Some((sequence, record));
            }
            step::ROUND_DRAWN => {
                let record: DrawRecord = read(content)?;
                let steps = self.steps(&record.round)?;
                once(steps.seed.is_some() && steps.draw.is_none())?;
                steps.draw = Some((sequence, record));
            }
            step::ROUND_CLOSED => {
                let record: CloseRecord = read(content)?;
                if self.is_closed(&record.round)
                    || !self.rounds.iter().any(|(_, r)| r.code == record.round)
                {
                    return Err("a round that was opened is closed once".into());
                }
                self.closes.push((sequence, record));
            }
            kind::ROUND_OPENED => self.rounds.push((sequence, read(content)?)),
            kind::BATCH_ACCEPTED => {
                let record: BatchRecord = read(content)?;
                if let Some(round) = &record.round {
                    self.takes_rows(round)?;
                }
                self.take_batch(sequence, record)?;
            }
            kind::ROW_SUPERSEDED => {
                let record: RowSupersededRecord = read(content)?;
                self.take_replacement(sequence, record)?;
            }
            kind::ROW_EXCLUDED => {
                let record: RowExcludedRecord = read(content)?;
                let (batch, line) = (record.batch, Some(record.line));
                self.take_correction(sequence, CorrectionKind::Excluded, (batch, line), None)?;
            }
            kind::BATCH_WITHDRAWN => {
                let record: BatchWithdrawnRecord = read(content)?;
                let place = (record.batch, None);
                self.take_correction(sequence, CorrectionKind::Withdrawn, place, None)?;
            }
            kind::PERIOD_OPENED => self.periods.push((sequence, read(content)?)),
            kind::PERIOD_CLOSED => {
                let record: PeriodClosedRecord = read(content)?;
                if !self
                    .periods
                    .iter()
                    .any(|(_, period)| period.code == record.code)
                {
                    return Err(format!("period {} was never opened", record.code));
                }
            }
            kind::STATEMENT_MADE => self.statements.push(StatedAt {
                sequence,
                subject: subject.to_owned(),
                bytes: content.to_vec(),
                statement: read(content)?,
            }),
            OPINION_RECORDED => self.take_opinion(subject, &read(content)?)?,
            other => {
                return Err(format!(
                    "entries of kind {other:?} are unknown to this program"
                ));
            }
        }
        Ok(())
    }

    /// An opinion is on a statement that stands in the trail before it, by its hash too.
    fn take_opinion(&self, subject: &str, record: &OpinionRecord) -> Result<(), String> {
        let named = record.statement.to_string();
        let on = self.statements.iter().find(|one| one.subject == named);
        let fits = on.is_some_and(|one| {
            subject == named && sha256(&one.bytes).to_string() == record.statement_sha256
        });
        if fits {
            Ok(())
        } else {
            Err("the opinion is on no statement that was made before it".into())
        }
    }

    fn steps(&mut self, round: &str) -> Result<&mut RoundSteps, String> {
        self.drawn_rounds
            .iter_mut()
            .find(|steps| steps.round == round)
            .ok_or_else(|| format!("round {round} was never planned"))
    }

    fn is_closed(&self, round: &str) -> bool {
        self.closes.iter().any(|(_, close)| close.round == round)
    }

    /// Whether a batch may come into the round at this place of the trail.
    fn takes_rows(&self, round: &str) -> Result<(), String> {
        let framed = |steps: &&RoundSteps| steps.frame.is_some() && steps.draw.is_none();
        if self.is_closed(round) {
            return Err(format!("round {round} was closed before this batch"));
        }
        match self.drawn_rounds.iter().find(|steps| steps.round == round) {
            Some(steps) if framed(&steps) => Err(format!(
                "round {round} had a frame and no draw before this batch"
            )),
            _ => Ok(()),
        }
    }

    fn take_batch(&mut self, sequence: u64, record: BatchRecord) -> Result<(), String> {
        match self.batches.insert(record.id, (sequence, record)) {
            Some(_) => Err("the batch is accepted a second time".into()),
            None => Ok(()),
        }
    }

    /// The row in place of another is of the same kind and round, and the only one of its batch.
    fn take_replacement(
        &mut self,
        sequence: u64,
        record: RowSupersededRecord,
    ) -> Result<(), String> {
        let (place, new) = ((record.batch, Some(record.line)), record.replacement);
        let replaced_by = Some(new.id);
        self.take_correction(sequence, CorrectionKind::Superseded, place, replaced_by)?;
        let old = self.batches.get(&record.batch).map(|(_, old)| old);
        let fits = old.is_some_and(|old| old.kind == new.kind && old.round == new.round);
        let rows = new.rows;
        self.take_batch(sequence, new)?;
        if !fits || rows != 1 {
            return Err("the new row is not one row of the same kind and round".into());
        }
        Ok(())
    }

    fn take_correction(
        &mut self,
        sequence: u64,
        kind: CorrectionKind,
        (batch, line): (Uuid, Option<u64>),
        replaced_by: Option<Uuid>,
    ) -> Result<(), String> {
        let (_, known) = self
            .batches
            .get(&batch)
            .ok_or_else(|| format!("batch {batch} was never accepted"))?;
        // The first row of a batch stands on line 2.
        if let Some(line) = line
            && !(2..=known.rows.saturating_add(1)).contains(&line)
        {
            return Err(format!("batch {batch} has no line {line}"));
        }
        let correction = Correction {
            kind,
            batch,
            line,
            replaced_by,
        };
        self.corrections
            .take(sequence, &correction)
            .map_err(|e| e.to_string())
    }

    pub fn programme_name(&self) -> Option<ProgrammeName> {
        self.programme.as_ref().map(|programme| ProgrammeName {
            id: programme.id,
            code: programme.code.clone(),
            name: programme.name.clone(),
        })
    }
}

fn read<T: serde::de::DeserializeOwned>(content: &[u8]) -> Result<T, String> {
    serde_json::from_slice(content).map_err(|e| format!("its content cannot be read: {e}"))
}

/// Steps of a drawn round come in their order, each once.
fn once(in_turn: bool) -> Result<(), String> {
    if in_turn {
        Ok(())
    } else {
        Err("plan, frame, seed, draw: this step is not in turn".into())
    }
}
