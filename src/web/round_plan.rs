//! The form that plans a round: read field by field, shown again as it was typed, with what is
//! wrong beside each field.

use super::words;
use crate::accounting::records::RoundKind;
use crate::accounting::rounds::plan::{
    ExpectedStratum, GroupKey, PrecisionKind, RoundPlan, SampleAllocation, SampleDesign,
    SampleUnit, Sizes, units_of, value_of,
};
use crate::service::rounds::NewRound;
use crate::service::{FieldProblem, ServiceError};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use std::str::FromStr;

/// The form as it was typed.
#[derive(Deserialize)]
#[serde(default)]
pub(super) struct PlanForm {
    pub code: String,
    pub kind: String,
    pub starts_on: String,
    pub ends_on: String,
    pub purpose: String,
    pub unit: String,
    pub frame_on: String,
    pub frame_from: String,
    pub design: String,
    pub by_site: String,
    pub by_model: String,
    pub by_age: String,
    pub by_feedstock: String,
    pub allocation: String,
    pub strata: String,
    pub units_in_each: String,
    pub confidence: String,
    pub precision: String,
    pub precision_is: String,
    pub expected_share: String,
    pub expected_mean: String,
    pub expected_standard_deviation: String,
    pub design_effect: String,
    pub expected_response: String,
    pub reserve: String,
    /// What is wrong, by field.
    #[serde(skip)]
    pub faults: BTreeMap<String, String>,
}

impl Default for PlanForm {
    fn default() -> Self {
        let text = str::to_owned;
        PlanForm {
            code: String::new(),
            kind: text("usage_survey"),
            starts_on: String::new(),
            ends_on: String::new(),
            purpose: String::new(),
            unit: text("stove"),
            frame_on: String::new(),
            frame_from: String::new(),
            design: text("simple_random"),
            by_site: String::new(),
            by_model: String::new(),
            by_age: String::new(),
            by_feedstock: String::new(),
            allocation: text("proportional"),
            strata: String::new(),
            units_in_each: String::new(),
            confidence: text("0.90"),
            precision: text("0.10"),
            precision_is: text("relative"),
            expected_share: String::new(),
            expected_mean: String::new(),
            expected_standard_deviation: String::new(),
            design_effect: text("1"),
            expected_response: text("0.9"),
            reserve: text("5"),
            faults: BTreeMap::new(),
        }
    }
}

/// Reads fields one after the other and keeps what is wrong with each.
#[derive(Default)]
struct Reading(Vec<FieldProblem>);

impl Reading {
    fn wrong(&mut self, field: &str, detail: impl Into<String>) {
        self.0.push(FieldProblem {
            field: field.to_owned(),
            detail: detail.into(),
        });
    }

    /// An empty field is none.
    fn maybe<T: FromStr>(&mut self, field: &str, text: &str) -> Option<T> {
        match text.trim() {
            "" => None,
            text => match text.parse() {
                Ok(value) => Some(value),
                Err(_) => {
                    self.wrong(field, "cannot be read");
                    None
                }
            },
        }
    }

    fn must<T: FromStr>(&mut self, field: &str, text: &str) -> Option<T> {
        if text.trim().is_empty() {
            self.wrong(field, "is missing");
        }
        self.maybe(field, text)
    }

    fn choice<T>(&mut self, field: &str, text: &str, choices: &[(&str, T)]) -> Option<T>
    where
        T: Copy,
    {
        let found = choices.iter().find(|(code, _)| *code == text);
        if found.is_none() {
            self.wrong(field, "is no choice of this form");
        }
        found.map(|(_, value)| *value)
    }

    /// One stratum a line: its name, a semicolon, and a share, or a mean, another semicolon and
    /// a standard deviation.
    fn strata(&mut self, text: &str) -> Vec<ExpectedStratum> {
        let lines = text.lines().map(str::trim).filter(|line| !line.is_empty());
        lines
            .filter_map(|line| {
                let parts: Vec<&str> = line.split(';').map(str::trim).collect();
                let read = |text: &str| text.parse().ok();
                let (name, share, mean, deviation) = match parts.as_slice() {
                    [name, share] => (name, Some(read(share)?), None, None),
                    [name, mean, deviation] => {
                        (name, None, Some(read(mean)?), Some(read(deviation)?))
                    }
                    _ => return None,
                };
                Some(ExpectedStratum {
                    name: (*name).to_owned(),
                    expected_share: share,
                    expected_mean: mean,
                    expected_standard_deviation: deviation,
                })
            })
            .collect()
    }
}

