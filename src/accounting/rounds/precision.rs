//! How exact the answer of a round came out, by the estimator of its design.

use super::RoundError;
use super::plan::{RoundPlan, SampleDesign, Sizes};
use super::progress::UnitState;
use crate::accounting::rounding::{FIGURE_DIGITS, from_statistic, to_digits, to_statistic};
use crate::statistics::StatisticsError;
use crate::statistics::design::{
    ClusterFrame, Estimated, SampledCluster, Stratum, simple, stratified, two_stage,
};
use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// What was achieved; every figure to six significant digits.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Achieved {
    /// Units whose answers count.
    pub answered: u64,
    /// Share in use, or mean of what was measured.
    #[serde(with = "rust_decimal::serde::str")]
    #[schema(value_type = String)]
    pub value: Decimal,
    #[serde(with = "rust_decimal::serde::str")]
    #[schema(value_type = String)]
    pub standard_error: Decimal,
    #[serde(with = "rust_decimal::serde::str")]
    #[schema(value_type = String)]
    pub degrees_of_freedom: Decimal,
    /// As the plan asks.
    #[serde(with = "rust_decimal::serde::str")]
    #[schema(value_type = String)]
    pub confidence: Decimal,
    #[serde(with = "rust_decimal::serde::str")]
    #[schema(value_type = String)]
    pub half_width: Decimal,
    /// Half width over the value; absent for a value of zero.
    #[serde(
        default,
        with = "rust_decimal::serde::str_option",
        skip_serializing_if = "Option::is_none"
    )]
    #[schema(value_type = Option<String>)]
    pub relative: Option<Decimal>,
    /// Variance over that of a simple random sample of as many units.
    #[serde(
        default,
        with = "rust_decimal::serde::str_option",
        skip_serializing_if = "Option::is_none"
    )]
    #[schema(value_type = Option<String>)]
    pub design_effect: Option<Decimal>,
    /// Whether the half width is no more than the plan asks.
    pub meets_the_plan: bool,
}

/// The estimate of the design, over the units that count.
pub fn achieved(
    plan: &RoundPlan,
    sizes: &Sizes,
    clusters: &[String],
    states: &[UnitState],
) -> Result<Achieved, RoundError> {
    let values = |group: Option<&str>| -> Vec<f64> {
        states
            .iter()
            .filter(|state| state.counts())
            .filter(|state| group.is_none_or(|name| state.drawn.group == name))
            .filter_map(|state| state.value.map(to_statistic))
            .collect()
    };
    let rows = |name: &str| -> Vec<Vec<f64>> {
        let found = values(Some(name));
        found.into_iter().map(|value| vec![value]).collect()
    };
    let population: u64 = sizes.groups.iter().map(|group| group.units).sum();
    let estimate: Estimated = match plan.design {
        SampleDesign::SimpleRandom => simple::mean(&values(None), Some(population))?,
        SampleDesign::Stratified => {
            let strata: Vec<Stratum> = sizes
                .groups
                .iter()
                .map(|group| Stratum::finite(group.units, rows(&group.name)))
                .collect();
            stratified::mean(&strata, 0)?
        }
        SampleDesign::Cluster => {
            let sampled: Vec<SampledCluster> = sizes
                .groups
                .iter()
                .filter(|group| clusters.contains(&group.name))
                .map(|group| SampledCluster {
                    units: group.units,
                    rows: rows(&group.name),
                })
                .collect();
            let frame = ClusterFrame {
                clusters: Some(sizes.groups.len() as u64),
                units: Some(population),
            };
            two_stage::mean(&sampled, frame, 0)?
        }
    };
    let precision = estimate.precision(to_statistic(plan.confidence))?;
    Ok(Achieved {
        answered: values(None).len() as u64,
        value: stated(estimate.value)?,
        standard_error: stated(estimate.standard_error)?,
        degrees_of_freedom: stated(estimate.degrees_of_freedom)?,
        confidence: plan.confidence,
        half_width: stated(precision.half_width)?,
        relative: precision.relative.map(stated).transpose()?,
        design_effect: estimate.design_effect.map(stated).transpose()?,
        meets_the_plan: precision.meets(plan.margin()),
    })
}

fn stated(value: f64) -> Result<Decimal, RoundError> {
    from_statistic(value)
        .map(|value| to_digits(value, FIGURE_DIGITS))
        .ok_or(RoundError::Statistics(StatisticsError::Plan(
            "the figure is no number",
        )))
}

#[cfg(test)]
mod tests;
