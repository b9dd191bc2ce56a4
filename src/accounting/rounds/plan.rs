//! The plan of a round, and the number of units that follows from it, step by step.

use super::RoundError;
use crate::accounting::records::RoundKind;
use crate::accounting::rounding::{FIGURE_DIGITS, from_statistic, to_digits, to_statistic};
use crate::statistics::design::Margin;
use crate::statistics::sample_size::{
    Allocation, Expected, PlannedStratum, SampleSize, Step, Wanted, mean_needed, proportion_needed,
    stratified_needed,
};
use chrono::NaiveDate;
use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// What is drawn and visited.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum SampleUnit {
    /// A stove in service; its id is the serial.
    Stove,
    /// A household with a stove in service; its id is the household's code.
    Household,
}

/// How the units are drawn.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum SampleDesign {
    SimpleRandom,
    /// A simple random sample in each stratum, shared out by the units of the strata.
    Stratified,
    /// Sites are drawn with equal chances, then units in each drawn site.
    Cluster,
}

/// What strata are made of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum GroupKey {
    Site,
    Model,
    /// Whole years since installation on the day of the frame.
    AgeBand,
}

/// What the wanted precision is a share of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum PrecisionKind {
    /// A share of the value.
    Relative,
    /// In the unit of the value.
    Absolute,
}

/// What is asked of the sample and what is expected of the field.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct RoundPlan {
    /// What the answer is for, in words.
    pub purpose: String,
    pub unit: SampleUnit,
    /// The day on which a stove must be in service to be in the frame. Second stoves are not.
    pub frame_on: NaiveDate,
    pub design: SampleDesign,
    /// Of a stratified design.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub strata_by: Vec<GroupKey>,
    /// Units to answer in each drawn site, of a cluster design.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub units_in_each: Option<u32>,
    /// Two-sided, e.g. `0.90`.
    #[serde(with = "rust_decimal::serde::str")]
    #[schema(value_type = String)]
    pub confidence: Decimal,
    /// Half width of the interval, e.g. `0.10`.
    #[serde(with = "rust_decimal::serde::str")]
    #[schema(value_type = String)]
    pub precision: Decimal,
    pub precision_is: PrecisionKind,
    /// Share that is expected, of a usage survey.
    #[serde(
        default,
        with = "rust_decimal::serde::str_option",
        skip_serializing_if = "Option::is_none"
    )]
    #[schema(value_type = Option<String>)]
    pub expected_share: Option<Decimal>,
    /// Mean that is expected, of rounds that measure, with its standard deviation.
    #[serde(
        default,
        with = "rust_decimal::serde::str_option",
        skip_serializing_if = "Option::is_none"
    )]
    #[schema(value_type = Option<String>)]
    pub expected_mean: Option<Decimal>,
    #[serde(
        default,
        with = "rust_decimal::serde::str_option",
        skip_serializing_if = "Option::is_none"
    )]
    #[schema(value_type = Option<String>)]
    pub expected_standard_deviation: Option<Decimal>,
    /// Variance of the design over that of a simple random sample.
    #[serde(default = "one", with = "rust_decimal::serde::str")]
    #[schema(value_type = String)]
    pub design_effect: Decimal,
    /// Share of the units visited that is expected to answer.
    #[serde(default = "one", with = "rust_decimal::serde::str")]
    #[schema(value_type = String)]
    pub expected_response: Decimal,
    /// Further units in reserve in each group, beyond those that the expected response asks for.
    #[serde(default)]
    pub reserve: u32,
}

fn one() -> Decimal {
    Decimal::ONE
}

/// Units of the frame in one stratum or site.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct GroupCount {
    pub name: String,
    pub units: u64,
}

/// One line of the arithmetic.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PlanStep {
    pub words: String,
    pub formula: String,
    /// To six significant digits.
    #[serde(with = "rust_decimal::serde::str")]
    #[schema(value_type = String)]
    pub value: Decimal,
}

/// How many are drawn of one group. Of a cluster design the groups are the sites, and only
/// those that are drawn give units.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct GroupSize {
    pub name: String,
    /// Units of the frame.
    pub units: u64,
    pub sample: u64,
    pub reserve: u64,
}

/// The number of units and how it came about.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Sizes {
    pub steps: Vec<PlanStep>,
    /// Units that must answer.
    pub needed: u64,
    /// Units to visit, so that as many may be expected to answer.
    pub to_visit: u64,
    /// Sites to draw, of a cluster design.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub clusters: Option<u64>,
    pub groups: Vec<GroupSize>,
}

impl RoundPlan {
    /// Whether a round of this kind can be planned so, and whether the plan says what it must.
    pub fn check(&self, kind: RoundKind) -> Result<(), RoundError> {
        let counts_yes = match kind {
            RoundKind::UsageSurvey => true,
            RoundKind::KitchenProject | RoundKind::CharWeighing | RoundKind::Moisture => false,
            _ => {
                return Err(RoundError::field(
                    "kind",
                    "is not drawn from households with a stove: describe its sample in words",
                ));
            }
        };
        if !counts_yes && self.unit == SampleUnit::Stove {
            return Err(RoundError::field(
                "unit",
                "is household here: the rows of this kind of round name households",
            ));
        }
        let measured = self.expected_mean.is_some() && self.expected_standard_deviation.is_some();
        if counts_yes && (self.expected_share.is_none() || self.expected_mean.is_some()) {
            return Err(RoundError::field(
                "expected_share",
                "is what a usage survey needs: the share in use, and no mean",
            ));
        }
        if !counts_yes && (!measured || self.expected_share.is_some()) {
            return Err(RoundError::field(
                "expected_mean",
                "and expected_standard_deviation are what this round needs, and no share",
            ));
        }
        self.check_design()
    }

