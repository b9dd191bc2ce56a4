//! The contents of the trail, read back into what they record.

use crate::accounting::factor::Factor;
use crate::accounting::inputs::{Period, ProgrammeName};
use crate::accounting::methodology::Methodology;
use crate::accounting::records::access::{
    PasswordRecord, PersonRecord, TokenRecord, TokenRevokedRecord,
};
use crate::accounting::records::{
    BatchRecord, FactorsRecord, MappingRecord, PeriodClosedRecord, ProgrammeRecord, RoundRecord,
    SiteRecord, StoveModelRecord, kind,
};
use crate::accounting::statement::Statement;
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
    pub batches: BTreeMap<Uuid, (u64, BatchRecord)>,
    pub periods: Vec<(u64, Period)>,
    pub statements: Vec<StatedAt>,
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
    /// Takes in the content of one entry.
    ///
    /// # Errors
    /// A sentence where the content is not what its kind says.
    pub fn take(
        &mut self,
        sequence: u64,
        entry_kind: &str,
        subject: &str,
        content: &[u8],
    ) -> Result<(), String> {
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
            kind::MAPPING_SAVED => {
                read::<MappingRecord>(content)?;
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
            kind::ROUND_OPENED => self.rounds.push((sequence, read(content)?)),
            kind::BATCH_ACCEPTED => {
                let record: BatchRecord = read(content)?;
                if self.batches.insert(record.id, (sequence, record)).is_some() {
                    return Err("the batch is accepted a second time".into());
                }
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
            other => {
                return Err(format!(
                    "entries of kind {other:?} are unknown to this program"
                ));
            }
        }
        Ok(())
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
