//! The kinds of batch that the field sends, each with its template.

use crate::accounting::records::RoundKind;
use crate::intake::template::Template;
use crate::intake::templates;
use serde::{Deserialize, Serialize};
use std::fmt;
use std::str::FromStr;

/// What the rows of one batch are.
#[derive(Copy, Clone, Eq, PartialEq, Hash, Debug, Ord, PartialOrd, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum BatchKind {
    Households,
    Deployments,
    DeploymentEnds,
    UsageSurvey,
    KitchenTest,
    CharWeighing,
    BaselineSurvey,
    CookingTest,
    StoveTest,
    CharLab,
    MoistureReading,
}

impl BatchKind {
    /// Every kind, register first, in the order in which a programme fills them.
    pub const ALL: [BatchKind; 11] = [
        BatchKind::Households,
        BatchKind::Deployments,
        BatchKind::DeploymentEnds,
        BatchKind::UsageSurvey,
        BatchKind::KitchenTest,
        BatchKind::CharWeighing,
        BatchKind::BaselineSurvey,
        BatchKind::CookingTest,
        BatchKind::StoveTest,
        BatchKind::CharLab,
        BatchKind::MoistureReading,
    ];

    /// The name of the kind in URLs, JSON and tables.
    pub fn code(self) -> &'static str {
        match self {
            BatchKind::Households => "households",
            BatchKind::Deployments => "deployments",
            BatchKind::DeploymentEnds => "deployment_ends",
            BatchKind::UsageSurvey => "usage_survey",
            BatchKind::KitchenTest => "kitchen_test",
            BatchKind::CharWeighing => "char_weighing",
            BatchKind::BaselineSurvey => "baseline_survey",
            BatchKind::CookingTest => "cooking_test",
            BatchKind::StoveTest => "stove_test",
            BatchKind::CharLab => "char_lab",
            BatchKind::MoistureReading => "moisture_reading",
        }
    }

    /// The name of a file of this kind, without its ending.
    pub fn file_stem(self) -> &'static str {
        match self {
            BatchKind::Households => "households",
            BatchKind::Deployments => "deployments",
            BatchKind::DeploymentEnds => "deployment-ends",
            BatchKind::UsageSurvey => "usage-survey",
            BatchKind::KitchenTest => "kitchen-test",
            BatchKind::CharWeighing => "char-weighing",
            BatchKind::BaselineSurvey => "baseline-survey",
            BatchKind::CookingTest => "cooking-test",
            BatchKind::StoveTest => "stove-test",
            BatchKind::CharLab => "char-lab",
            BatchKind::MoistureReading => "moisture-reading",
        }
    }

    /// The columns and the rules of this kind.
    pub fn template(self) -> &'static Template {
        match self {
            BatchKind::Households => &templates::households::TEMPLATE,
            BatchKind::Deployments => &templates::deployments::TEMPLATE,
            BatchKind::DeploymentEnds => &templates::deployment_ends::TEMPLATE,
            BatchKind::UsageSurvey => &templates::usage_survey::TEMPLATE,
            BatchKind::KitchenTest => &templates::kitchen_test::TEMPLATE,
            BatchKind::CharWeighing => &templates::char_weighing::TEMPLATE,
            BatchKind::BaselineSurvey => &templates::baseline_survey::TEMPLATE,
            BatchKind::CookingTest => &templates::cooking_test::TEMPLATE,
            BatchKind::StoveTest => &templates::stove_test::TEMPLATE,
            BatchKind::CharLab => &templates::char_lab::TEMPLATE,
            BatchKind::MoistureReading => &templates::moisture_reading::TEMPLATE,
        }
    }

    /// The kinds of round that take rows of this kind; none where they belong to the register.
    pub fn round_kinds(self) -> &'static [RoundKind] {
        match self {
            BatchKind::Households | BatchKind::Deployments | BatchKind::DeploymentEnds => &[],
            BatchKind::UsageSurvey => &[RoundKind::UsageSurvey],
            BatchKind::KitchenTest => &[RoundKind::KitchenBaseline, RoundKind::KitchenProject],
            BatchKind::CharWeighing => &[RoundKind::CharWeighing],
            BatchKind::BaselineSurvey => &[RoundKind::BaselineSurvey],
            BatchKind::CookingTest => &[RoundKind::CookingTest],
            BatchKind::StoveTest => &[RoundKind::StoveTest],
            BatchKind::CharLab => &[RoundKind::CharLab],
            BatchKind::MoistureReading => &[RoundKind::Moisture],
        }
    }

    /// Whether rows of this kind belong to a round, not to the register.
    pub fn needs_round(self) -> bool {
        !self.round_kinds().is_empty()
    }

    /// The kind of rows that a round of this kind takes.
    pub fn of_round(round: RoundKind) -> Self {
        match round {
            RoundKind::UsageSurvey => BatchKind::UsageSurvey,
            RoundKind::KitchenBaseline | RoundKind::KitchenProject => BatchKind::KitchenTest,
            RoundKind::CharWeighing => BatchKind::CharWeighing,
            RoundKind::BaselineSurvey => BatchKind::BaselineSurvey,
            RoundKind::CookingTest => BatchKind::CookingTest,
            RoundKind::StoveTest => BatchKind::StoveTest,
            RoundKind::CharLab => BatchKind::CharLab,
            RoundKind::Moisture => BatchKind::MoistureReading,
        }
    }
}

impl fmt::Display for BatchKind {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        formatter.write_str(self.code())
    }
}

/// A word that names no kind of batch.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error(
    "`{0}` is no kind of batch; the kinds are {known}",
    known = BatchKind::ALL.map(BatchKind::code).join(", ")
)]
pub struct UnknownBatchKind(pub String);

impl FromStr for BatchKind {
    type Err = UnknownBatchKind;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        BatchKind::ALL
            .into_iter()
            .find(|kind| kind.code() == text)
            .ok_or_else(|| UnknownBatchKind(text.chars().take(40).collect()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_code_reads_back_and_is_what_json_carries() {
        for kind in BatchKind::ALL {
            assert_eq!(kind.code().parse(), Ok(kind));
            assert_eq!(serde_json::to_value(kind).unwrap(), kind.code());
            assert_eq!(kind.file_stem(), kind.code().replace('_', "-"));
            assert_eq!(kind.template().kind, kind);
        }
    }

    #[test]
    fn kinds_of_rows_and_kinds_of_rounds_name_each_other() {
        for round in RoundKind::ALL {
            assert!(BatchKind::of_round(round).round_kinds().contains(&round));
        }
        for kind in BatchKind::ALL {
            for round in kind.round_kinds() {
                assert_eq!(BatchKind::of_round(*round), kind);
            }
        }
        assert!(BatchKind::CharLab.needs_round());
        assert!(!BatchKind::Households.needs_round());
    }

    #[test]
    fn an_unknown_code_is_answered_with_all_known_ones() {
        let error = "stoves".parse::<BatchKind>().unwrap_err().to_string();
        for kind in BatchKind::ALL {
            assert!(error.contains(kind.code()), "{error}");
        }
    }
}
