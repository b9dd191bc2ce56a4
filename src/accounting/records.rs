//! What the trail commits to, kind by kind: the content behind each entry.
//!
//! The service writes these and the offline verifier reads them back, so both
//! work from one shape. Statements, factors and methodologies are records too,
//! in the types of their own subjects.

pub mod access;
pub mod corrections;
pub mod findings;
pub mod flags;
pub mod log_keys;
pub mod opinions;

use crate::accounting::factor::Factor;
use crate::accounting::inputs::{EvidenceRole, Period};
use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// The kinds of trail entries.
pub mod kind {
    pub const PROGRAMME_CREATED: &str = "programme-created";
    pub const SITE_ADDED: &str = "site-added";
    pub const STOVE_MODEL_ADDED: &str = "stove-model-added";
    pub const FACTORS_ADDED: &str = "factors-added";
    pub const METHODOLOGY_ADDED: &str = "methodology-added";
    pub const ROUND_OPENED: &str = "round-opened";
    pub const BATCH_ACCEPTED: &str = "batch-accepted";
    pub const ROW_SUPERSEDED: &str = "row-superseded";
    pub const ROW_EXCLUDED: &str = "row-excluded";
    pub const BATCH_WITHDRAWN: &str = "batch-withdrawn";
    /// Each needs a reason.
    pub const CORRECTIONS: [&str; 3] = [ROW_SUPERSEDED, ROW_EXCLUDED, BATCH_WITHDRAWN];
    pub const PERIOD_OPENED: &str = "period-opened";
    pub const PERIOD_CLOSED: &str = "period-closed";
    pub const STATEMENT_MADE: &str = "statement-made";
    pub const PERSON_ADDED: &str = "person-added";
    pub const PERSON_CHANGED: &str = "person-changed";
    pub const PASSWORD_SET: &str = "password-set";
    pub const TOKEN_ISSUED: &str = "token-issued";
    pub const TOKEN_REVOKED: &str = "token-revoked";
    pub const FLAGS_RAISED: &str = "flags-raised";
    pub const FLAG_ANSWERED: &str = "flag-answered";
    pub const MAPPING_SAVED: &str = "mapping-saved";
}

/// First entry of every trail: whose it is and which key signs its checkpoints.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ProgrammeRecord {
    pub id: Uuid,
    pub code: String,
    pub name: String,
    /// C2SP verifier key of the checkpoints, `name+hex+base64`.
    pub checkpoint_key: String,
}

/// A programme's own column names for one kind of batch, as saved.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct MappingRecord {
    pub kind: String,
    /// Code of the mapping; `default` is used where none is asked for.
    pub name: String,
    /// From the programme's name of a column to the template's.
    pub columns: std::collections::BTreeMap<String, String>,
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SiteRecord {
    pub code: String,
    pub name: String,
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct StoveModelRecord {
    pub code: String,
    pub version: u32,
    pub name: String,
    /// Device code of the factors, e.g. `gasifier`.
    pub device: String,
    pub char_making: bool,
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct FactorsRecord {
    pub factors: Vec<Factor>,
}

/// What a round of field work collects.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum RoundKind {
    UsageSurvey,
    KitchenBaseline,
    KitchenProject,
    CharWeighing,
    BaselineSurvey,
    CookingTest,
    StoveTest,
    CharLab,
    Moisture,
}

impl RoundKind {
    pub const ALL: [RoundKind; 9] = [
        RoundKind::UsageSurvey,
        RoundKind::KitchenBaseline,
        RoundKind::KitchenProject,
        RoundKind::CharWeighing,
        RoundKind::BaselineSurvey,
        RoundKind::CookingTest,
        RoundKind::StoveTest,
        RoundKind::CharLab,
        RoundKind::Moisture,
    ];

    pub fn code(self) -> &'static str {
        match self {
            RoundKind::UsageSurvey => "usage_survey",
            RoundKind::KitchenBaseline => "kitchen_baseline",
            RoundKind::KitchenProject => "kitchen_project",
            RoundKind::CharWeighing => "char_weighing",
            RoundKind::BaselineSurvey => "baseline_survey",
            RoundKind::CookingTest => "cooking_test",
            RoundKind::StoveTest => "stove_test",
            RoundKind::CharLab => "char_lab",
            RoundKind::Moisture => "moisture",
        }
    }

    pub fn from_code(code: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|kind| kind.code() == code)
    }
}

