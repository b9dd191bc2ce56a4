//! Screens: what in a batch of answers a person should look at. They flag and never delete; every
//! flag says its statistic and the threshold that it passed.

mod fieldwork;
mod habits;
mod repeats;
#[cfg(test)]
mod tests;
mod values;

pub use fieldwork::{Pace, outside_draw, pace};
pub use habits::{Heaping, digit_heaping, straight_lines};
pub use repeats::{NearTwins, duplicate_units, near_twins};
pub use values::{ExtremeRule, Limit, beyond_limits, extreme_values};

/// One answer.
#[derive(Debug, Clone, PartialEq)]
pub enum Cell {
    /// The number, and how it was written: `2.50` ends in a zero that its value does not show.
    Number {
        value: f64,
        written: String,
    },
    Text(String),
}

/// One row as it was sent.
#[derive(Debug, Clone, PartialEq)]
pub struct Observation {
    /// Its line in the batch.
    pub line: usize,
    pub unit: String,
    pub enumerator: Option<String>,
    /// Minutes since any fixed moment at a local midnight.
    pub at: Option<i64>,
    /// Each question's name and answer; questions without an answer are left out.
    pub answers: Vec<(String, Cell)>,
}

/// Which screen raised a flag.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Screen {
    DuplicateUnit,
    NearTwins,
    StraightLine,
    DigitHeaping,
    Pace,
    BeyondLimits,
    ExtremeValue,
    OutsideDraw,
}

impl Screen {
    pub const ALL: [Screen; 8] = [
        Screen::DuplicateUnit,
        Screen::NearTwins,
        Screen::StraightLine,
        Screen::DigitHeaping,
        Screen::Pace,
        Screen::BeyondLimits,
        Screen::ExtremeValue,
        Screen::OutsideDraw,
    ];

    /// Its name in records and in JSON.
    pub fn code(self) -> &'static str {
        match self {
            Screen::DuplicateUnit => "duplicate_unit",
            Screen::NearTwins => "near_twins",
            Screen::StraightLine => "straight_line",
            Screen::DigitHeaping => "digit_heaping",
            Screen::Pace => "pace",
            Screen::BeyondLimits => "beyond_limits",
            Screen::ExtremeValue => "extreme_value",
            Screen::OutsideDraw => "outside_draw",
        }
    }
}

/// What to look at, and why.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Flag {
    pub screen: Screen,
    pub lines: Vec<usize>,
    pub sentence: String,
}

impl Observation {
    fn answer(&self, question: &str) -> Option<&Cell> {
        self.answers
            .iter()
            .find(|(name, _)| name == question)
            .map(|(_, cell)| cell)
    }

    fn number(&self, question: &str) -> Option<f64> {
        match self.answer(question) {
            Some(Cell::Number { value, .. }) if value.is_finite() => Some(*value),
            _ => None,
        }
    }

    /// Who asked; rows without a name belong together.
    fn asked_by(&self) -> &str {
        self.enumerator.as_deref().unwrap_or("nobody named")
    }
}

/// Observations by who asked, in the order of names.
fn by_enumerator(
    observations: &[Observation],
) -> std::collections::BTreeMap<&str, Vec<&Observation>> {
    let mut groups = std::collections::BTreeMap::<&str, Vec<&Observation>>::new();
    for observation in observations {
        groups
            .entry(observation.asked_by())
            .or_default()
            .push(observation);
    }
    groups
}