impl PlanForm {
    fn read(&self, reading: &mut Reading) -> Option<RoundPlan> {
        let keys = [
            (&self.by_site, GroupKey::Site),
            (&self.by_model, GroupKey::Model),
            (&self.by_age, GroupKey::AgeBand),
            (&self.by_feedstock, GroupKey::Feedstock),
        ];
        let units = UNITS.map(|unit| (unit_code(unit), unit));
        let designs = [
            ("simple_random", SampleDesign::SimpleRandom),
            ("stratified", SampleDesign::Stratified),
            ("cluster", SampleDesign::Cluster),
        ];
        let allocations = [
            ("proportional", SampleAllocation::Proportional),
            ("optimum", SampleAllocation::Optimum),
        ];
        let precisions = [
            ("relative", PrecisionKind::Relative),
            ("absolute", PrecisionKind::Absolute),
        ];
        let strata = reading.strata(&self.strata);
        let lines = self.strata.lines().filter(|line| !line.trim().is_empty());
        if strata.len() != lines.count() {
            reading.wrong(
                "strata",
                "has a line that is neither NAME; SHARE nor NAME; MEAN; DEVIATION",
            );
        }
        // Every field is read before the first that is missing ends it, so that all are told.
        let unit = reading.choice("unit", &self.unit, &units);
        let frame_on = reading.must("frame_on", &self.frame_on);
        let frame_from = reading.maybe("frame_from", &self.frame_from);
        let design = reading.choice("design", &self.design, &designs);
        let allocation = reading.choice("allocation", &self.allocation, &allocations);
        let units_in_each = reading.maybe("units_in_each", &self.units_in_each);
        let confidence = reading.must("confidence", &self.confidence);
        let precision = reading.must("precision", &self.precision);
        let precision_is = reading.choice("precision_is", &self.precision_is, &precisions);
        let expected_share = reading.maybe("expected_share", &self.expected_share);
        let expected_mean = reading.maybe("expected_mean", &self.expected_mean);
        let deviation = reading.maybe(
            "expected_standard_deviation",
            &self.expected_standard_deviation,
        );
        let design_effect = reading.must("design_effect", &self.design_effect);
        let expected_response = reading.must("expected_response", &self.expected_response);
        let reserve = reading.must("reserve", &self.reserve);
        Some(RoundPlan {
            purpose: self.purpose.trim().to_owned(),
            unit: unit?,
            frame_on: frame_on?,
            frame_from,
            design: design?,
            strata_by: keys
                .into_iter()
                .filter(|(ticked, _)| *ticked == "yes")
                .map(|(_, key)| key)
                .collect(),
            allocation: allocation?,
            strata,
            units_in_each,
            confidence: confidence?,
            precision: precision?,
            precision_is: precision_is?,
            expected_share,
            expected_mean,
            expected_standard_deviation: deviation,
            design_effect: design_effect?,
            expected_response: expected_response?,
            reserve: reserve?,
        })
    }

    /// The plan that the form says.
    ///
    /// # Errors
    /// Every field that cannot be read.
    pub fn plan(&self) -> Result<RoundPlan, ServiceError> {
        let mut reading = Reading::default();
        match self.read(&mut reading) {
            Some(plan) if reading.0.is_empty() => Ok(plan),
            _ => Err(ServiceError::Invalid(reading.0)),
        }
    }

    /// The round that the form opens.
    ///
    /// # Errors
    /// Every field that cannot be read.
    pub fn round(&self) -> Result<NewRound, ServiceError> {
        let mut reading = Reading::default();
        let plan = self.read(&mut reading);
        let starts_on = reading.must("starts_on", &self.starts_on);
        let ends_on = reading.must("ends_on", &self.ends_on);
        match (plan, starts_on, ends_on) {
            (Some(plan), Some(starts_on), Some(ends_on)) if reading.0.is_empty() => Ok(NewRound {
                code: self.code.trim().to_owned(),
                kind: self.kind.clone(),
                starts_on,
                ends_on,
                design: format!("{}, drawn by the program.", design_words(&plan)),
                plan: Some(plan),
            }),
            _ => Err(ServiceError::Invalid(reading.0)),
        }
    }

    /// Whether a choice of a list was the one sent.
    pub fn is(&self, sent: &str, choice: &str) -> bool {
        sent == choice
    }

    /// What is wrong with a field; empty where nothing is.
    pub fn fault(&self, field: &str) -> &str {
        self.faults.get(field).map_or("", String::as_str)
    }

    /// Takes up what is wrong, and returns what belongs to no field of the form.
    pub fn take_faults(&mut self, problems: &[FieldProblem]) -> Vec<String> {
        let mut others = Vec::new();
        for problem in problems {
            if FIELDS.contains(&problem.field.as_str()) {
                let told = self.faults.entry(problem.field.clone()).or_default();
                if !told.is_empty() {
                    told.push_str("; ");
                }
                told.push_str(&format!(
                    "{} {}",
                    words::spaced(&problem.field),
                    problem.detail
                ));
            } else {
                others.push(problem.detail.clone());
            }
        }
        for told in self.faults.values_mut() {
            *told = format!("{}.", words::capital(told));
        }
        others
    }
}

