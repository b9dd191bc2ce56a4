//! What the trail says of findings: a verifier's requests, and the dialogue about each.
//!
//! Service and offline verifier keep the same [`FindingBook`], so that a table of
//! findings can be made anew from the trail and compared.

mod book;

pub use book::{Finding, FindingBook, Line, Told};

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// The kinds of trail entries that belong to findings.
pub mod kind {
    pub const OPENED: &str = "finding-opened";
    pub const ANSWERED: &str = "finding-answered";
    pub const COMMENTED: &str = "finding-commented";
    pub const CLOSED: &str = "finding-closed";
    pub const REOPENED: &str = "finding-reopened";
}

/// What a finding asks for: the three classes of validation and verification practice
/// (MEMORY: the validation and verification standard of the CDM; others use the same three).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum FindingClass {
    /// A mistake, or a risk that a figure is wrong: settled before the period closes.
    CorrectiveActionRequest,
    /// Something is missing or unclear.
    ClarificationRequest,
    /// To be looked at in the next verification.
    ForwardActionRequest,
}

impl FindingClass {
    pub const ALL: [FindingClass; 3] = [
        FindingClass::CorrectiveActionRequest,
        FindingClass::ClarificationRequest,
        FindingClass::ForwardActionRequest,
    ];

    pub fn code(self) -> &'static str {
        match self {
            FindingClass::CorrectiveActionRequest => "corrective_action_request",
            FindingClass::ClarificationRequest => "clarification_request",
            FindingClass::ForwardActionRequest => "forward_action_request",
        }
    }

    pub fn from_code(code: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|class| class.code() == code)
    }
}

/// What a finding may be raised on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum SubjectKind {
    Period,
    Statement,
    Figure,
    Node,
    Row,
    Batch,
    Factor,
    Methodology,
    Household,
    Deployment,
    Round,
}

impl SubjectKind {
    pub const ALL: [SubjectKind; 11] = [
        SubjectKind::Period,
        SubjectKind::Statement,
        SubjectKind::Figure,
        SubjectKind::Node,
        SubjectKind::Row,
        SubjectKind::Batch,
        SubjectKind::Factor,
        SubjectKind::Methodology,
        SubjectKind::Household,
        SubjectKind::Deployment,
        SubjectKind::Round,
    ];

    pub fn code(self) -> &'static str {
        match self {
            SubjectKind::Period => "period",
            SubjectKind::Statement => "statement",
            SubjectKind::Figure => "figure",
            SubjectKind::Node => "node",
            SubjectKind::Row => "row",
            SubjectKind::Batch => "batch",
            SubjectKind::Factor => "factor",
            SubjectKind::Methodology => "methodology",
            SubjectKind::Household => "household",
            SubjectKind::Deployment => "deployment",
            SubjectKind::Round => "round",
        }
    }

    pub fn from_code(code: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|kind| kind.code() == code)
    }
}

/// What a finding is raised on.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Subject {
    pub kind: SubjectKind,
    /// Code of a period, household or round; id of a statement or batch; `code@version` of a
    /// factor or methodology; `STATEMENT/FIGURE`, `STATEMENT/NODE`, `BATCH/LINE`,
    /// `SERIAL/YYYY-MM-DD` (the day of installation) of the others.
    #[schema(example = "2025")]
    pub key: String,
}

/// A file that a line of the dialogue speaks of.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Attachment {
    /// SHA-256 of its bytes, lower-case hex.
    pub sha256: String,
    pub file_name: String,
    #[schema(example = "application/pdf")]
    pub media_type: String,
    pub size_bytes: u64,
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct FindingOpenedRecord {
    pub number: u64,
    pub class: FindingClass,
    pub subject: Subject,
    /// The period of the subject, else the one that the verifier named.
    pub period: Option<String>,
    /// What it is held against, e.g. a clause.
    pub requirement: Option<String>,
    pub text: String,
    pub attachments: Vec<Attachment>,
}

/// An answer, a comment, a closing with its resolution, or a reopening with its reason.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct FindingLineRecord {
    pub number: u64,
    pub text: String,
    pub attachments: Vec<Attachment>,
}

/// What a line of the dialogue does.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Act {
    Opened,
    Answered,
    Commented,
    Closed,
    Reopened,
}

impl Act {
    pub const ALL: [Act; 5] = [
        Act::Opened,
        Act::Answered,
        Act::Commented,
        Act::Closed,
        Act::Reopened,
    ];

    pub fn code(self) -> &'static str {
        match self {
            Act::Opened => "opened",
            Act::Answered => "answered",
            Act::Commented => "commented",
            Act::Closed => "closed",
            Act::Reopened => "reopened",
        }
    }

    /// The kind of its trail entry.
    pub fn entry_kind(self) -> &'static str {
        match self {
            Act::Opened => kind::OPENED,
            Act::Answered => kind::ANSWERED,
            Act::Commented => kind::COMMENTED,
            Act::Closed => kind::CLOSED,
            Act::Reopened => kind::REOPENED,
        }
    }

    pub fn from_code(code: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|act| act.code() == code)
    }

    /// The act that a trail entry of this kind records; `None` where it is of no finding.
    pub fn from_entry_kind(kind: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|act| act.entry_kind() == kind)
    }

    /// Roles that may act so.
    pub fn actors(self) -> &'static [&'static str] {
        match self {
            Act::Opened | Act::Closed | Act::Reopened => &["verifier"],
            Act::Answered => &["manager"],
            Act::Commented => &["manager", "verifier"],
        }
    }
}

/// How a finding stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum FindingState {
    /// Waits for the programme.
    Open,
    /// Waits for the verifier; not closed yet.
    Answered,
    Closed,
}

impl FindingState {
    pub const ALL: [FindingState; 3] = [
        FindingState::Open,
        FindingState::Answered,
        FindingState::Closed,
    ];

    pub fn code(self) -> &'static str {
        match self {
            FindingState::Open => "open",
            FindingState::Answered => "answered",
            FindingState::Closed => "closed",
        }
    }

    /// How a finding stands after an act; a comment changes nothing.
    pub fn after(self, act: Act) -> Self {
        match act {
            Act::Opened | Act::Reopened => FindingState::Open,
            Act::Answered => FindingState::Answered,
            Act::Commented => self,
            Act::Closed => FindingState::Closed,
        }
    }

    /// Whether a finding that stands so may be acted on so: a closed one is reopened first.
    pub fn allows(self, act: Act) -> bool {
        match act {
            Act::Opened => false,
            Act::Reopened => self == FindingState::Closed,
            Act::Answered | Act::Commented | Act::Closed => self != FindingState::Closed,
        }
    }
}

/// How people name a finding: F-001.
pub fn finding_id(number: u64) -> String {
    format!("F-{number:03}")
}

/// Reads `F-001`, `f-1` or `1`.
pub fn number_of_finding(id: &str) -> Option<u64> {
    let digits = id
        .strip_prefix("F-")
        .or_else(|| id.strip_prefix("f-"))
        .unwrap_or(id);
    let plain = !digits.is_empty() && digits.bytes().all(|byte| byte.is_ascii_digit());
    digits.parse().ok().filter(|number| plain && *number > 0)
}
