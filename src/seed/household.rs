//! One household: where it is, who lives there and which stoves it had when.
//!
//! Stoves are handed out in blocks of 60 to 53 households: 53 first stoves, 6 that
//! replace one of them and 1 second stove. So the household of a stove, and the
//! stoves of a household, are known from the index alone.

use super::Seed;
use super::calendar::{days_after, days_between};
use super::dice::{Dice, Purpose};
use super::programme::{MODEL, SITES};
use crate::accounting::evidence::{Deployment, Household, People};
use chrono::NaiveDate;

const BLOCK_STOVES: u64 = 60;
const BLOCK_HOUSEHOLDS: u64 = 53;
/// Places in a block of households whose first stove is replaced, in order of the replacement.
const REPLACED_PLACES: [u64; 6] = [3, 12, 21, 30, 39, 48];
/// Place in a block of households that gets a second stove.
const SECOND_PLACE: u64 = 26;

pub(super) struct HouseholdPlan {
    pub(super) household: Household,
    pub(super) stays: Vec<Stay>,
}

/// One stove in the household.
pub(super) struct Stay {
    /// Place of the stove among all stoves handed out.
    pub(super) stove: u64,
    pub(super) deployment: Deployment,
    /// The end was not known when the deployment was recorded.
    pub(super) end_recorded_later: bool,
}

impl Stay {
    /// In the household on every day from `first` to `last`.
    pub(super) fn lasts(&self, first: NaiveDate, last: NaiveDate) -> bool {
        let ended = self.deployment.ended_on.is_some_and(|end| end <= last);
        self.deployment.installed_on <= first && !ended
    }
}

/// How many households the scale has.
pub(super) fn households(deployments: u64) -> u64 {
    let (blocks, rest) = (deployments / BLOCK_STOVES, deployments % BLOCK_STOVES);
    blocks * BLOCK_HOUSEHOLDS + rest.min(BLOCK_HOUSEHOLDS)
}

/// The household that gets a stove.
pub(super) fn household_of(stove: u64) -> u64 {
    let (block, place) = (stove / BLOCK_STOVES, stove % BLOCK_STOVES);
    let replaced = || {
        REPLACED_PLACES
            .iter()
            .zip(BLOCK_HOUSEHOLDS..)
            .find(|(_, at)| *at == place)
    };
    let household = match replaced() {
        _ if place < BLOCK_HOUSEHOLDS => place,
        Some((household, _)) => *household,
        None => SECOND_PLACE,
    };
    block * BLOCK_HOUSEHOLDS + household
}

impl Seed {
    pub(super) fn household_count(&self) -> u64 {
        households(self.scale.deployments)
    }

    /// The household with this index, from 0.
    pub(super) fn plan(&self, index: u64) -> HouseholdPlan {
        let mut dice = self.dice(Purpose::Household, index);
        let (block, place) = (index / BLOCK_HOUSEHOLDS, index % BLOCK_HOUSEHOLDS);
        let household = draw_household(&mut dice, index);
        let code = household.household_code.clone();
        let first_stove = block * BLOCK_STOVES + place;
        let handed_out = |stove: &u64| *stove < self.scale.deployments;
        let replacement = REPLACED_PLACES
            .iter()
            .position(|at| *at == place)
            .and_then(|at| u64::try_from(at).ok())
            .map(|at| block * BLOCK_STOVES + BLOCK_HOUSEHOLDS + at)
            .filter(handed_out);
        let second = Some(block * BLOCK_STOVES + BLOCK_STOVES - 1)
            .filter(|stove| place == SECOND_PLACE && handed_out(stove));
        let room = if replacement.or(second).is_some() {
            120
        } else {
            1
        };
        let installed_on = self.draw_installation(&mut dice, first_stove, room);
        let mut first = self.stay(first_stove, &code, installed_on);
        let until_end = days_between(installed_on, self.calendar.ends_on);
        let mut stays = Vec::new();
        if let Some(stove) = replacement {
            let days = dice.between(90, until_end.saturating_sub(10).min(800));
            let replaced_on = days_after(installed_on, days);
            first.deployment.ended_on = Some(replaced_on);
            first.deployment.end_reason = Some("replaced".to_owned());
            stays.extend([first, self.stay(stove, &code, replaced_on)]);
        } else if let Some(stove) = second {
            let days = dice.between(30, until_end.saturating_sub(10).min(500));
            let mut beside = self.stay(stove, &code, days_after(installed_on, days));
            beside.deployment.second_stove = true;
            stays.extend([first, beside]);
        } else {
            self.draw_end(&mut dice, &mut first);
            stays.push(first);
        }
        HouseholdPlan { household, stays }
    }

