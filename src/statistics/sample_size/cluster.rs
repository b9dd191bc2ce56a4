//! Sample sizes of cluster samples: how many clusters to draw.

use super::simple::check_population;
use super::{SampleSize, Wanted, refuse, step, up};
use crate::statistics::StatisticsError;

/// What is expected of clusters that are measured whole.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OneStage {
    /// Clusters of the population.
    pub clusters: u64,
    /// Mean of the clusters' means (or shares).
    pub mean: f64,
    /// Variance of the clusters' means (or shares).
    pub variance_between: f64,
}

impl OneStage {
    /// From the means or shares of a few clusters that are known; two at least.
    pub fn from_clusters(clusters: u64, values: &[f64]) -> Result<Self, StatisticsError> {
        let found = crate::statistics::estimate::mean(values)?;
        Ok(OneStage {
            clusters,
            mean: found.mean,
            variance_between: found.standard_error.powi(2) * values.len() as f64,
        })
    }
}

/// Clusters to draw: `c = z^2 M S^2 / ((M - 1) e^2 + z^2 S^2)`, `S^2` the variance between
/// clusters. The expected response is that of clusters.
pub fn clusters_needed(plan: &OneStage, wanted: &Wanted) -> Result<SampleSize, StatisticsError> {
    wanted.check()?;
    check_population(Some(plan.clusters))?;
    if !(plan.variance_between.is_finite() && plan.variance_between > 0.0) {
        return Err(refuse("the variance between clusters must be above zero"));
    }
    let mean = wanted.first_figure(plan.mean);
    let (half_width, shown) = wanted.half_width(mean)?;
    let steps = vec![
        step("mean of the clusters", "m", mean),
        step("variance between clusters", "S^2", plan.variance_between),
        shown,
    ];
    let spread = super::Spread {
        variance: plan.variance_between,
        half_width,
        steps,
    };
    super::finish_simple(wanted, spread, Some(plan.clusters), 1)
}

/// What is expected where some units are drawn in each drawn cluster.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TwoStage {
    /// Clusters of the population.
    pub clusters: u64,
    /// Mean units of a cluster.
    pub mean_units: f64,
    /// Units that must answer in each drawn cluster.
    pub units_in_each: u64,
    pub mean: f64,
    /// Variance of the clusters' means.
    pub variance_between: f64,
    /// Mean of the variances inside clusters.
    pub variance_within: f64,
}

/// Clusters to draw, and units in each.
#[derive(Debug, Clone, PartialEq)]
pub struct TwoStageSize {
    pub clusters: SampleSize,
    /// To visit in each cluster, so that the wanted number may be expected to answer.
    pub to_visit_in_each: u64,
    /// Units that must answer, over all clusters.
    pub units: u64,
}

/// Clusters to draw: `c = (V_B M / (M - 1) + V_W (N - u) / (N - 1) / u) / (e^2 / (z m)^2 +
/// V_B / (M - 1))` with `V_B`, `V_W` the variances over the squared mean.
///
/// The expected response is that of units inside clusters: every drawn cluster is reached.
pub fn two_stage_needed(plan: &TwoStage, wanted: &Wanted) -> Result<TwoStageSize, StatisticsError> {
    wanted.check()?;
    check_population(Some(plan.clusters))?;
    let usable = |variance: f64| variance.is_finite() && variance >= 0.0;
    if !usable(plan.variance_between) || !usable(plan.variance_within) {
        return Err(refuse("variances are not below zero"));
    }
    let each = plan.units_in_each as f64;
    if !(plan.units_in_each > 0 && plan.mean_units.is_finite() && plan.mean_units >= each) {
        return Err(refuse(
            "in each cluster there are at least as many units as are drawn, and one at least",
        ));
    }
    let (half_width, shown) = wanted.half_width(plan.mean)?;
    if plan.mean == 0.0 {
        return Err(refuse("the expected mean must not be zero"));
    }
    let squared = plan.mean * plan.mean;
    let (between, within) = (
        plan.variance_between / squared,
        plan.variance_within / squared,
    );
    let clusters = plan.clusters as f64;
    let left = if plan.mean_units > 1.0 {
        (plan.mean_units - each) / (plan.mean_units - 1.0)
    } else {
        0.0
    };
    let above = between * clusters / (clusters - 1.0) + within * left / each;
    let steps = vec![
        step("clusters of the population", "M", clusters),
        step("units of a cluster, on average", "N", plan.mean_units),
        step("units drawn in each cluster", "u", each),
        step("mean that is expected", "m", plan.mean),
        step(
            "variance between clusters over the squared mean",
            "V_B",
            between,
        ),
        step(
            "variance inside clusters over the squared mean",
            "V_W",
            within,
        ),
        shown,
    ];
    let formula =
        "c = (V_B M / (M - 1) + V_W (N - u) / (N - 1) / u) / (e^2 / (z m)^2 + V_B / (M - 1))";
    let all_reached = Wanted {
        response: 1.0,
        ..*wanted
    };
    let effect = wanted.design_effect;
    let mut size = all_reached.finish(steps, Some(plan.clusters), 1, formula, |quantile| {
        let error = half_width * half_width / (quantile * quantile * squared);
        above / (error + between / (clusters - 1.0)) * effect
    })?;
    let to_visit_in_each = up(each / wanted.response);
    let units = size.needed.saturating_mul(plan.units_in_each);
    size.steps
        .push(step("units that must answer", "n = c u", units as f64));
    if wanted.response < 1.0 {
        let words = "to visit in each cluster, as not all answer; rounded up";
        size.steps
            .push(step(words, "u / response", to_visit_in_each as f64));
    }
    Ok(TwoStageSize {
        clusters: size,
        to_visit_in_each,
        units,
    })
}