/// A survey or test campaign, `starts_on..ends_on`.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RoundRecord {
    pub code: String,
    pub kind: RoundKind,
    pub starts_on: NaiveDate,
    pub ends_on: NaiveDate,
    /// How the sample was drawn, in words.
    pub design: String,
}

/// Rows accepted together. The root is the RFC 9162 tree head over the leaf
/// hashes of their canonical JSON, in file order.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct BatchRecord {
    pub id: Uuid,
    pub kind: String,
    pub round: Option<String>,
    pub file_name: Option<String>,
    /// SHA-256 of the uploaded bytes, lower-case hex.
    pub file_sha256: String,
    /// Whether these bytes were kept, so that a bag must hold them. False for rows that came in
    /// no file, and for batches from before files were kept.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub file_kept: bool,
    pub rows: u64,
    pub root: String,
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PeriodClosedRecord {
    pub code: String,
}

/// The rounds that a statement of a period reads, by one rule for service and verifier.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct ChosenRounds {
    pub usage: Vec<String>,
    pub baseline_kitchens: Vec<String>,
    pub project_kitchens: Vec<String>,
    pub char_weighings: Vec<String>,
    pub baseline_survey: Vec<String>,
    pub cooking_tests: Vec<String>,
    pub stove_tests: Vec<String>,
    pub char_lab: Vec<String>,
    /// Rounds of moisture readings. They have no role yet: no figure of a statement is
    /// worked out from them, each weighing carries the moisture that it is dried with.
    pub moisture: Vec<String>,
}

impl ChosenRounds {
    /// The rounds of each role, in the order in which a statement lists its evidence.
    /// Rounds of moisture readings are not among them: no statement reads them yet.
    pub fn by_role(&self) -> [(EvidenceRole, &[String]); 8] {
        [
            (EvidenceRole::Usage, &self.usage),
            (EvidenceRole::BaselineKitchens, &self.baseline_kitchens),
            (EvidenceRole::ProjectKitchens, &self.project_kitchens),
            (EvidenceRole::CharWeighings, &self.char_weighings),
            (EvidenceRole::BaselineSurvey, &self.baseline_survey),
            (EvidenceRole::CookingTests, &self.cooking_tests),
            (EvidenceRole::StoveTests, &self.stove_tests),
            (EvidenceRole::CharLab, &self.char_lab),
        ]
    }

    /// Codes of all rounds that a statement reads.
    pub fn all_read(&self) -> Vec<String> {
        let roles = self.by_role();
        roles
            .iter()
            .flat_map(|(_, codes)| codes.iter())
            .cloned()
            .collect()
    }
}

