//! The frame: every unit that may be drawn, from the register as it is known.

use super::plan::{GroupCount, GroupKey, RoundPlan, SampleDesign, SampleUnit};
use crate::accounting::evidence::{Deployment, DeploymentEnd, Household};
use crate::accounting::stove_days::age_band;
use sha2::{Digest, Sha256};
use std::borrow::Borrow;
use std::collections::{BTreeMap, HashMap};

/// A stove in service on the day of the frame, not a second one, and where it is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct InService {
    pub serial: String,
    pub household_code: String,
    pub site_code: String,
    pub model_code: String,
    pub model_version: u32,
    pub age_band: u32,
}

/// One unit of the frame.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct FrameUnit {
    pub unit: String,
    /// Stratum, or site of a cluster design; `all` of a simple random one.
    pub group: String,
    pub household_code: String,
    pub serial: String,
    pub site_code: String,
    /// `code@version`.
    pub model: String,
    pub age_band: u32,
}

/// Columns of a frame's lines.
pub const FRAME_COLUMNS: [&str; 7] = [
    "unit",
    "group",
    "household_code",
    "serial",
    "site_code",
    "model",
    "age_band",
];

impl FrameUnit {
    pub fn cells(&self) -> [String; 7] {
        [
            self.unit.clone(),
            self.group.clone(),
            self.household_code.clone(),
            self.serial.clone(),
            self.site_code.clone(),
            self.model.clone(),
            self.age_band.to_string(),
        ]
    }
}

/// Stoves in service on the day of the plan, from rows of the register.
pub fn in_service<H: Borrow<Household>, D: Borrow<Deployment>, E: Borrow<DeploymentEnd>>(
    plan: &RoundPlan,
    households: &[H],
    deployments: &[D],
    ends: &[E],
) -> Vec<InService> {
    let sites: HashMap<&str, &str> = households
        .iter()
        .map(Borrow::borrow)
        .map(|each| (each.household_code.as_str(), each.site_code.as_str()))
        .collect();
    let ended: HashMap<_, _> = ends
        .iter()
        .map(Borrow::borrow)
        .map(|end| ((end.serial.as_str(), end.installed_on), end.ended_on))
        .collect();
    let stands = |each: &&Deployment| {
        let key = (each.serial.as_str(), each.installed_on);
        let ended_on = each.ended_on.or_else(|| ended.get(&key).copied());
        !each.second_stove && ended_on.is_none_or(|day| day > plan.frame_on)
    };
    deployments
        .iter()
        .map(Borrow::borrow)
        .filter(stands)
        .filter_map(|each| {
            Some(InService {
                serial: each.serial.clone(),
                household_code: each.household_code.clone(),
                site_code: (*sites.get(each.household_code.as_str())?).to_owned(),
                model_code: each.model_code.clone(),
                model_version: each.model_version,
                age_band: age_band(each.installed_on, plan.frame_on)?,
            })
        })
        .collect()
}

/// The frame of these stoves, in the order of the units' bytes.
///
/// A household has one stove at a time that is not a second one, so that stove and household
/// stand for each other.
pub fn frame(plan: &RoundPlan, stoves: Vec<InService>) -> Vec<FrameUnit> {
    let mut units: Vec<FrameUnit> = stoves
        .into_iter()
        .map(|stove| FrameUnit {
            unit: match plan.unit {
                SampleUnit::Stove => stove.serial.clone(),
                SampleUnit::Household => stove.household_code.clone(),
            },
            group: group_of(plan, &stove),
            model: model(&stove),
            household_code: stove.household_code,
            serial: stove.serial,
            site_code: stove.site_code,
            age_band: stove.age_band,
        })
        .collect();
    units.sort();
    units
}

fn model(stove: &InService) -> String {
    format!("{}@{}", stove.model_code, stove.model_version)
}

fn group_of(plan: &RoundPlan, stove: &InService) -> String {
    match plan.design {
        SampleDesign::SimpleRandom => "all".into(),
        SampleDesign::Cluster => stove.site_code.clone(),
        SampleDesign::Stratified => {
            let parts: Vec<String> = plan
                .strata_by
                .iter()
                .map(|key| match key {
                    GroupKey::Site => stove.site_code.clone(),
                    GroupKey::Model => model(stove),
                    GroupKey::AgeBand => format!("age {}", stove.age_band),
                })
                .collect();
            parts.join(", ")
        }
    }
}

/// Units of each group, in the order of the names' bytes.
pub fn group_counts(frame: &[FrameUnit]) -> Vec<GroupCount> {
    let mut counts: BTreeMap<&str, u64> = BTreeMap::new();
    for unit in frame {
        *counts.entry(&unit.group).or_default() += 1;
    }
    counts
        .into_iter()
        .map(|(name, units)| GroupCount {
            name: name.to_owned(),
            units,
        })
        .collect()
}

/// SHA-256 over all columns: cells with tabs between them, each line ended by a line feed.
pub fn rows_hash(frame: &[FrameUnit]) -> String {
    let mut hasher = Sha256::new();
    for unit in frame {
        hasher.update(unit.cells().join("\t").as_bytes());
        hasher.update(b"\n");
    }
    hex::encode(hasher.finalize())
}
