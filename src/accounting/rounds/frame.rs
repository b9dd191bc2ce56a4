//! The frame: every unit that may be drawn, from the register as it is known.

use super::plan::{GroupCount, GroupKey, RoundPlan, SampleDesign, SampleUnit};
use crate::accounting::evidence::{CharWeighing, Deployment, DeploymentEnd, Household};
use crate::accounting::stove_days::age_band;
use chrono::NaiveDate;
use sha2::{Digest, Sha256};
use std::collections::BTreeMap;

/// A stove in service on the day of the frame, not a second one.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct InService {
    pub serial: String,
    /// `code@version`.
    pub model: String,
    pub age_band: u32,
}

/// A weighing of char within the days of the frame.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Weighed {
    /// `W`, the trail entry that accepted the row, a hyphen, its line.
    pub code: String,
    pub weighed_on: NaiveDate,
    pub feedstock: String,
}

/// What may be drawn, before it is put into a group.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Candidate {
    pub household_code: String,
    pub site_code: String,
    pub stove: Option<InService>,
    pub weighed: Option<Weighed>,
}

/// One unit of the frame.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct FrameUnit {
    pub unit: String,
    /// Stratum, or site of a cluster design; `all` of a simple random one.
    pub group: String,
    pub household_code: String,
    /// Empty where no stove is in service; so are model and age.
    pub serial: String,
    pub site_code: String,
    /// `code@version`.
    pub model: String,
    pub age_band: Option<u32>,
    /// Of a weighing.
    pub weighed_on: Option<NaiveDate>,
    /// Of a weighing; else empty.
    pub feedstock: String,
}

/// Columns of a frame's lines.
pub const FRAME_COLUMNS: [&str; 9] = [
    "unit",
    "group",
    "household_code",
    "serial",
    "site_code",
    "model",
    "age_band",
    "weighed_on",
    "feedstock",
];

/// Columns that every frame's lines are hashed with; the later ones only where they are filled.
const COLUMNS_ALWAYS_HASHED: usize = 7;

impl FrameUnit {
    pub fn cells(&self) -> [String; 9] {
        let age = self.age_band.map(|age| age.to_string());
        let weighed_on = self.weighed_on.map(|day| day.to_string());
        [
            self.unit.clone(),
            self.group.clone(),
            self.household_code.clone(),
            self.serial.clone(),
            self.site_code.clone(),
            self.model.clone(),
            age.unwrap_or_default(),
            weighed_on.unwrap_or_default(),
            self.feedstock.clone(),
        ]
    }
}

/// Rows that count at a position of the trail.
#[derive(Debug, Default)]
pub struct Register {
    pub households: Vec<Household>,
    pub deployments: Vec<Deployment>,
    pub ends: Vec<DeploymentEnd>,
    /// Each with the trail entry that accepted it and its line.
    pub weighings: Vec<(u64, u64, CharWeighing)>,
}

/// The code that a weighing is drawn by.
pub fn weighing_code(sequence: u64, line: u64) -> String {
    format!("W{sequence}-{line}")
}

impl Register {
    /// What a plan may draw from.
    pub fn candidates(&self, plan: &RoundPlan) -> Vec<Candidate> {
        let sites: BTreeMap<&str, &str> = self
            .households
            .iter()
            .map(|each| (each.household_code.as_str(), each.site_code.as_str()))
            .collect();
        let at = |household: &str, stove, weighed| {
            Some(Candidate {
                household_code: household.to_owned(),
                site_code: (*sites.get(household)?).to_owned(),
                stove,
                weighed,
            })
        };
        if plan.unit == SampleUnit::CharWeighing {
            return self
                .weighings
                .iter()
                .filter(|(_, _, row)| {
                    row.weighed_on < plan.frame_on
                        && plan.frame_from.is_some_and(|from| row.weighed_on >= from)
                })
                .filter_map(|(sequence, line, row)| {
                    let weighed = Weighed {
                        code: weighing_code(*sequence, *line),
                        weighed_on: row.weighed_on,
                        feedstock: row.feedstock.clone(),
                    };
                    at(&row.household_code, None, Some(weighed))
                })
                .collect();
        }
        let mut stoves = self.in_service(plan.frame_on);
        if plan.unit.has_stove() {
            return stoves
                .into_iter()
                .filter_map(|(household, stove)| at(household, Some(stove), None))
                .collect();
        }
        sites
            .keys()
            .map(|household| (*household, stoves.remove(household)))
            .filter(|(_, stove)| plan.unit == SampleUnit::RegisteredHousehold || stove.is_none())
            .filter_map(|(household, stove)| at(household, stove, None))
            .collect()
    }