/// Chooses rounds for `period`; each list is sorted by code.
///
/// * usage surveys, char weighings and moisture readings: every round that overlaps the period;
/// * baseline kitchens, baseline surveys, cooking tests, stove tests and char laboratory
///   results: every round begun before the period ends;
/// * project kitchens: of the project rounds begun before the period ends, the
///   one begun last (all of them, where several began on that day).
pub fn choose_rounds(rounds: &[RoundRecord], period: &Period) -> ChosenRounds {
    let begun: Vec<&RoundRecord> = rounds
        .iter()
        .filter(|round| round.starts_on < period.ends_on)
        .collect();
    let codes = |wanted: RoundKind, fits: &dyn Fn(&RoundRecord) -> bool| {
        let mut codes: Vec<String> = begun
            .iter()
            .filter(|round| round.kind == wanted && fits(round))
            .map(|round| round.code.clone())
            .collect();
        codes.sort();
        codes
    };
    let overlaps = |round: &RoundRecord| round.ends_on > period.starts_on;
    let last_project_start = begun
        .iter()
        .filter(|round| round.kind == RoundKind::KitchenProject)
        .map(|round| round.starts_on)
        .max();
    ChosenRounds {
        usage: codes(RoundKind::UsageSurvey, &overlaps),
        baseline_kitchens: codes(RoundKind::KitchenBaseline, &|_| true),
        project_kitchens: codes(RoundKind::KitchenProject, &|round| {
            Some(round.starts_on) == last_project_start
        }),
        char_weighings: codes(RoundKind::CharWeighing, &overlaps),
        baseline_survey: codes(RoundKind::BaselineSurvey, &|_| true),
        cooking_tests: codes(RoundKind::CookingTest, &|_| true),
        stove_tests: codes(RoundKind::StoveTest, &|_| true),
        char_lab: codes(RoundKind::CharLab, &|_| true),
        moisture: codes(RoundKind::Moisture, &overlaps),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn day(text: &str) -> NaiveDate {
        text.parse().unwrap()
    }

    fn round(code: &str, kind: RoundKind, starts_on: &str, ends_on: &str) -> RoundRecord {
        RoundRecord {
            code: code.into(),
            kind,
            starts_on: day(starts_on),
            ends_on: day(ends_on),
            design: String::new(),
        }
    }

    #[test]
    fn a_period_reads_overlapping_surveys_all_baselines_and_the_last_project_round() {
        let period = Period {
            code: "2025".into(),
            starts_on: day("2025-01-01"),
            ends_on: day("2026-01-01"),
        };
        let rounds = [
            round("u24", RoundKind::UsageSurvey, "2024-03-01", "2025-01-01"),
            round("u25", RoundKind::UsageSurvey, "2025-03-01", "2025-04-01"),
            round(
                "b22",
                RoundKind::KitchenBaseline,
                "2022-10-01",
                "2022-11-01",
            ),
            round("p24", RoundKind::KitchenProject, "2024-05-01", "2024-06-01"),
            round("p25", RoundKind::KitchenProject, "2025-05-01", "2025-06-01"),
            round("p26", RoundKind::KitchenProject, "2026-01-01", "2026-02-01"),
            round("c25", RoundKind::CharWeighing, "2024-12-01", "2025-02-01"),
        ];
        let chosen = choose_rounds(&rounds, &period);
        assert_eq!(chosen.usage, ["u25"]);
        assert_eq!(chosen.baseline_kitchens, ["b22"]);
        assert_eq!(chosen.project_kitchens, ["p25"]);
        assert_eq!(chosen.char_weighings, ["c25"]);
    }

    #[test]
    fn tests_and_laboratory_results_are_read_from_all_rounds_begun_and_moisture_from_overlapping_ones()
     {
        let period = Period {
            code: "2025".into(),
            starts_on: day("2025-01-01"),
            ends_on: day("2026-01-01"),
        };
        let mut rounds = Vec::new();
        for kind in [
            RoundKind::BaselineSurvey,
            RoundKind::CookingTest,
            RoundKind::StoveTest,
            RoundKind::CharLab,
            RoundKind::Moisture,
        ] {
            let code = kind.code();
            rounds.extend([
                round(&format!("{code}-26"), kind, "2026-01-01", "2026-02-01"),
                round(&format!("{code}-25"), kind, "2025-12-31", "2026-02-01"),
                round(&format!("{code}-24"), kind, "2024-12-01", "2025-01-02"),
                round(&format!("{code}-22"), kind, "2022-01-01", "2025-01-01"),
            ]);
        }
        let chosen = choose_rounds(&rounds, &period);
        let named = |kind: RoundKind, years: &[u32]| -> Vec<String> {
            let code = |year| format!("{}-{year}", kind.code());
            years.iter().map(code).collect()
        };
        let begun = |kind| named(kind, &[22, 24, 25]);
        assert_eq!(chosen.baseline_survey, begun(RoundKind::BaselineSurvey));
        assert_eq!(chosen.cooking_tests, begun(RoundKind::CookingTest));
        assert_eq!(chosen.stove_tests, begun(RoundKind::StoveTest));
        assert_eq!(chosen.char_lab, begun(RoundKind::CharLab));
        assert_eq!(chosen.moisture, named(RoundKind::Moisture, &[24, 25]));
        let roles = chosen.by_role();
        assert!(roles.iter().all(|(_, rounds)| *rounds != chosen.moisture));
    }
}
