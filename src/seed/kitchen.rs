//! Kitchen performance tests: what two independent groups of households burnt.
//!
//! Masses are drawn in grams of dry fuel and written as wet kilograms to 10 g.

use super::Seed;
use super::calendar::{days_after, days_between};
use super::dice::{Dice, Purpose, Selection};
use super::household::{HouseholdPlan, standard_adult_tenths};
use super::programme::Round;
use super::register::people_cells;
use crate::accounting::evidence::{KitchenDay, People};
use chrono::NaiveDate;
use rust_decimal::Decimal;
use std::io::{self, Write};

const HEADER: &str = "household_code,measured_on,device,fuel,stock_start_wet_kg,added_wet_kg,\
                      stock_end_wet_kg,moisture_wb,children_0_14,women_over_14,men_15_59,\
                      men_over_59";
/// Standard adults of a middling household, in tenths.
const USUAL_ADULT_TENTHS: u64 = 36;
/// Days that a household must have had its stove before its kitchen is measured.
const SETTLED_DAYS: u64 = 60;
/// Most days that one household is measured.
const DAYS_MAX: u64 = 4;

/// A fuel in a device, as a share of the household's fuel.
pub(super) struct Habit {
    pub(super) device: &'static str,
    pub(super) fuel: &'static str,
    pub(super) share_per_mille: u64,
    /// Of a thousand days, those on which it is lit.
    lit_per_mille: u64,
}

const fn habit(
    device: &'static str,
    fuel: &'static str,
    share_per_mille: u64,
    lit_per_mille: u64,
) -> Habit {
    Habit {
        device,
        fuel,
        share_per_mille,
        lit_per_mille,
    }
}

const FIRE: &str = "three_stone_fire";
const GASIFIER: &str = "gasifier";

pub(super) const BASELINE_HABITS: [(u64, &[Habit]); 3] = [
    (
        60,
        &[
            habit(FIRE, "wood", 650, 1000),
            habit(FIRE, "coconut_husk", 350, 1000),
        ],
    ),
    (
        20,
        &[
            habit(FIRE, "wood", 600, 1000),
            habit(FIRE, "coconut_husk", 200, 1000),
            habit(FIRE, "pigeon_pea_stalk", 200, 1000),
        ],
    ),
    (20, &[habit(FIRE, "wood", 1000, 1000)]),
];

const PROJECT_HABITS: [(u64, &[Habit]); 3] = [
    (
        65,
        &[
            habit(GASIFIER, "coconut_husk", 480, 1000),
            habit(GASIFIER, "pigeon_pea_stalk", 260, 1000),
            habit(FIRE, "wood", 260, 800),
        ],
    ),
    (
        20,
        &[
            habit(GASIFIER, "coconut_husk", 640, 1000),
            habit(FIRE, "wood", 360, 850),
        ],
    ),
    (
        15,
        &[
            habit(GASIFIER, "coconut_husk", 620, 1000),
            habit(GASIFIER, "pigeon_pea_stalk", 380, 1000),
        ],
    ),
];

/// Dry fuel per household-day in grams: a fixed part, a part that grows with the household,
/// and how far households differ for other reasons.
pub(super) struct Appetite {
    fixed: u64,
    by_size: u64,
    deviation: u64,
    least: u64,
}

impl Appetite {
    /// Dry grams on a middling day of such a household.
    pub(super) fn draw(&self, dice: &mut Dice, people: People) -> u64 {
        let by_size = self.by_size * standard_adult_tenths(people) / USUAL_ADULT_TENTHS;
        dice.bell(self.fixed + by_size, self.deviation, self.least, 20_000)
    }
}

pub(super) const BASELINE_APPETITE: Appetite = Appetite {
    fixed: 2500,
    by_size: 3000,
    deviation: 1550,
    least: 1600,
};
const PROJECT_APPETITE: Appetite = Appetite {
    fixed: 1750,
    by_size: 2050,
    deviation: 1050,
    least: 1000,
};

pub(super) fn write_baseline(seed: &Seed, round: &Round, out: &mut dyn Write) -> io::Result<()> {
    writeln!(out, "{HEADER}")?;
    let mut choice = seed.baseline_choice();
    for index in (0..seed.household_count()).filter(|_| choice.takes_next()) {
        let mut dice = seed.dice(Purpose::BaselineKitchen, index);
        let plan = seed.plan(index);
        let kitchen = Kitchen::draw(
            &mut dice,
            round,
            &plan,
            &BASELINE_APPETITE,
            &BASELINE_HABITS,
        );
        kitchen.write(&mut dice, out)?;
    }
    Ok(())
}

pub(super) fn write_project(seed: &Seed, round: &Round, out: &mut dyn Write) -> io::Result<()> {
    writeln!(out, "{HEADER}")?;
    let users = seed.users_outside_baseline(round).count();
    let users = u64::try_from(users).unwrap_or_default();
    let dice = seed.dice(Purpose::ProjectChoice, 0);
    let mut choice = Selection::new(dice, users, seed.scale.kitchens);
    for (index, plan) in seed
        .users_outside_baseline(round)
        .filter(|_| choice.takes_next())
    {
        let mut dice = seed.dice(Purpose::ProjectKitchen, index);
        let kitchen = Kitchen::draw(&mut dice, round, &plan, &PROJECT_APPETITE, &PROJECT_HABITS);
        kitchen.write(&mut dice, out)?;
    }
    Ok(())
}

