//! All that a report of a period is made of, as the trail tells it up to one position.

use crate::accounting::factor::Factor;
use crate::accounting::methodology::Methodology;
use crate::accounting::records::corrections::CorrectionKind;
use crate::accounting::records::findings::Finding;
use crate::accounting::records::flags::{Disposition, FlagRecord};
use crate::accounting::records::opinions::OpinionRecord;
use crate::accounting::records::{RoundRecord, SiteRecord, StoveModelRecord};
use crate::accounting::rounds::records::{
    CloseRecord, DrawRecord, FrameRecord, PlanRecord, SeedRecord,
};
use crate::accounting::statement::Statement;
use uuid::Uuid;

/// Same source, same report, byte for byte.
#[derive(Debug, Clone)]
pub struct ReportSource {
    pub statement_id: Uuid,
    pub statement: Statement,
    /// Of the statement's canonical JSON, lower-case hex.
    pub sha256: String,
    /// The statement's own trail entry.
    pub sequence: u64,
    /// When that entry was made, RFC 3339 in UTC.
    pub made_at: String,
    pub restatement: bool,
    pub methodology: Methodology,
    /// The factors that the methodology names, in its order.
    pub factors: Vec<Factor>,
    pub sites: Vec<SiteRecord>,
    pub models: Vec<StoveModelRecord>,
    /// The rounds that the statement read, in the order of their codes.
    pub rounds: Vec<RoundFacts>,
    /// Batches of the register that it read, and their rows.
    pub register: Counted,
    pub corrections: Vec<CorrectionFacts>,
    /// Of the batches that the statement read.
    pub flags: Vec<FlagFacts>,
    /// Of the period and of the statement.
    pub findings: Vec<Finding>,
    /// On this statement, the latest last.
    pub opinions: Vec<OpinionFacts>,
    /// Size of the trail that the report was read at.
    pub position: u64,
    /// The signed head at that size.
    pub checkpoint: String,
    /// The key that it is signed with.
    pub key: String,
    /// Where the service is reached, e.g. `https://books.example.org`, for links to the trace.
    pub base: Option<String>,
}

#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Counted {
    pub batches: u64,
    pub rows: u64,
}

/// One round of field work with what is known of its sample.
#[derive(Debug, Clone)]
pub struct RoundFacts {
    pub record: RoundRecord,
    pub counted: Counted,
    pub plan: Option<PlanRecord>,
    pub frame: Option<FrameRecord>,
    pub seed: Option<SeedRecord>,
    pub draw: Option<DrawRecord>,
    pub close: Option<CloseRecord>,
}

#[derive(Debug, Clone)]
pub struct CorrectionFacts {
    pub sequence: u64,
    pub kind: CorrectionKind,
    pub batch: Uuid,
    /// Absent for a whole batch.
    pub line: Option<u64>,
    /// What the batch holds, and its round.
    pub what: String,
    pub reason: String,
    pub actor: String,
    /// Day of the entry.
    pub on: String,
}

#[derive(Debug, Clone)]
pub struct FlagFacts {
    pub round: String,
    pub flag: FlagRecord,
    /// The last word on it and why; absent while it is open.
    pub answer: Option<(Disposition, String)>,
}

/// An opinion with the entry that recorded it.
#[derive(Debug, Clone)]
pub struct OpinionFacts {
    pub record: OpinionRecord,
    pub sequence: u64,
    pub recorded_by: String,
    /// Day of the entry.
    pub recorded_on: String,
}

impl ReportSource {
    /// Address of a node of the trace, from the root of the service.
    pub fn path_of(&self, node: &str) -> String {
        format!(
            "/statements/{}/trace?node={}",
            self.statement_id,
            encoded(node)
        )
    }

    /// The same as a whole address, where it is known how the service is reached.
    pub fn address_of(&self, node: &str) -> Option<String> {
        let base = self.base.as_deref()?;
        Some(format!("{base}{}", self.path_of(node)))
    }

    /// What stands on every page: verified is a word of somebody else.
    pub fn standing(&self) -> String {
        match self.opinions.last() {
            None => "Not verified by a verification body".to_owned(),
            Some(last) => format!("Opinion recorded by {}", last.record.body),
        }
    }
}

/// Text as it may stand in the query of an address.
fn encoded(text: &str) -> String {
    let mut safe = String::with_capacity(text.len());
    for byte in text.bytes() {
        if byte.is_ascii_alphanumeric() || b"-._~/@".contains(&byte) {
            safe.push(char::from(byte));
        } else {
            safe.push_str(&format!("%{byte:02X}"));
        }
    }
    safe
}