    /// Stoves in service on a day by household, which has one at a time that is no second one.
    fn in_service(&self, on: NaiveDate) -> BTreeMap<&str, InService> {
        let ended: BTreeMap<_, _> = self
            .ends
            .iter()
            .map(|end| ((end.serial.as_str(), end.installed_on), end.ended_on))
            .collect();
        let stands = |each: &&Deployment| {
            let key = (each.serial.as_str(), each.installed_on);
            let ended_on = each.ended_on.or_else(|| ended.get(&key).copied());
            !each.second_stove && ended_on.is_none_or(|day| day > on)
        };
        self.deployments
            .iter()
            .filter(stands)
            .filter_map(|each| {
                let stove = InService {
                    serial: each.serial.clone(),
                    model: format!("{}@{}", each.model_code, each.model_version),
                    age_band: age_band(each.installed_on, on)?,
                };
                Some((each.household_code.as_str(), stove))
            })
            .collect()
    }
}

/// The frame of these candidates, in the order of the units' bytes.
///
/// A household has one stove at a time that is not a second one, so that stove and household
/// stand for each other.
pub fn frame(plan: &RoundPlan, candidates: Vec<Candidate>) -> Vec<FrameUnit> {
    let mut units: Vec<FrameUnit> = candidates
        .into_iter()
        .map(|each| unit_of(plan, each))
        .collect();
    units.sort();
    units
}

fn unit_of(plan: &RoundPlan, candidate: Candidate) -> FrameUnit {
    let group = group_of(plan, &candidate);
    let (serial, model, age_band) = match candidate.stove {
        Some(stove) => (stove.serial, stove.model, Some(stove.age_band)),
        None => Default::default(),
    };
    let (code, weighed_on, feedstock) = match candidate.weighed {
        Some(weighed) => (weighed.code, Some(weighed.weighed_on), weighed.feedstock),
        None => Default::default(),
    };
    FrameUnit {
        unit: match plan.unit {
            SampleUnit::Stove => serial.clone(),
            SampleUnit::CharWeighing => code,
            SampleUnit::Household
            | SampleUnit::RegisteredHousehold
            | SampleUnit::HouseholdWithoutStove => candidate.household_code.clone(),
        },
        group,
        household_code: candidate.household_code,
        serial,
        site_code: candidate.site_code,
        model,
        age_band,
        weighed_on,
        feedstock,
    }
}

/// The group of a unit: its stratum, its site of a cluster design, else `all`.
pub fn group_of(plan: &RoundPlan, candidate: &Candidate) -> String {
    let stove = candidate.stove.as_ref();
    match plan.design {
        SampleDesign::SimpleRandom => "all".into(),
        SampleDesign::Cluster => candidate.site_code.clone(),
        SampleDesign::Stratified => {
            let parts: Vec<String> = plan
                .strata_by
                .iter()
                .map(|key| match key {
                    GroupKey::Site => candidate.site_code.clone(),
                    GroupKey::Model => stove.map_or_else(String::new, |s| s.model.clone()),
                    GroupKey::AgeBand => {
                        stove.map_or_else(String::new, |s| format!("age {}", s.age_band))
                    }
                    GroupKey::Feedstock => candidate
                        .weighed
                        .as_ref()
                        .map_or_else(String::new, |weighed| weighed.feedstock.clone()),
                })
                .collect();
            parts.join(", ")
        }
    }
}

/// Units of each group, in the order of the names' bytes.
pub fn group_counts(frame: &[FrameUnit]) -> Vec<GroupCount> {
    summed(frame.iter().map(|unit| (unit.group.clone(), 1)))
}

/// Counts added up by the name of the group.
pub fn summed(counts: impl IntoIterator<Item = (String, u64)>) -> Vec<GroupCount> {
    let mut sums: BTreeMap<String, u64> = BTreeMap::new();
    for (name, units) in counts {
        let sum = sums.entry(name).or_default();
        *sum = sum.saturating_add(units);
    }
    sums.into_iter()
        .map(|(name, units)| GroupCount { name, units })
        .collect()
}

/// SHA-256 over all columns: cells with tabs between them, each line ended by a line feed. The
/// columns after the seventh are left out where they are empty.
pub fn rows_hash(frame: &[FrameUnit]) -> String {
    let mut hasher = Sha256::new();
    for unit in frame {
        for (place, cell) in unit.cells().iter().enumerate() {
            if place >= COLUMNS_ALWAYS_HASHED && cell.is_empty() {
                continue;
            }
            if place > 0 {
                hasher.update(b"\t");
            }
            hasher.update(cell.as_bytes());
        }
        hasher.update(b"\n");
    }
    hex::encode(hasher.finalize())
}

#[cfg(test)]
mod tests;