impl Seed {
    /// At most half of the households, so that the project round finds others.
    fn baseline_choice(&self) -> Selection {
        let households = self.household_count();
        let wanted = self.scale.kitchens.min(households / 2);
        Selection::new(self.dice(Purpose::BaselineChoice, 0), households, wanted)
    }

    fn users_outside_baseline(&self, round: &Round) -> impl Iterator<Item = (u64, HouseholdPlan)> {
        let mut choice = self.baseline_choice();
        let (starts_on, ends_on) = (round.starts_on, round.ends_on);
        (0..self.household_count())
            .filter(move |_| !choice.takes_next())
            .map(|index| (index, self.plan(index)))
            .filter(move |(_, plan)| {
                plan.stays.iter().any(|stay| {
                    let settled_on = days_after(stay.deployment.installed_on, SETTLED_DAYS);
                    settled_on <= starts_on && stay.lasts(starts_on, ends_on)
                })
            })
    }
}

/// One household's test before its days are drawn.
struct Kitchen<'a> {
    household_code: &'a str,
    people: People,
    starts_on: NaiveDate,
    days: u64,
    /// Dry grams on a middling day.
    dry_grams: u64,
    habits: &'static [Habit],
}

impl<'a> Kitchen<'a> {
    fn draw(
        dice: &mut Dice,
        round: &Round,
        plan: &'a HouseholdPlan,
        appetite: &Appetite,
        habits: &[(u64, &'static [Habit])],
    ) -> Self {
        let last_start = days_between(round.starts_on, round.ends_on).saturating_sub(DAYS_MAX);
        let people = plan.household.people;
        let weights: Vec<u64> = habits.iter().map(|(weight, _)| *weight).collect();
        let habits = habits
            .get(dice.weighted(&weights))
            .map(|(_, habits)| *habits);
        Kitchen {
            household_code: &plan.household.household_code,
            people,
            starts_on: days_after(round.starts_on, dice.below(last_start + 1)),
            days: if dice.chance(250) {
                DAYS_MAX
            } else {
                DAYS_MAX - 1
            },
            dry_grams: appetite.draw(dice, people),
            habits: habits.unwrap_or_default(),
        }
    }

    fn write(&self, dice: &mut Dice, out: &mut dyn Write) -> io::Result<()> {
        let mut stocks: Vec<u64> = self
            .habits
            .iter()
            .map(|_| dice.between(300, 1500))
            .collect();
        for day in 0..self.days {
            let people = present(dice, self.people);
            let dry_grams = self.dry_grams * dice.bell(1000, 150, 500, 1500) / 1000;
            for (place, habit) in self.habits.iter().enumerate() {
                let share = dry_grams * habit.share_per_mille / 1000;
                let dry_grams = share * dice.bell(1000, 120, 500, 1500) / 1000;
                let moisture = dice.bell(140, 18, 100, 190);
                if let Some(stock) = stocks.get_mut(place)
                    && dice.chance(habit.lit_per_mille)
                {
                    let used = dry_grams * 100 / (1000 - moisture);
                    let burnt = weigh(dice, stock, used);
                    self.write_day(day, habit, burnt, moisture, people, out)?;
                }
            }
        }
        Ok(())
    }

    fn write_day(
        &self,
        day: u64,
        habit: &Habit,
        weighed: Weighed,
        moisture: u64,
        people: People,
        out: &mut dyn Write,
    ) -> io::Result<()> {
        let row = KitchenDay {
            household_code: self.household_code.to_owned(),
            measured_on: days_after(self.starts_on, day),
            device: habit.device.to_owned(),
            fuel: habit.fuel.to_owned(),
            stock_start_wet_kg: hundredths(weighed.start),
            added_wet_kg: hundredths(weighed.added),
            stock_end_wet_kg: hundredths(weighed.end),
            moisture_wb: thousandths(moisture),
            people,
        };
        writeln!(
            out,
            "{},{},{},{},{},{},{},{},{}",
            row.household_code,
            row.measured_on,
            row.device,
            row.fuel,
            row.stock_start_wet_kg,
            row.added_wet_kg,
            row.stock_end_wet_kg,
            row.moisture_wb,
            people_cells(row.people),
        )
    }
}

/// Stock weighed in the morning, fuel brought in, stock the next morning; in 10 g.
struct Weighed {
    start: u64,
    added: u64,
    end: u64,
}

/// Burns `used` from the stock, which is filled up when it would run out.
fn weigh(dice: &mut Dice, stock: &mut u64, used: u64) -> Weighed {
    let start = *stock;
    let runs_out = start < used + 50;
    let added = match (runs_out, dice.chance(250)) {
        (true, _) => used + dice.between(100, 800),
        (false, true) => dice.between(50, 400),
        (false, false) => 0,
    };
    *stock = (start + added).saturating_sub(used);
    Weighed {
        start,
        added,
        end: *stock,
    }
}

/// Now and then a guest comes or someone eats elsewhere.
fn present(dice: &mut Dice, household: People) -> People {
    let mut people = household;
    match dice.weighted(&[80, 8, 6, 6]) {
        1 => people.children_0_14 += 1,
        2 => people.women_over_14 += 1,
        3 => people.men_15_59 = people.men_15_59.saturating_sub(1),
        _ => {}
    }
    people
}

/// A count of 10 g as kg.
pub(super) fn hundredths(count: u64) -> Decimal {
    Decimal::new(i64::try_from(count).unwrap_or(i64::MAX), 2)
}

/// A count of thousandths as a fraction.
pub(super) fn thousandths(count: u64) -> Decimal {
    Decimal::new(i64::try_from(count).unwrap_or(i64::MAX), 3)
}
