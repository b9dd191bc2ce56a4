//! Usage surveys: a sample of the stoves in each age band, and what was found there.

use super::Seed;
use super::calendar::{days_after, days_between};
use super::dice::{Dice, Purpose, Selection};
use super::household::{HouseholdPlan, Stay};
use super::programme::Round;
use crate::accounting::evidence::{UsageAnswer, UsageOutcome};
use chrono::{Datelike, NaiveDate};
use rust_decimal::Decimal;
use std::collections::BTreeMap;
use std::io::{self, Write};

/// Percent of stoves in use by age in years; older ones as the last.
const IN_USE_PERCENT: [u64; 5] = [93, 84, 76, 70, 65];

pub(super) fn write(seed: &Seed, round: &Round, out: &mut dyn Write) -> io::Result<()> {
    writeln!(
        out,
        "household_code,serial,surveyed_on,outcome,days_used_last_week,share_of_meals"
    )?;
    let mut frame: BTreeMap<u32, u64> = BTreeMap::new();
    for index in 0..seed.household_count() {
        if let Some((_, age)) = seed.found_stove(round, index, &seed.plan(index)) {
            *frame.entry(age).or_default() += 1;
        }
    }
    let mut bands: BTreeMap<u32, Band> = frame
        .into_iter()
        .map(|(age, stoves)| (age, seed.band(round, age, stoves)))
        .collect();
    for index in 0..seed.household_count() {
        let plan = seed.plan(index);
        let Some((stay, age)) = seed.found_stove(round, index, &plan) else {
            continue;
        };
        let Some(outcome) = bands.get_mut(&age).and_then(Band::next_outcome) else {
            continue;
        };
        let mut dice = seed.dice(Purpose::SurveyAnswer, year_index(round, index));
        let answer = UsageAnswer {
            household_code: plan.household.household_code.clone(),
            serial: stay.deployment.serial.clone(),
            surveyed_on: seed.survey_day(round, index),
            outcome,
            days_used_last_week: draw_days(&mut dice, outcome),
            share_of_meals: draw_share(&mut dice, outcome),
        };
        write_answer(&answer, out)?;
    }
    Ok(())
}

/// The stoves of one age band that are drawn, and what each draw will find.
struct Band {
    selection: Selection,
    outcomes: Vec<UsageOutcome>,
}

impl Band {
    fn next_outcome(&mut self) -> Option<UsageOutcome> {
        if self.selection.takes_next() {
            self.outcomes.pop()
        } else {
            None
        }
    }
}

impl Seed {
    /// The stove that a visit to the household would look for, and its age in whole years.
    fn found_stove<'a>(
        &self,
        round: &Round,
        index: u64,
        plan: &'a HouseholdPlan,
    ) -> Option<(&'a Stay, u32)> {
        let day = self.survey_day(round, index);
        let stay = plan
            .stays
            .iter()
            .find(|stay| !stay.deployment.second_stove && stay.lasts(day, day))?;
        Some((stay, day.years_since(stay.deployment.installed_on)?))
    }

    fn survey_day(&self, round: &Round, index: u64) -> NaiveDate {
        let mut dice = self.dice(Purpose::SurveyDay, year_index(round, index));
        days_after(
            round.starts_on,
            dice.below(days_between(round.starts_on, round.ends_on)),
        )
    }

    fn band(&self, round: &Round, age: u32, stoves: u64) -> Band {
        let wanted = self.scale.answers_per_age_band.min(stoves);
        let stream = year_index(round, u64::from(age));
        let mut dice = self.dice(Purpose::SurveyChoice, stream);
        let last = IN_USE_PERCENT.len() - 1;
        let place = usize::try_from(age).unwrap_or(last).min(last);
        let percent = IN_USE_PERCENT.get(place).copied().unwrap_or_default();
        let in_use = (wanted * percent + 50) / 100;
        let mut outcomes: Vec<UsageOutcome> = (0..wanted)
            .map(|answer| {
                if answer < in_use {
                    return UsageOutcome::InUse;
                }
                match dice.weighted(&[62, 25, 13]) {
                    0 => UsageOutcome::NotInUse,
                    1 => UsageOutcome::NotFound,
                    _ => UsageOutcome::Refused,
                }
            })
            .collect();
        dice.shuffle(&mut outcomes);
        Band {
            selection: Selection::new(dice, stoves, wanted),
            outcomes,
        }
    }
}

/// Streams of one year do not meet those of another.
fn year_index(round: &Round, index: u64) -> u64 {
    (u64::from(round.starts_on.year().unsigned_abs() % 128) << 40) | index
}

fn draw_days(dice: &mut Dice, outcome: UsageOutcome) -> Option<u32> {
    match outcome {
        UsageOutcome::InUse => {
            let rarely = dice.weighted(&[46, 22, 14, 9, 6, 3]);
            Some(7_u32.saturating_sub(u32::try_from(rarely).unwrap_or_default()))
        }
        UsageOutcome::NotInUse => Some(0),
        UsageOutcome::NotFound | UsageOutcome::Refused => None,
    }
}

fn draw_share(dice: &mut Dice, outcome: UsageOutcome) -> Option<Decimal> {
    match outcome {
        // In steps of a twentieth, as people answer.
        UsageOutcome::InUse => {
            let hundredths = 5 * dice.bell(14, 3, 5, 20);
            i64::try_from(hundredths)
                .ok()
                .map(|hundredths| Decimal::new(hundredths, 2))
        }
        UsageOutcome::NotInUse => Some(Decimal::new(0, 2)),
        UsageOutcome::NotFound | UsageOutcome::Refused => None,
    }
}

fn write_answer(answer: &UsageAnswer, out: &mut dyn Write) -> io::Result<()> {
    let outcome = match answer.outcome {
        UsageOutcome::InUse => "in_use",
        UsageOutcome::NotInUse => "not_in_use",
        UsageOutcome::NotFound => "not_found",
        UsageOutcome::Refused => "refused",
    };
    let days = answer
        .days_used_last_week
        .map(|days| days.to_string())
        .unwrap_or_default();
    let share = answer
        .share_of_meals
        .map(|share| share.to_string())
        .unwrap_or_default();
    let (household, serial, day) = (&answer.household_code, &answer.serial, answer.surveyed_on);
    writeln!(out, "{household},{serial},{day},{outcome},{days},{share}")
}
