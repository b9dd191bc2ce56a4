//! What the trail says of a verification body's opinion on a statement.
//!
//! The program keeps what a verifier records: whose opinion it is, what it says of itself, and the
//! hash of the signed document. It neither forms an opinion nor checks one.

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use uuid::Uuid;

/// The kind of trail entry that records an opinion; its subject is the statement.
pub const OPINION_RECORDED: &str = "opinion-recorded";

/// How much assurance the opinion gives (ISO 14064-3:2019, MEMORY: reasonable or limited).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Assurance {
    Reasonable,
    Limited,
}

/// What the opinion comes to (ISO 14064-3:2019, MEMORY: unmodified, modified, adverse, or the
/// body disclaims one).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Conclusion {
    Unmodified,
    Modified,
    Adverse,
    Disclaimed,
}

impl Assurance {
    pub const ALL: [Assurance; 2] = [Assurance::Reasonable, Assurance::Limited];

    pub fn code(self) -> &'static str {
        match self {
            Assurance::Reasonable => "reasonable",
            Assurance::Limited => "limited",
        }
    }

    pub fn from_code(code: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|word| word.code() == code)
    }
}

impl Conclusion {
    pub const ALL: [Conclusion; 4] = [
        Conclusion::Unmodified,
        Conclusion::Modified,
        Conclusion::Adverse,
        Conclusion::Disclaimed,
    ];

    pub fn code(self) -> &'static str {
        match self {
            Conclusion::Unmodified => "unmodified",
            Conclusion::Modified => "modified",
            Conclusion::Adverse => "adverse",
            Conclusion::Disclaimed => "disclaimed",
        }
    }

    pub fn from_code(code: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|word| word.code() == code)
    }
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct OpinionRecord {
    pub statement: Uuid,
    /// Of the statement's canonical JSON, lower-case hex: what the opinion is on.
    pub statement_sha256: String,
    /// Whose opinion it is.
    pub body: String,
    /// Accreditation of the body, in its own words.
    pub accreditation: String,
    pub assurance: Assurance,
    pub conclusion: Conclusion,
    /// The day on which the document was signed.
    pub signed_on: NaiveDate,
    /// SHA-256 of the signed document, lower-case hex.
    pub document_sha256: String,
}

impl OpinionRecord {
    /// The opinion in one sentence, without a judgement of it.
    pub fn sentence(&self) -> String {
        format!(
            "Opinion recorded by {}: {}, at a level of {} assurance, signed on {}",
            self.body,
            self.conclusion.code(),
            self.assurance.code(),
            self.signed_on
        )
    }
}