    /// Stoves go out at an even pace over the horizon, at least `room` days before its end.
    fn draw_installation(&self, dice: &mut Dice, stove: u64, room: u64) -> NaiveDate {
        const JITTER: u64 = 20;
        let days = days_between(self.calendar.starts_on, self.calendar.ends_on);
        let pace = stove * (days - JITTER) / self.scale.deployments;
        let day = (pace + dice.below(JITTER)).min(days - room);
        days_after(self.calendar.starts_on, day)
    }

    fn stay(&self, stove: u64, household_code: &str, installed_on: NaiveDate) -> Stay {
        let days = days_between(self.calendar.starts_on, self.calendar.ends_on);
        let half = days_after(self.calendar.starts_on, days / 2);
        let version = if installed_on < half { 1 } else { 2 };
        let deployment = Deployment {
            serial: format!("{MODEL}{version}-{:06}", stove + 1),
            model_code: MODEL.to_owned(),
            model_version: version,
            household_code: household_code.to_owned(),
            installed_on,
            ended_on: None,
            end_reason: None,
            second_stove: false,
        };
        Stay {
            stove,
            deployment,
            end_recorded_later: false,
        }
    }

    /// About one stove in eight leaves its household before the horizon ends.
    fn draw_end(&self, dice: &mut Dice, stay: &mut Stay) {
        const REASONS: [&str; 4] = ["dropped_out", "moved", "broken", "returned"];
        let leaves = dice.chance(180);
        let ended_on = days_after(stay.deployment.installed_on, dice.between(60, 900));
        let reason = dice.weighted(&[55, 20, 15, 10]);
        if leaves && ended_on < self.calendar.ends_on {
            stay.deployment.ended_on = Some(ended_on);
            stay.deployment.end_reason = REASONS.get(reason).map(|reason| (*reason).to_owned());
            stay.end_recorded_later = dice.chance(500);
        }
    }
}

fn draw_household(dice: &mut Dice, index: u64) -> Household {
    let count = |drawn: usize| u32::try_from(drawn).unwrap_or_default();
    let site = dice.weighted(&[40, 35, 25]);
    let people = People {
        children_0_14: count(dice.weighted(&[12, 24, 28, 20, 11, 5])),
        women_over_14: 1 + count(dice.weighted(&[62, 28, 10])),
        men_15_59: count(dice.weighted(&[14, 58, 21, 7])),
        men_over_59: count(dice.weighted(&[78, 22])),
    };
    Household {
        household_code: format!("H-{:04}", index + 1),
        site_code: SITES
            .get(site)
            .map(|(code, _)| (*code).to_owned())
            .unwrap_or_default(),
        people,
    }
}

/// Standard adults in tenths: child 0.5, woman over 14 0.8, man 15 to 59 1.0, man over 59 0.8
/// (kitchen performance test practice after FAO; MEMORY).
pub(super) fn standard_adult_tenths(people: People) -> u64 {
    let tenths = |count: u32, weight: u64| u64::from(count) * weight;
    tenths(people.children_0_14, 5)
        + tenths(people.women_over_14, 8)
        + tenths(people.men_15_59, 10)
        + tenths(people.men_over_59, 8)
}
