//! Char weighings: each month the char bin of the sampled households.

use super::Seed;
use super::calendar::{days_after, days_between};
use super::dice::{Dice, Purpose, Selection};
use super::kitchen::{hundredths, thousandths};
use super::programme::Round;
use crate::accounting::evidence::CharWeighing;
use chrono::{Datelike, NaiveDate};
use std::io::{self, Write};

/// A household that is weighed through the year: its index and code.
type Weighed = (u64, String);

pub(super) fn write(seed: &Seed, round: &Round, out: &mut dyn Write) -> io::Result<()> {
    writeln!(
        out,
        "household_code,weighed_on,feedstock,fuel_burnt_wet_kg,fuel_moisture_wb,char_wet_kg,\
         char_moisture_wb,fate"
    )?;
    let households = seed.weighed_households(round);
    for month in 1..=12 {
        for (index, code) in &households {
            write_row(&seed.weighing(round, *index, code, month), out)?;
        }
    }
    Ok(())
}

impl Seed {
    /// Drawn from the households that had a first stove on every day of the round; in the year
    /// before the last the campaign is smaller.
    fn weighed_households(&self, round: &Round) -> Vec<Weighed> {
        let weighable = || {
            (0..self.household_count())
                .map(|index| (index, self.plan(index)))
                .filter(|(_, plan)| {
                    plan.stays
                        .iter()
                        .any(|stay| stay.lasts(round.starts_on, round.ends_on))
                })
        };
        let year = round.starts_on.year();
        let wanted = match year == self.calendar.last_year {
            true => self.scale.weighed_households,
            false => self.scale.weighed_households * 3 / 5,
        };
        let dice = self.dice(Purpose::WeighingChoice, u64::from(year.unsigned_abs()));
        let population = u64::try_from(weighable().count()).unwrap_or_default();
        let mut choice = Selection::new(dice, population, wanted);
        weighable()
            .filter(|_| choice.takes_next())
            .map(|(index, plan)| (index, plan.household.household_code))
            .collect()
    }

    fn weighing(&self, round: &Round, index: u64, code: &str, month: u32) -> CharWeighing {
        const FEEDSTOCKS: [&str; 2] = ["coconut_husk", "pigeon_pea_stalk"];
        const FATES: [&str; 5] = ["soil", "burnt", "sold_as_fuel", "discarded", "unknown"];
        let year = round.starts_on.year();
        let stream = (u64::from(year.unsigned_abs() % 128) * 16 + u64::from(month)) << 36 | index;
        let mut dice = self.dice(Purpose::Weighing, stream);
        let feedstock = dice.weighted(&[68, 32]);
        let fuel_moisture = dice.bell(140, 18, 100, 190);
        let fuel_wet = dice.bell(2800, 700, 900, 5000);
        let char_moisture = dice.between(40, 320);
        let fuel_dry = fuel_wet * (1000 - fuel_moisture);
        let char_wet = fuel_dry * draw_yield(&mut dice) / 1000 / (1000 - char_moisture);
        let weighs_fuel = !dice.chance(60);
        let fate = dice.weighted(&[79, 8, 5, 3, 5]);
        let named =
            |names: &[&str], place: usize| names.get(place).copied().unwrap_or_default().to_owned();
        CharWeighing {
            household_code: code.to_owned(),
            weighed_on: day_of_month(&mut dice, round, year, month),
            feedstock: named(&FEEDSTOCKS, feedstock),
            fuel_burnt_wet_kg: weighs_fuel.then(|| hundredths(fuel_wet)),
            fuel_moisture_wb: weighs_fuel.then(|| thousandths(fuel_moisture)),
            char_wet_kg: hundredths(char_wet),
            char_moisture_wb: thousandths(char_moisture),
            fate: named(&FATES, fate),
        }
    }
}

/// Dry char per dry fuel in thousandths. About one weighing in a hundred is beyond what
/// a stove can leave, as when char of an earlier month was in the bin.
fn draw_yield(dice: &mut Dice) -> u64 {
    if dice.chance(12) {
        dice.between(320, 420)
    } else {
        dice.bell(195, 14, 150, 245)
    }
}

fn day_of_month(dice: &mut Dice, round: &Round, year: i32, month: u32) -> NaiveDate {
    let first = NaiveDate::from_ymd_opt(year, month, 1).unwrap_or(round.starts_on);
    let days = days_between(first, round.ends_on).min(28);
    days_after(first, dice.below(days))
}

fn write_row(row: &CharWeighing, out: &mut dyn Write) -> io::Result<()> {
    let fuel = row
        .fuel_burnt_wet_kg
        .map(|mass| mass.to_string())
        .unwrap_or_default();
    let moisture = row
        .fuel_moisture_wb
        .map(|share| share.to_string())
        .unwrap_or_default();
    writeln!(
        out,
        "{},{},{},{fuel},{moisture},{},{},{}",
        row.household_code,
        row.weighed_on,
        row.feedstock,
        row.char_wet_kg,
        row.char_moisture_wb,
        row.fate,
    )
}
