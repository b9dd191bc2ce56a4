//! Moisture readings: the fuels of households with a stove, read with a meter on one visit.

use super::Seed;
use super::calendar::{days_after, days_between};
use super::dice::{Purpose, Selection};
use super::kitchen::thousandths;
use super::programme::Round;
use std::io::{self, Write};

/// A fuel, of how many households in a thousand it is found with, and its middling moisture.
const FUELS: [(&str, u64, u64); 3] = [
    ("coconut_husk", 1000, 138),
    ("pigeon_pea_stalk", 600, 131),
    ("wood", 700, 152),
];

pub(super) fn write(seed: &Seed, round: &Round, out: &mut dyn Write) -> io::Result<()> {
    writeln!(out, "household_code,measured_on,fuel,moisture_wb")?;
    let with_stove = || {
        (0..seed.household_count())
            .map(|index| (index, seed.plan(index)))
            .filter(|(_, plan)| {
                plan.stays
                    .iter()
                    .any(|stay| stay.lasts(round.starts_on, round.ends_on))
            })
    };
    let population = u64::try_from(with_stove().count()).unwrap_or_default();
    let dice = seed.dice(Purpose::ReadChoice, 0);
    let mut choice = Selection::new(dice, population, seed.scale.kitchens * 3 / 4);
    let days = days_between(round.starts_on, round.ends_on);
    for (index, plan) in with_stove().filter(|_| choice.takes_next()) {
        let mut dice = seed.dice(Purpose::Read, index);
        let day = days_after(round.starts_on, dice.below(days));
        for (fuel, found, middle) in FUELS {
            let moisture = dice.bell(middle, 20, 90, 220);
            if dice.chance(found) {
                writeln!(
                    out,
                    "{},{day},{fuel},{}",
                    plan.household.household_code,
                    thousandths(moisture)
                )?;
            }
        }
    }
    Ok(())
}
