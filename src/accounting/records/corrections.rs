//! Corrections: which accepted rows count at a position of the trail, by one rule for service
//! and verifier.
//!
//! A correction counts at the positions above its own entry. Rows never change: one is
//! superseded by the row of a batch of its own, or excluded, or withdrawn with its batch.

use super::BatchRecord;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use utoipa::ToSchema;
use uuid::Uuid;

#[derive(
    Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize, ToSchema,
)]
#[serde(rename_all = "snake_case")]
pub enum CorrectionKind {
    Superseded,
    Excluded,
    Withdrawn,
}

impl CorrectionKind {
    pub const ALL: [CorrectionKind; 3] = [
        CorrectionKind::Superseded,
        CorrectionKind::Excluded,
        CorrectionKind::Withdrawn,
    ];

    pub fn code(self) -> &'static str {
        match self {
            CorrectionKind::Superseded => "superseded",
            CorrectionKind::Excluded => "excluded",
            CorrectionKind::Withdrawn => "withdrawn",
        }
    }

    pub fn from_code(code: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|kind| kind.code() == code)
    }
}

/// What was corrected.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Correction {
    pub kind: CorrectionKind,
    pub batch: Uuid,
    /// Absent for a whole batch.
    pub line: Option<u64>,
    /// The batch of one row that stands in place of a superseded one.
    pub replaced_by: Option<Uuid>,
}

/// A row was superseded: one entry takes the old row out and the new one in, so that no
/// position of the trail shows both or neither.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RowSupersededRecord {
    pub batch: Uuid,
    pub line: u64,
    /// The new row, of the same kind and round.
    pub replacement: BatchRecord,
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RowExcludedRecord {
    pub batch: Uuid,
    pub line: u64,
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct BatchWithdrawnRecord {
    pub batch: Uuid,
}

/// What makes the corrections of a trail contradict each other.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum CorrectionError {
    #[error("line {line} of batch {batch} is superseded a second time")]
    SupersededAlready { batch: Uuid, line: u64 },
    #[error("line {line} of batch {batch} is excluded a second time")]
    ExcludedAlready { batch: Uuid, line: u64 },
    #[error("batch {batch} was withdrawn before")]
    WithdrawnAlready { batch: Uuid },
    #[error("line {line} of batch {batch} is excluded after it was superseded")]
    Gone { batch: Uuid, line: u64 },
}

/// The corrections of a trail.
#[derive(Debug, Clone, Default)]
pub struct Corrections {
    /// Entry that withdrew each batch.
    withdrawn: BTreeMap<Uuid, u64>,
    superseded: BTreeMap<(Uuid, u64), u64>,
    excluded: BTreeMap<(Uuid, u64), u64>,
}

impl Corrections {
    /// Takes in the correction that entry `sequence` makes, in the order of the trail.
    ///
    /// # Errors
    /// It contradicts one that was taken in before.
    pub fn take(&mut self, sequence: u64, correction: &Correction) -> Result<(), CorrectionError> {
        let batch = correction.batch;
        if self.withdrawn.contains_key(&batch) {
            return Err(CorrectionError::WithdrawnAlready { batch });
        }
        let Some(line) = correction.line else {
            self.withdrawn.insert(batch, sequence);
            return Ok(());
        };
        let place = (batch, line);
        match correction.kind {
            CorrectionKind::Superseded => match self.superseded.insert(place, sequence) {
                Some(_) => Err(CorrectionError::SupersededAlready { batch, line }),
                None => Ok(()),
            },
            _ if self.superseded.contains_key(&place) => Err(CorrectionError::Gone { batch, line }),
            _ => match self.excluded.insert(place, sequence) {
                Some(_) => Err(CorrectionError::ExcludedAlready { batch, line }),
                None => Ok(()),
            },
        }
    }

    /// Whether a row that was accepted still counts at `position`.
    pub fn counts(&self, batch: Uuid, line: u64, position: u64) -> bool {
        let by_then = |sequence: Option<&u64>| sequence.is_some_and(|at| *at < position);
        !self.is_withdrawn(batch, position)
            && !by_then(self.superseded.get(&(batch, line)))
            && !by_then(self.excluded.get(&(batch, line)))
    }

    pub fn is_withdrawn(&self, batch: Uuid, position: u64) -> bool {
        self.withdrawn.get(&batch).is_some_and(|at| *at < position)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const FILE: Uuid = Uuid::from_u128(1);
    const OTHER: Uuid = Uuid::from_u128(2);

    fn correction(kind: CorrectionKind, line: Option<u64>) -> Correction {
        Correction {
            kind,
            batch: FILE,
            line,
            replaced_by: (kind == CorrectionKind::Superseded).then_some(OTHER),
        }
    }

    #[test]
    fn a_correction_counts_above_its_own_entry_and_for_its_own_row() {
        let mut corrections = Corrections::default();
        let superseded = correction(CorrectionKind::Superseded, Some(3));
        let excluded = correction(CorrectionKind::Excluded, Some(4));
        let withdrawn = correction(CorrectionKind::Withdrawn, None);
        for (sequence, each) in [(10, superseded), (12, excluded), (14, withdrawn)] {
            corrections.take(sequence, &each).unwrap();
        }
        let lines = |position| [2, 3, 4].map(|line| corrections.counts(FILE, line, position));
        assert_eq!(lines(10), [true, true, true]);
        assert_eq!(lines(11), [true, false, true]);
        assert_eq!(lines(12), [true, false, true]);
        assert_eq!(lines(13), [true, false, false]);
        assert_eq!(lines(14), [true, false, false]);
        assert_eq!(lines(15), [false, false, false]);
        assert!(corrections.counts(OTHER, 3, 100));
        assert!(!corrections.is_withdrawn(FILE, 14));
        assert!(corrections.is_withdrawn(FILE, 15));
    }

    #[test]
    fn a_row_is_superseded_once_and_nothing_of_a_withdrawn_batch_is_corrected() {
        let mut corrections = Corrections::default();
        let excluded = correction(CorrectionKind::Excluded, Some(3));
        let superseded = correction(CorrectionKind::Superseded, Some(3));
        let (batch, line) = (FILE, 3);
        corrections.take(1, &excluded).unwrap();
        let again = corrections.take(2, &excluded);
        assert_eq!(again, Err(CorrectionError::ExcludedAlready { batch, line }));
        // What was excluded may be put right.
        corrections.take(3, &superseded).unwrap();
        let again = corrections.take(4, &superseded);
        assert_eq!(
            again,
            Err(CorrectionError::SupersededAlready { batch, line })
        );
        let gone = corrections.take(5, &excluded);
        assert_eq!(gone, Err(CorrectionError::Gone { batch, line }));
        let withdrawn = correction(CorrectionKind::Withdrawn, None);
        corrections.take(6, &withdrawn).unwrap();
        for late in [withdrawn, superseded, excluded] {
            let refused = corrections.take(7, &late);
            assert_eq!(refused, Err(CorrectionError::WithdrawnAlready { batch }));
        }
    }
}
