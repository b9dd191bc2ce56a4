//! The kinds of batch that the field sends, each with its template.

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
}

impl BatchKind {
    /// Every kind, register first, in the order in which a programme fills them.
    pub const ALL: [BatchKind; 6] = [
        BatchKind::Households,
        BatchKind::Deployments,
        BatchKind::DeploymentEnds,
        BatchKind::UsageSurvey,
        BatchKind::KitchenTest,
        BatchKind::CharWeighing,
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
    "`{0}` is no kind of batch; the kinds are households, deployments, deployment_ends, \
     usage_survey, kitchen_test and char_weighing"
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
    fn an_unknown_code_is_answered_with_all_known_ones() {
        let error = "stoves".parse::<BatchKind>().unwrap_err().to_string();
        for kind in BatchKind::ALL {
            assert!(error.contains(kind.code()), "{error}");
        }
    }
}
