//! Baseline survey: what households on the list said to burn on a usual day, before any
//! stove was handed out. Told masses are rounder than weighed ones: they stand to 100 g.

use super::Seed;
use super::calendar::{days_after, days_between};
use super::dice::{Purpose, Selection};
use super::kitchen::{BASELINE_APPETITE, BASELINE_HABITS, thousandths};
use super::programme::Round;
use super::register::people_cells;
use rust_decimal::Decimal;
use std::io::{self, Write};

pub(super) fn write(seed: &Seed, round: &Round, out: &mut dyn Write) -> io::Result<()> {
    writeln!(
        out,
        "household_code,surveyed_on,device,fuel,fuel_wet_kg_per_day,moisture_wb,children_0_14,\
         women_over_14,men_15_59,men_over_59"
    )?;
    let households = seed.household_count();
    let dice = seed.dice(Purpose::AskedChoice, 0);
    let mut choice = Selection::new(dice, households, seed.scale.kitchens * 3 / 2);
    for index in (0..households).filter(|_| choice.takes_next()) {
        write_household(seed, round, index, out)?;
    }
    Ok(())
}

fn write_household(seed: &Seed, round: &Round, index: u64, out: &mut dyn Write) -> io::Result<()> {
    let mut dice = seed.dice(Purpose::Asked, index);
    let household = seed.plan(index).household;
    let surveyed_on = days_after(
        round.starts_on,
        dice.below(days_between(round.starts_on, round.ends_on)),
    );
    let dry_grams = BASELINE_APPETITE.draw(&mut dice, household.people);
    let weights: Vec<u64> = BASELINE_HABITS.iter().map(|(weight, _)| *weight).collect();
    let habits = BASELINE_HABITS
        .get(dice.weighted(&weights))
        .map(|(_, habits)| *habits)
        .unwrap_or_default();
    for habit in habits {
        let share = dry_grams * habit.share_per_mille / 1000;
        let dry = share * dice.bell(1000, 120, 500, 1500) / 1000;
        let moisture = dice.bell(140, 18, 100, 190);
        let wet_hectograms = (dry * 100 / (1000 - moisture) + 5) / 10;
        writeln!(
            out,
            "{},{surveyed_on},{},{},{},{},{}",
            household.household_code,
            habit.device,
            habit.fuel,
            Decimal::new(i64::try_from(wet_hectograms.max(1)).unwrap_or(i64::MAX), 1),
            thousandths(moisture),
            people_cells(household.people),
        )?;
    }
    Ok(())
}
