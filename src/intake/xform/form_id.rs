//! The name of a phone form: the kind of its rows, and the round that they belong to.

use crate::intake::kinds::BatchKind;
use std::fmt;
use std::str::FromStr;

/// Between kind and round; no kind holds it, so the first one divides.
const DIVIDER: &str = "--";

/// Which form: `usage_survey--2025`, or `households` for the register.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FormId {
    pub kind: BatchKind,
    /// Given exactly where the kind needs a round.
    pub round: Option<String>,
}

impl fmt::Display for FormId {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        match &self.round {
            Some(round) => write!(formatter, "{}{DIVIDER}{round}", self.kind),
            None => write!(formatter, "{}", self.kind),
        }
    }
}

/// A text that names no form.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("`{0}` is the name of no form: load the list of forms anew")]
pub struct UnknownForm(pub String);

impl FromStr for FormId {
    type Err = UnknownForm;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        let (kind, round) = match text.split_once(DIVIDER) {
            Some((kind, round)) => (kind, Some(round)),
            None => (text, None),
        };
        let named = |round: &str| {
            let sound = |c: char| c.is_ascii_alphanumeric() || "-_.".contains(c);
            (1..=64).contains(&round.len()) && round.chars().all(sound)
        };
        kind.parse::<BatchKind>()
            .ok()
            .filter(|kind| kind.needs_round() == round.is_some() && round.is_none_or(named))
            .map(|kind| FormId {
                kind,
                round: round.map(str::to_owned),
            })
            .ok_or_else(|| UnknownForm(text.chars().take(80).collect()))
    }
}