    fn check_design(&self) -> Result<(), RoundError> {
        let repeats = self
            .strata_by
            .iter()
            .enumerate()
            .any(|(at, key)| self.strata_by.iter().skip(at + 1).any(|other| other == key));
        if (self.design == SampleDesign::Stratified) == self.strata_by.is_empty() || repeats {
            return Err(RoundError::field(
                "strata_by",
                "names what strata are made of, each once, for a stratified design only",
            ));
        }
        let in_each = self.units_in_each.is_some_and(|units| units >= 2);
        if (self.design == SampleDesign::Cluster) != in_each
            || (!in_each && self.units_in_each.is_some())
        {
            return Err(RoundError::field(
                "units_in_each",
                "is two or more for a cluster design, and left out otherwise",
            ));
        }
        Ok(())
    }

    /// Half width that is wanted.
    pub fn margin(&self) -> Margin {
        let value = to_statistic(self.precision);
        match self.precision_is {
            PrecisionKind::Relative => Margin::Relative(value),
            PrecisionKind::Absolute => Margin::Absolute(value),
        }
    }

    fn wanted(&self) -> Wanted {
        Wanted {
            design_effect: to_statistic(self.design_effect),
            response: to_statistic(self.expected_response),
            ..Wanted::new(to_statistic(self.confidence), self.margin())
        }
    }

    fn expected(&self) -> Expected {
        match (
            self.expected_share,
            self.expected_mean,
            self.expected_standard_deviation,
        ) {
            (None, Some(mean), Some(deviation)) => Expected::Mean {
                mean: to_statistic(mean),
                standard_deviation: to_statistic(deviation),
            },
            (share, ..) => Expected::Share(share.map_or(f64::NAN, to_statistic)),
        }
    }

    /// Works out how many units to draw of groups with these units; [`RoundPlan::check`] first.
    pub fn sizes(&self, groups: &[GroupCount]) -> Result<Sizes, RoundError> {
        let units: u64 = groups.iter().map(|group| group.units).sum();
        if units < 2 {
            return Err(RoundError::field(
                "frame_on",
                "is a day on which the register has fewer than two units",
            ));
        }
        let wanted = self.wanted();
        if self.design == SampleDesign::Stratified {
            let strata: Vec<PlannedStratum> = groups
                .iter()
                .map(|group| PlannedStratum {
                    name: group.name.clone(),
                    population: group.units,
                    expected: self.expected(),
                })
                .collect();
            let size = stratified_needed(&strata, Allocation::Proportional, &wanted)?;
            let groups = groups
                .iter()
                .zip(&size.strata)
                .map(|(group, stratum)| self.group(group, stratum.needed, stratum.to_visit))
                .collect();
            return Ok(told(size.whole, None, groups));
        }
        let size = match self.expected() {
            Expected::Share(share) => proportion_needed(share, Some(units), &wanted)?,
            Expected::Mean {
                mean,
                standard_deviation,
            } => mean_needed(mean, standard_deviation, Some(units), &wanted)?,
        };
        match self.units_in_each {
            Some(in_each) => self.in_clusters(size, groups, u64::from(in_each)),
            None => {
                let sized = groups
                    .iter()
                    .map(|group| self.group(group, size.needed, size.to_visit))
                    .collect();
                Ok(told(size, None, sized))
            }
        }
    }

    /// Sites by the needed units, the design effect being in these already (common practice of
    /// survey handbooks, no source).
    fn in_clusters(
        &self,
        mut size: SampleSize,
        groups: &[GroupCount],
        in_each: u64,
    ) -> Result<Sizes, RoundError> {
        let clusters = size.needed.div_ceil(in_each.max(1)).max(2);
        let there_are = groups.len() as u64;
        if clusters > there_are {
            return Err(RoundError::field(
                "units_in_each",
                format!(
                    "asks for {clusters} sites and there are {there_are}: ask for more units in \
                     each, or for less precision"
                ),
            ));
        }
        size.steps.push(Step {
            words: "sites to draw, two at least; rounded up".into(),
            formula: format!("c = n / {in_each}"),
            value: clusters as f64,
        });
        let response = to_statistic(self.expected_response);
        let visits = ((in_each as f64 / response) - 1e-9).ceil() as u64;
        let groups = groups
            .iter()
            .map(|group| self.group(group, in_each, visits))
            .collect();
        Ok(told(size, Some(clusters), groups))
    }

    fn group(&self, group: &GroupCount, needed: u64, to_visit: u64) -> GroupSize {
        let sample = needed.min(group.units);
        let reserve = to_visit
            .saturating_sub(needed)
            .saturating_add(u64::from(self.reserve));
        GroupSize {
            name: group.name.clone(),
            units: group.units,
            sample,
            reserve: reserve.min(group.units - sample),
        }
    }
}

fn told(size: SampleSize, clusters: Option<u64>, groups: Vec<GroupSize>) -> Sizes {
    let steps = size.steps.into_iter().map(|step| PlanStep {
        words: step.words,
        formula: step.formula,
        value: to_digits(
            from_statistic(step.value).unwrap_or_default(),
            FIGURE_DIGITS,
        ),
    });
    Sizes {
        steps: steps.collect(),
        needed: size.needed,
        to_visit: size.to_visit,
        clusters,
        groups,
    }
}

#[cfg(test)]
mod tests;
