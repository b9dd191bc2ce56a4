//! Chance, and where each stove stood when: timelines that keep the register's rules.

use chrono::{Datelike, Days, NaiveDate};
use emberbook::accounting::evidence::{Deployment, DeploymentEnd};
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng, SeedableRng};

/// Reproducible random choices.
pub struct Chance(ChaCha8Rng);

impl Chance {
    pub fn new(number: u64) -> Self {
        Chance(ChaCha8Rng::seed_from_u64(number))
    }

    /// Evenly from `low..=high`, near enough.
    pub fn between(&mut self, low: u64, high: u64) -> u64 {
        low + self.0.next_u64() % (high - low + 1)
    }

    /// True so many times in a hundred.
    pub fn percent(&mut self, percent: u64) -> bool {
        self.between(0, 99) < percent
    }

    pub fn pick<'a, T>(&mut self, choices: &'a [T]) -> &'a T {
        &choices[self.between(0, choices.len() as u64 - 1) as usize]
    }

    /// A day from 2019 to 2026, with leap days and the days about them far too often.
    pub fn day(&mut self) -> NaiveDate {
        const TURNS: [(i32, u32, u32); 10] = [
            (2020, 2, 28),
            (2020, 2, 29),
            (2020, 3, 1),
            (2021, 2, 28),
            (2021, 3, 1),
            (2024, 2, 28),
            (2024, 2, 29),
            (2024, 3, 1),
            (2024, 12, 31),
            (2025, 1, 1),
        ];
        if self.percent(35) {
            let (year, month, day) = *self.pick(&TURNS);
            return NaiveDate::from_ymd_opt(year, month, day).expect("a day");
        }
        let first = NaiveDate::from_ymd_opt(2019, 1, 1).expect("a day");
        first + Days::new(self.between(0, 8 * 365))
    }

    /// A whole number of years after `day`, give or take a day.
    pub fn birthday_of(&mut self, day: NaiveDate) -> NaiveDate {
        let years = self.between(0, 5) as i32;
        let birthday = day
            .with_year(day.year() + years)
            .unwrap_or_else(|| NaiveDate::from_ymd_opt(day.year() + years, 3, 1).expect("a day"));
        match self.between(0, 2) {
            0 => birthday.pred_opt().expect("a day"),
            1 => birthday,
            _ => birthday.succ_opt().expect("a day"),
        }
    }
}

const REASONS: [&str; 5] = ["dropped_out", "replaced", "broken", "moved", "returned"];

/// Deployments of all stoves, and ends that are sent apart from them.
pub struct Timelines {
    pub deployments: Vec<Deployment>,
    pub ends: Vec<DeploymentEnd>,
}

impl Timelines {
    /// Each stove stands in one household at a time, some twice in the same one; what
    /// overlaps in a household is marked as a second stove.
    pub fn new(chance: &mut Chance, stoves: u64, households: &[String]) -> Self {
        let mut timelines = Timelines {
            deployments: Vec::new(),
            ends: Vec::new(),
        };
        for stove in 0..stoves {
            // Serials that sort one way by bytes and another by a dictionary.
            let serial = format!("{}{stove}", chance.pick(&["S-", "s_", "T."]));
            timelines.place(chance, &serial, households);
        }
        timelines
    }

    fn place(&mut self, chance: &mut Chance, serial: &str, households: &[String]) {
        let mut from = chance.day();
        let mut household = chance.pick(households).clone();
        loop {
            let until = from + Days::new(chance.between(1, 900));
            let goes_on = chance.percent(45);
            let ended_on = (goes_on || chance.percent(30)).then_some(until);
            self.add(chance, serial, &household, from, ended_on);
            if !goes_on {
                if ended_on.is_none() && chance.percent(40) {
                    self.ends.push(DeploymentEnd {
                        serial: serial.to_owned(),
                        installed_on: from,
                        ended_on: until,
                        end_reason: (*chance.pick(&REASONS)).to_owned(),
                    });
                }
                return;
            }
            from = until + Days::new(chance.between(0, 60));
            if chance.percent(70) {
                household = chance.pick(households).clone();
            }
        }
    }

    fn add(
        &mut self,
        chance: &mut Chance,
        serial: &str,
        household: &str,
        from: NaiveDate,
        ended_on: Option<NaiveDate>,
    ) {
        let overlaps = |other: &Deployment| {
            other.household_code == household
                && !other.second_stove
                && other.ended_on.is_none_or(|end| from < end)
                && ended_on.is_none_or(|end| other.installed_on < end)
        };
        let second_stove = self.deployments.iter().any(overlaps);
        let (model_code, model_version) = *chance.pick(&[("G1", 1), ("G1", 2), ("g-1", 1)]);
        self.deployments.push(Deployment {
            serial: serial.to_owned(),
            model_code: model_code.to_owned(),
            model_version,
            household_code: household.to_owned(),
            installed_on: from,
            ended_on,
            end_reason: ended_on.map(|_| (*chance.pick(&REASONS)).to_owned()),
            second_stove,
        });
    }
}
