//! Screens of the rows of a round: which of them a person should look at. They flag and never
//! delete or change.
//!
//! What is asked of each kind stands in `rules`; `statistics::screens` does the counting. The
//! register and the laboratories' results have no screens: no enumerator asks them, and what
//! cannot be in them is refused when they come.

mod derived;
mod groups;
mod observe;
mod rules;
#[cfg(test)]
mod tests;

use crate::intake::kinds::BatchKind;
use crate::intake::row::Row;
use crate::statistics::StatisticsError;
use crate::statistics::screens::{self as statistics, Flag, Screen};
use observe::Field;
use rules::Rules;
use std::collections::{BTreeMap, BTreeSet};

/// Flags of one screen that are raised one by one; what follows is gathered in one more.
pub const FLAGS_A_SCREEN: usize = 50;

/// Whether rows of a kind are screened at all.
pub fn are_screened(kind: BatchKind) -> bool {
    rules::of(kind).is_some()
}

/// What the screens of `kind` find in `rows`, all of one round, the earlier batches first.
///
/// A flag's `lines` are places in `rows`, counted from 0, in order. `drawn` are the units that
/// were drawn for the round, households or stoves; without it nothing is said of rows outside
/// a draw. Rows before `new_from` are company for the others: a flag on them alone was raised
/// when they came, and is left out.
///
/// # Errors
/// A statistic cannot be worked out.
pub fn screen(
    kind: BatchKind,
    rows: &[Row],
    new_from: usize,
    drawn: Option<&BTreeSet<&str>>,
) -> Result<Vec<Flag>, StatisticsError> {
    let Some(rules) = rules::of(kind) else {
        return Ok(Vec::new());
    };
    let field = Field::of(kind, rows);
    let mut flags = Vec::new();
    if let Some(unit) = rules.one_row_for {
        let observations = field.observations(unit, &[]);
        flags.extend(statistics::duplicate_units(&observations));
    }
    flags.extend(groups::near_twins(&field, &rules));
    flags.extend(straight_lines(&field, &rules));
    let weighed = field.observations_of_more_than_nothing(rules.free_digits);
    flags.extend(statistics::digit_heaping(
        &weighed,
        rules.free_digits,
        rules::HEAPING,
    )?);
    flags.extend(statistics::pace(&groups::visits(&field), rules::PACE));
    flags.extend(beyond_limits(&field, &rules));
    flags.extend(extreme_values(&field));
    if let Some(drawn) = drawn {
        let observations = field.observations_as_drawn(drawn);
        flags.extend(statistics::outside_draw(&observations, drawn));
    }
    Ok(gathered(flags, new_from))
}

fn straight_lines(field: &Field<'_>, rules: &Rules) -> Vec<Flag> {
    let mut flags = groups::straight_days(field);
    if let Some((questions, at_least)) = rules.one_list {
        let observations = field.observations_of_more_than_nothing(questions);
        flags.extend(statistics::straight_lines(
            &observations,
            questions,
            at_least,
        ));
    }
    flags
}

fn beyond_limits(field: &Field<'_>, rules: &Rules) -> Vec<Flag> {
    let mut observations = derived::visits(field);
    observations.extend(derived::moistures(field, rules));
    observations.extend(derived::char_yields(field).into_values().flatten());
    statistics::beyond_limits(&observations, &rules::limits())
}

/// Far from the others of their like: each household's fuel of a day, each yield of a
/// feedstock, each fuel per food of a device.
fn extreme_values(field: &Field<'_>) -> Vec<Flag> {
    let mut flags = Vec::new();
    let (days, members) = derived::fuel_days(field);
    for mut flag in statistics::extreme_values(&days, derived::FUEL_PER_ADULT_DAY, rules::EXTREME) {
        // One household and day may have a row for each fuel: the flag names them all.
        flag.lines = flag
            .lines
            .iter()
            .flat_map(|line| members.get(line).cloned().unwrap_or_default())
            .collect();
        flags.push(flag);
    }
    let yields = derived::char_yields(field).into_values();
    for like in yields {
        flags.extend(statistics::extreme_values(
            &like,
            derived::CHAR_YIELD,
            rules::EXTREME,
        ));
    }
    for like in derived::fuel_per_food(field).into_values() {
        flags.extend(statistics::extreme_values(
            &like,
            derived::FUEL_PER_FOOD,
            rules::EXTREME,
        ));
    }
    flags
}

/// Flags that name a new row, each row once, and no more than [`FLAGS_A_SCREEN`] of one screen
/// one by one.
fn gathered(flags: Vec<Flag>, new_from: usize) -> Vec<Flag> {
    let mut by_screen = BTreeMap::<Screen, Vec<Flag>>::new();
    for mut flag in flags {
        flag.lines.sort_unstable();
        flag.lines.dedup();
        if flag.lines.last().is_some_and(|last| *last >= new_from) {
            by_screen.entry(flag.screen).or_default().push(flag);
        }
    }
    let mut kept = Vec::new();
    for (screen, mut of_screen) in by_screen {
        let rest = of_screen.split_off(of_screen.len().min(FLAGS_A_SCREEN));
        kept.extend(of_screen);
        let Some(first) = rest.first() else { continue };
        let sentence = format!(
            "{} more flags of this screen are gathered here. The first of them: {}",
            rest.len(),
            first.sentence
        );
        let mut lines: Vec<usize> = rest.iter().flat_map(|flag| flag.lines.clone()).collect();
        lines.sort_unstable();
        lines.dedup();
        kept.push(Flag {
            screen,
            lines,
            sentence,
        });
    }
    kept
}