/// Fields with a place for what is wrong beside them.
const FIELDS: [&str; 22] = [
    "code",
    "kind",
    "starts_on",
    "ends_on",
    "purpose",
    "unit",
    "frame_on",
    "frame_from",
    "design",
    "strata_by",
    "allocation",
    "strata",
    "units_in_each",
    "confidence",
    "precision",
    "precision_is",
    "expected_share",
    "expected_mean",
    "expected_standard_deviation",
    "design_effect",
    "expected_response",
    "reserve",
];

/// One kind of round in the list of the form: code, name, the units that it may draw, and what
/// it measures.
pub(super) fn kinds() -> Vec<(&'static str, String, String, &'static str)> {
    RoundKind::ALL
        .into_iter()
        .map(|kind| {
            let units: Vec<&str> = units_of(kind).iter().map(|unit| unit_code(*unit)).collect();
            (
                kind.code(),
                words::spaced(kind.code()),
                units.join(" "),
                value_of(kind),
            )
        })
        .collect()
}

const UNITS: [SampleUnit; 5] = [
    SampleUnit::Stove,
    SampleUnit::Household,
    SampleUnit::RegisteredHousehold,
    SampleUnit::HouseholdWithoutStove,
    SampleUnit::CharWeighing,
];

/// What may be drawn: code and words.
pub(super) fn units() -> Vec<(&'static str, &'static str)> {
    UNITS
        .map(|unit| (unit_code(unit), units_words(unit)))
        .to_vec()
}

fn unit_code(unit: SampleUnit) -> &'static str {
    match unit {
        SampleUnit::Stove => "stove",
        SampleUnit::Household => "household",
        SampleUnit::RegisteredHousehold => "registered_household",
        SampleUnit::HouseholdWithoutStove => "household_without_stove",
        SampleUnit::CharWeighing => "char_weighing",
    }
}

/// What is drawn, in words that follow "the".
fn units_words(unit: SampleUnit) -> &'static str {
    match unit {
        SampleUnit::Stove => "stoves in service",
        SampleUnit::Household => "households with a stove in service",
        SampleUnit::RegisteredHousehold => "households of the register",
        SampleUnit::HouseholdWithoutStove => "households without a stove in service",
        SampleUnit::CharWeighing => "weighings of char",
    }
}

/// The design of a plan in words.
pub(super) fn design_words(plan: &RoundPlan) -> String {
    let units = units_words(plan.unit);
    let keys: Vec<&str> = plan
        .strata_by
        .iter()
        .map(|key| match key {
            GroupKey::Site => "site",
            GroupKey::Model => "stove model",
            GroupKey::AgeBand => "age of the stove",
            GroupKey::Feedstock => "feedstock",
        })
        .collect();
    let shared_out = match plan.allocation {
        SampleAllocation::Proportional => "",
        SampleAllocation::Optimum => ", shared out by units and deviation",
    };
    match plan.design {
        SampleDesign::SimpleRandom => format!("Simple random sample of the {units}"),
        SampleDesign::Stratified => {
            let keys = keys.join(" and ");
            format!("Sample of the {units}, stratified by {keys}{shared_out}")
        }
        SampleDesign::Cluster => format!("Sample of sites, then of the {units} in each"),
    }
}

/// The day or days that a plan's frame is of, in words.
pub(super) fn frame_days(plan: &RoundPlan) -> String {
    match plan.frame_from {
        Some(from) => format!("weighed from {from} to before {}", plan.frame_on),
        None => format!("as it stood on {}", plan.frame_on),
    }
}

/// A plan's arithmetic as it is shown, on a page or by the script of the form.
#[derive(Serialize)]
pub(super) struct SizesView {
    pub needed: String,
    pub to_visit: String,
    pub clusters: Option<String>,
    pub steps: Vec<(String, String, String)>,
    pub groups: Vec<[String; 4]>,
}

impl SizesView {
    pub fn new(sizes: &Sizes) -> Self {
        let steps = sizes.steps.iter().map(|step| {
            let value = words::precise(step.value);
            (words::capital(&step.words), step.formula.clone(), value)
        });
        let groups = sizes.groups.iter().map(|group| {
            [
                group.name.clone(),
                words::count(group.units),
                words::count(group.sample),
                words::count(group.reserve),
            ]
        });
        SizesView {
            needed: words::count(sizes.needed),
            to_visit: words::count(sizes.to_visit),
            clusters: sizes.clusters.map(words::count),
            steps: steps.collect(),
            groups: groups.collect(),
        }
    }
}
