//! What is asked of the rows of each kind, and from where on it is flagged.
//!
//! Where no other source is named, a threshold is common practice, no source: it says what a
//! person looks at, never what counts.

use super::derived;
use crate::intake::kinds::BatchKind;
use crate::statistics::screens::{ExtremeRule, Heaping, Limit, NearTwins, Pace};

/// The screens of one kind. Names are those of columns.
pub(super) struct Rules {
    /// One row is expected for each combination of these.
    pub one_row_for: Option<&'static [&'static str]>,
    /// Answers that two rows of one enumerator do not share by chance, and from which share on.
    pub alike: &'static [&'static str],
    pub twins: NearTwins,
    /// Questions that are not all answered alike, and how many of them.
    pub one_list: Option<(&'static [&'static str], usize)>,
    /// Weighed and read numbers, of which any last digit is as likely.
    pub free_digits: &'static [&'static str],
    /// Whether gasifier fuel alone is held against [`GASIFIER_MOISTURE`]; else every row is.
    pub moisture: Moisture,
}

/// Which rows' moisture is judged.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Moisture {
    Nowhere,
    Gasifiers,
    EveryRow,
}

/// Fuel of a gasifier above this moisture burns badly, or was read on the dry basis.
const GASIFIER_MOISTURE: f64 = 0.20;

/// Dry char of dry fuel: the bound `char-yield-bound@1` of the factor list (COMPUTED there from
/// Cornelissen et al. 2016).
const CHAR_YIELD_BOUND: f64 = 0.30;

/// Minutes at a household.
const VISIT_MINUTES: (f64, f64) = (5.0, 720.0);

pub(super) const PACE: Pace = Pace {
    fewest_minutes_between: 10,
    most_a_day: 20,
};

pub(super) const HEAPING: Heaping = Heaping {
    at_least: 50,
    probability: 0.001,
};

/// Iglewicz and Hoaglin 1993, "How to detect and handle outliers": 3.5. MEMORY.
pub(super) const EXTREME: ExtremeRule = ExtremeRule::MedianDeviations(3.5);

/// Visits of one enumerator on one day with the same answers throughout.
pub(super) const ALIKE_VISITS: usize = 6;

const WEIGHED_STOCKS: &[&str] = &["stock_start_wet_kg", "added_wet_kg", "stock_end_wet_kg"];

pub(super) fn of(kind: BatchKind) -> Option<Rules> {
    let twins = |share, at_least| NearTwins { share, at_least };
    let none = Rules {
        one_row_for: None,
        alike: &[],
        twins: twins(1.0, 1),
        one_list: None,
        free_digits: &[],
        moisture: Moisture::Nowhere,
    };
    Some(match kind {
        BatchKind::UsageSurvey => Rules {
            // The same stove twice is refused; two stoves of one household are a question.
            one_row_for: Some(&["household_code"]),
            ..none
        },
        BatchKind::KitchenTest => Rules {
            alike: &[
                "stock_start_wet_kg",
                "added_wet_kg",
                "stock_end_wet_kg",
                "moisture_wb",
                "children_0_14",
                "women_over_14",
                "men_15_59",
                "men_over_59",
            ],
            twins: twins(0.85, 8),
            one_list: Some((WEIGHED_STOCKS, 3)),
            free_digits: WEIGHED_STOCKS,
            moisture: Moisture::Gasifiers,
            ..none
        },
        BatchKind::BaselineSurvey => Rules {
            one_row_for: Some(&["household_code", "device", "fuel"]),
            alike: &[
                "fuel_wet_kg_per_day",
                "moisture_wb",
                "children_0_14",
                "women_over_14",
                "men_15_59",
                "men_over_59",
            ],
            twins: twins(1.0, 6),
            free_digits: &["fuel_wet_kg_per_day"],
            ..none
        },
        BatchKind::CharWeighing => Rules {
            one_row_for: Some(&["household_code", "weighed_on", "feedstock"]),
            alike: &[
                "fuel_burnt_wet_kg",
                "fuel_moisture_wb",
                "char_wet_kg",
                "char_moisture_wb",
            ],
            twins: twins(1.0, 4),
            free_digits: &["fuel_burnt_wet_kg", "char_wet_kg"],
            ..none
        },
        BatchKind::CookingTest => Rules {
            alike: &[
                "fuel_wet_kg",
                "moisture_wb",
                "char_left_dry_kg",
                "food_kg",
                "minutes",
            ],
            twins: twins(0.8, 4),
            free_digits: &["fuel_wet_kg", "food_kg"],
            moisture: Moisture::Gasifiers,
            ..none
        },
        BatchKind::MoistureReading => Rules {
            free_digits: &["moisture_wb"],
            moisture: Moisture::EveryRow,
            ..none
        },
        BatchKind::Households
        | BatchKind::Deployments
        | BatchKind::DeploymentEnds
        | BatchKind::StoveTest
        | BatchKind::CharLab => return None,
    })
}

/// The limits of every kind: a row that has no such value is not judged by it.
pub(super) fn limits() -> [Limit; 4] {
    let limit = |question: &str, lower, upper| Limit {
        question: question.to_owned(),
        lower,
        upper,
    };
    let (shortest, longest) = VISIT_MINUTES;
    [
        limit(derived::GASIFIER_FUEL_MOISTURE, 0.0, GASIFIER_MOISTURE),
        limit(derived::CHAR_YIELD, 0.0, CHAR_YIELD_BOUND),
        limit(derived::MINUTES_OF_VISIT, shortest, longest),
        limit(derived::DAYS_FROM_DAY_TO_VISIT, 0.0, 0.0),
    ]
}
