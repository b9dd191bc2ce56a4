//! How many units of the register a sample was drawn from, site by site.

use super::{GatherError, site_of, sites, with_ends};
use crate::accounting::evidence::{Deployment, DeploymentEnd, Household};
use crate::accounting::inputs::{EvidenceRole, Period, RegisterCount};
use crate::accounting::records::{ChosenRounds, RoundRecord};
use crate::accounting::stove_days::age_band;
use chrono::NaiveDate;
use std::borrow::Borrow;
use std::collections::{BTreeMap, BTreeSet};

/// A half-open range of days.
type Days = (NaiveDate, NaiveDate);

/// The days on which the rounds of each sample were in the field.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct FieldDays {
    /// Of usage surveys, what lies inside the period.
    pub usage: Vec<Days>,
    pub project_kitchens: Vec<Days>,
}

impl FieldDays {
    pub fn of(rounds: &[RoundRecord], chosen: &ChosenRounds, period: &Period) -> Self {
        let days = |codes: &[String]| -> Vec<&RoundRecord> {
            let known = |round: &&RoundRecord| codes.contains(&round.code);
            rounds.iter().filter(known).collect()
        };
        let inside = |round: &RoundRecord| {
            (
                round.starts_on.max(period.starts_on),
                round.ends_on.min(period.ends_on),
            )
        };
        let usage = days(&chosen.usage).into_iter().map(inside).collect();
        let project = days(&chosen.project_kitchens).into_iter();
        FieldDays {
            usage,
            project_kitchens: project
                .map(|round| (round.starts_on, round.ends_on))
                .collect(),
        }
    }
}

/// Stoves that a usage survey could ask about, by age band and site, and households whose
/// kitchen could be weighed, by site; sorted by their fields in order.
///
/// A stove counts in each round on a day of which it was in service, in the age band that it had
/// on the last such day; so does a household with one, for project kitchens. For the baseline,
/// which may lie before any stove, all households of the register count.
pub fn to_draw_from<H: Borrow<Household>, D: Borrow<Deployment>, E: Borrow<DeploymentEnd>>(
    households: &[H],
    deployments: &[D],
    ends: &[E],
    field: &FieldDays,
) -> Result<Vec<RegisterCount>, GatherError> {
    let mut counts: BTreeMap<(EvidenceRole, Option<u32>, String), u64> = BTreeMap::new();
    let mut count = |role, band, site: &str| {
        let units = counts.entry((role, band, site.to_owned())).or_default();
        *units = units.saturating_add(1);
    };
    for household in households.iter().map(Borrow::borrow) {
        for role in [EvidenceRole::BaselineKitchens, EvidenceRole::BaselineSurvey] {
            count(role, None, &household.site_code);
        }
    }
    let sites = sites(households);
    let mut kitchens: BTreeSet<(usize, String)> = BTreeSet::new();
    for deployment in with_ends(deployments, ends) {
        let household = &deployment.household_code;
        let site = site_of(&sites, household, || format!("stove {}", deployment.serial))?;
        for last in field
            .usage
            .iter()
            .filter_map(|days| last_in_service(&deployment, *days))
        {
            count(
                EvidenceRole::Usage,
                age_band(deployment.installed_on, last),
                &site,
            );
        }
        for (round, days) in field.project_kitchens.iter().enumerate() {
            if last_in_service(&deployment, *days).is_some()
                && kitchens.insert((round, household.clone()))
            {
                count(EvidenceRole::ProjectKitchens, None, &site);
            }
        }
    }
    let found = counts.into_iter();
    Ok(found
        .map(|((role, age_band, site_code), units)| RegisterCount {
            role,
            age_band,
            site_code,
            units,
        })
        .collect())
}

/// The last of these days on which the stove was in service.
fn last_in_service(deployment: &Deployment, (from, until): Days) -> Option<NaiveDate> {
    let until = deployment.ended_on.map_or(until, |ended| ended.min(until));
    let from = from.max(deployment.installed_on);
    (from < until).then(|| until.pred_opt()).flatten()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::accounting::evidence::People;

    fn day(text: &str) -> NaiveDate {
        text.parse().unwrap()
    }

    fn household(code: &str, site: &str) -> Household {
        Household {
            household_code: code.into(),
            site_code: site.into(),
            people: People::default(),
        }
    }

    fn stove(serial: &str, household: &str, from: &str, until: Option<&str>) -> Deployment {
        Deployment {
            serial: serial.into(),
            model_code: "drum".into(),
            model_version: 1,
            household_code: household.into(),
            installed_on: day(from),
            ended_on: until.map(day),
            end_reason: None,
            second_stove: false,
        }
    }

    /// By hand, for a round from the 10th to the 20th of March 2025: S-1 was in service all the
    /// time and comes to a second year inside it; S-2 ends on its second day; S-3 ended the day
    /// before, S-4 came the day after; S-5 is a second stove of the first household.
    #[test]
    fn stoves_and_households_in_service_while_the_round_was_in_the_field() {
        let households = [
            household("H-1", "north"),
            household("H-2", "south"),
            household("H-3", "south"),
        ];
        let stoves = [
            stove("S-1", "H-1", "2024-03-15", None),
            stove("S-2", "H-2", "2024-03-15", None),
            stove("S-3", "H-3", "2024-01-01", Some("2025-03-10")),
            stove("S-4", "H-3", "2025-03-20", None),
            stove("S-5", "H-1", "2025-01-01", None),
        ];
        let ends = [DeploymentEnd {
            serial: "S-2".into(),
            installed_on: day("2024-03-15"),
            ended_on: day("2025-03-12"),
            end_reason: "broken".into(),
        }];
        let days = vec![(day("2025-03-10"), day("2025-03-20"))];
        let field = FieldDays {
            usage: days.clone(),
            project_kitchens: days,
        };
        let found = to_draw_from(&households, &stoves, &ends, &field).unwrap();
        let told: Vec<String> = found
            .iter()
            .map(|c| format!("{:?} {:?} {} {}", c.role, c.age_band, c.site_code, c.units))
            .collect();
        assert_eq!(
            told,
            [
                "Usage Some(0) north 1",
                "Usage Some(0) south 1",
                "Usage Some(1) north 1",
                "BaselineKitchens None north 1",
                "BaselineKitchens None south 2",
                "ProjectKitchens None north 1",
                "ProjectKitchens None south 1",
                "BaselineSurvey None north 1",
                "BaselineSurvey None south 2",
            ]
        );
    }
}
