//! Values that no single cell holds: fuel of a day and person, yields, minutes of a visit.

use super::observe::{Field, minute, number, text};
use super::rules::{Moisture, Rules};
use crate::accounting::evidence::{
    BaselineSurveyAnswer, CharWeighing, CookingTest, KitchenDay, People,
};
use crate::accounting::fuel::standard_adults;
use crate::intake::kinds::BatchKind;
use crate::intake::row::Row;
use crate::intake::value::Cell;
use crate::statistics::screens::Observation;
use chrono::NaiveDate;
use rust_decimal::Decimal;
use std::collections::BTreeMap;

// The sentence of a flag names its value by these.
pub(super) const FUEL_PER_ADULT_DAY: &str = "Dry fuel in kg per standard adult and day";
pub(super) const CHAR_YIELD: &str = "Dry char per dry fuel";
pub(super) const FUEL_PER_FOOD: &str = "Wet fuel per food";
pub(super) const GASIFIER_FUEL_MOISTURE: &str = "Moisture of gasifier fuel, wet basis,";
pub(super) const MINUTES_OF_VISIT: &str = "The visit's length in minutes";
pub(super) const DAYS_FROM_DAY_TO_VISIT: &str = "Days from the row's day to its visit: the number";

/// Decimals of a derived value: enough to look at.
const SHOWN_DECIMALS: u32 = 4;

fn with(mut observation: Observation, question: &str, value: Decimal) -> Option<Observation> {
    let value = value.round_dp(SHOWN_DECIMALS).normalize();
    observation
        .answers
        .push((question.to_owned(), number(value)?));
    Some(observation)
}

/// How long each visit took, and how far its beginning lies from the day of its row.
pub(super) fn visits(field: &Field<'_>) -> Vec<Observation> {
    let ended_at = field.column("ended_at");
    let mut observations = Vec::new();
    for (place, row) in field.rows.iter().enumerate() {
        let Some(start) = field.started_at(row) else {
            continue;
        };
        let bare = || field.bare(place, row, String::new());
        if let Some(end) = minute(row, ended_at) {
            let minutes = (end - start).num_minutes();
            observations.extend(with(bare(), MINUTES_OF_VISIT, minutes.into()));
        }
        if let Some(day) = field.day(row) {
            let days = (start.date() - day).num_days();
            observations.extend(with(bare(), DAYS_FROM_DAY_TO_VISIT, days.into()));
        }
    }
    observations
}

/// Moisture of what is burnt in gasifiers.
pub(super) fn moistures(field: &Field<'_>, rules: &Rules) -> Vec<Observation> {
    if rules.moisture == Moisture::Nowhere {
        return Vec::new();
    }
    let (moisture, device) = (field.column("moisture_wb"), field.column("device"));
    let rows = field.rows.iter().enumerate();
    rows.filter(|(_, row)| {
        rules.moisture == Moisture::EveryRow || text(row, device) == Some("gasifier")
    })
    .filter_map(|(place, row)| match row.cells.get(moisture?) {
        Some(Cell::Decimal(value)) => with(
            field.bare(place, row, String::new()),
            GASIFIER_FUEL_MOISTURE,
            *value,
        ),
        _ => None,
    })
    .collect()
}

/// Household, day, dry kg and people of a row that says what a kitchen burns in a day.
fn fuel_of_row(kind: BatchKind, row: &Row) -> Option<(String, NaiveDate, Decimal, People)> {
    match kind {
        BatchKind::KitchenTest => {
            let day = KitchenDay::try_from(row).ok()?;
            let dry = day.dry_used().ok()?.kg();
            Some((day.household_code, day.measured_on, dry, day.people))
        }
        BatchKind::BaselineSurvey => {
            let told = BaselineSurveyAnswer::try_from(row).ok()?;
            let dry = told.dry_per_day().ok()?.kg();
            Some((told.household_code, told.surveyed_on, dry, told.people))
        }
        _ => None,
    }
}

/// Dry fuel per standard adult of each household and day, at the place of its first row; and
/// for each such place all its rows.
pub(super) fn fuel_days(field: &Field<'_>) -> (Vec<Observation>, BTreeMap<usize, Vec<usize>>) {
    let mut days = BTreeMap::<(String, NaiveDate), (Decimal, People, Vec<usize>)>::new();
    for (place, row) in field.rows.iter().enumerate() {
        let Some((household, day, dry, people)) = fuel_of_row(field.kind, row) else {
            continue;
        };
        let known = days.entry((household, day));
        let (sum, _, rows) = known.or_insert_with(|| (Decimal::ZERO, people, Vec::new()));
        *sum = sum.saturating_add(dry);
        rows.push(place);
    }
    let (mut observations, mut members) = (Vec::new(), BTreeMap::new());
    for ((household, _), (dry, people, rows)) in days {
        let Some((&first, row)) = rows.first().and_then(|at| Some((at, field.rows.get(*at)?)))
        else {
            continue;
        };
        let Some(each) = dry.checked_div(standard_adults(&people)) else {
            continue;
        };
        observations.extend(with(
            field.bare(first, row, household),
            FUEL_PER_ADULT_DAY,
            each,
        ));
        members.insert(first, rows);
    }
    (observations, members)
}

/// Dry char per dry fuel of each weighing that has both, by feedstock.
pub(super) fn char_yields(field: &Field<'_>) -> BTreeMap<String, Vec<Observation>> {
    by_like(field, BatchKind::CharWeighing, CHAR_YIELD, |row| {
        let weighing = CharWeighing::try_from(row).ok()?;
        let fuel = weighing.dry_fuel().ok()??.kg();
        let char_kg = weighing.dry_char().ok()?.kg();
        Some((weighing.feedstock, char_kg.checked_div(fuel)?))
    })
}

/// Fuel per food of each cooking test, by device and dish.
pub(super) fn fuel_per_food(field: &Field<'_>) -> BTreeMap<String, Vec<Observation>> {
    by_like(field, BatchKind::CookingTest, FUEL_PER_FOOD, |row| {
        let test = CookingTest::try_from(row).ok()?;
        let each = test.fuel_wet_kg.checked_div(test.food_kg)?;
        Some((format!("{} {}", test.device, test.dish), each))
    })
}

fn by_like(
    field: &Field<'_>,
    kind: BatchKind,
    question: &str,
    value: impl Fn(&Row) -> Option<(String, Decimal)>,
) -> BTreeMap<String, Vec<Observation>> {
    let mut likes = BTreeMap::<String, Vec<Observation>>::new();
    if field.kind != kind {
        return likes;
    }
    for (place, row) in field.rows.iter().enumerate() {
        if let Some((like, value)) = value(row) {
            let observation = with(field.bare(place, row, String::new()), question, value);
            likes.entry(like).or_default().extend(observation);
        }
    }
    likes
}
