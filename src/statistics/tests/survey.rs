//! Designs against R's package `survey` on its own data sets: `tests/reference/survey.R` wrote
//! the expected values and the data, their heads say with which versions.

use super::{agrees, number, rows};
use crate::statistics::design::ratio::{self, Columns};
use crate::statistics::design::{
    Cluster, ClusterFrame, Estimated, SampledCluster, Stratum, cluster, cluster_mean_vector,
    proportion_interval, ratio_vector, simple, simple_mean_vector, stratified,
    stratified_mean_vector, two_stage, two_stage_mean_vector,
};
use crate::statistics::estimate::VectorMean;
use std::collections::BTreeMap;

const EXPECTED: &str = include_str!("../../../tests/reference/survey.csv");
pub const APISRS: &str = include_str!("../../../tests/reference/apisrs.csv");
const APISTRAT: &str = include_str!("../../../tests/reference/apistrat.csv");
pub const APICLUS1: &str = include_str!("../../../tests/reference/apiclus1.csv");
const MU284: &str = include_str!("../../../tests/reference/mu284.csv");

const WITHIN: f64 = 1e-10;

/// Columns of a school: performance, students tested, students enrolled, 1 for a good school,
/// then tested and enrolled again with zeroes for every school that is not a high school.
const PERFORMANCE: usize = 0;
const ENROLLED: usize = 2;
const GOOD: usize = 3;
const TESTED_OF_ENROLLED: Columns = Columns {
    numerator: 1,
    denominator: 2,
};
const HIGH_TESTED_OF_ENROLLED: Columns = Columns {
    numerator: 4,
    denominator: 5,
};

/// One value of R.
pub fn expected(design: &str, quantity: &str) -> f64 {
    let found: Vec<f64> = rows(EXPECTED)
        .iter()
        .filter(|row| row[..2] == [design, quantity])
        .map(|row| number(row[2]))
        .collect();
    assert_eq!(found.len(), 1, "{design} {quantity}");
    found[0]
}

fn school(cells: &[&str]) -> Vec<f64> {
    let (kind, [performance, tested, enrolled]) =
        (cells[0], [cells[1], cells[2], cells[3]].map(number));
    let high = if kind == "H" { 1.0 } else { 0.0 };
    let good = if performance >= 700.0 { 1.0 } else { 0.0 };
    vec![
        performance,
        tested,
        enrolled,
        good,
        high * tested,
        high * enrolled,
    ]
}

/// Schools drawn at random among 6194.
pub fn schools() -> Vec<Vec<f64>> {
    rows(APISRS).iter().map(|row| school(&row[1..])).collect()
}

/// Schools drawn in strata: by type.
pub fn strata(finite: bool) -> Vec<Stratum> {
    let mut strata: BTreeMap<&str, Stratum> = BTreeMap::new();
    for row in rows(APISTRAT) {
        let population = number(row[0]) as u64;
        let stratum = strata.entry(row[1]).or_insert(Stratum {
            weight: population as f64,
            population: finite.then_some(population),
            rows: Vec::new(),
        });
        stratum.rows.push(school(&row[1..]));
    }
    strata.into_values().collect()
}

/// Districts drawn with all their schools.
pub fn districts() -> Vec<Cluster> {
    let mut districts: BTreeMap<&str, Vec<Vec<f64>>> = BTreeMap::new();
    for row in rows(APICLUS1) {
        districts.entry(row[0]).or_default().push(school(&row[2..]));
    }
    let districts = districts.into_values();
    districts.map(|rows| Cluster { rows }).collect()
}

pub const DISTRICTS: u64 = 757;

/// Municipalities drawn in drawn clusters: a count and its square.
pub fn municipalities() -> Vec<SampledCluster> {
    let mut clusters: BTreeMap<&str, SampledCluster> = BTreeMap::new();
    for row in rows(MU284) {
        let count = number(row[4]);
        let cluster = clusters.entry(row[0]).or_insert(SampledCluster {
            units: number(row[3]) as u64,
            rows: Vec::new(),
        });
        cluster.rows.push(vec![count, count * count]);
    }
    clusters.into_values().collect()
}

#[track_caller]
fn same(design: &str, quantity: &str, found: Estimated) {
    let name = format!("{design} {quantity}");
    agrees(&name, found.value, expected(design, quantity), WITHIN);
    let error = expected(design, &format!("{quantity}.se"));
    agrees(&name, found.standard_error, error, WITHIN);
}

#[track_caller]
fn same_effect(design: &str, quantity: &str, found: Estimated) {
    same(design, quantity, found);
    let effect = expected(design, &format!("{quantity}.deff"));
    agrees(quantity, found.design_effect.unwrap(), effect, WITHIN);
}

/// Everything that one design says of the schools.
struct Answers {
    vector: VectorMean,
    performance: Estimated,
    enrolled: Estimated,
    ratio: Estimated,
    good: Estimated,
}

fn check(design: &str, answers: &Answers) {
    same_effect(design, "mean_api00", answers.performance);
    same(design, "mean_enroll", answers.enrolled);
    same_effect(design, "ratio_tested_enrolled", answers.ratio);
    same_effect(design, "share_good", answers.good);
    let df = expected(design, "df");
    assert_eq!(answers.performance.degrees_of_freedom, df);
    assert_eq!(answers.vector.degrees_of_freedom, df);
    let shared = answers.vector.covariance[PERFORMANCE][ENROLLED];
    agrees(
        design,
        shared,
        expected(design, "covariance_api00_enroll"),
        WITHIN,
    );
    let by_vector = ratio_vector(&answers.vector, ENROLLED).unwrap();
    agrees(design, by_vector.means[1], answers.ratio.value, WITHIN);
    let error = by_vector.covariance[1][1].sqrt();
    agrees(design, error, answers.ratio.standard_error, WITHIN);
    let exact = proportion_interval(&answers.good, answers.vector.units, 0.90).unwrap();
    let bound = |end: &str| expected(design, &format!("share_good.beta90.{end}"));
    agrees(design, exact.lower, bound("lower"), WITHIN);
    agrees(design, exact.upper, bound("upper"), WITHIN);
}

#[test]
fn simple_random_samples_agree_with_the_survey_package() {
    let rows = schools();
    let column = |at: usize| -> Vec<f64> { rows.iter().map(|row| row[at]).collect() };
    let yes = column(GOOD).iter().sum::<f64>() as u64;
    for (design, population) in [("apisrs", Some(6194)), ("apisrs_no_fpc", None)] {
        check(
            design,
            &Answers {
                vector: simple_mean_vector(&rows, population).unwrap(),
                performance: simple::mean(&column(PERFORMANCE), population).unwrap(),
                enrolled: simple::mean(&column(ENROLLED), population).unwrap(),
                ratio: ratio::of_simple(&rows, population, TESTED_OF_ENROLLED).unwrap(),
                good: simple::proportion(yes, 200, population).unwrap(),
            },
        );
    }
    let total = simple::total(&column(ENROLLED), 6194).unwrap();
    same("apisrs", "total_enroll", total);
}

#[test]
fn stratified_samples_agree_with_the_survey_package() {
    for (design, finite) in [("apistrat", true), ("apistrat_no_fpc", false)] {
        let strata = strata(finite);
        check(
            design,
            &Answers {
                vector: stratified_mean_vector(&strata).unwrap(),
                performance: stratified::mean(&strata, PERFORMANCE).unwrap(),
                enrolled: stratified::mean(&strata, ENROLLED).unwrap(),
                ratio: ratio::of_stratified(&strata, TESTED_OF_ENROLLED).unwrap(),
                good: stratified::mean(&strata, GOOD).unwrap(),
            },
        );
    }
    let total = stratified::total(&strata(true), ENROLLED).unwrap();
    same("apistrat", "total_enroll", total);
    assert!(stratified::total(&strata(false), ENROLLED).is_err());
}

#[test]
fn cluster_samples_agree_with_the_survey_package() {
    let districts = districts();
    let frame = |clusters, units| ClusterFrame { clusters, units };
    for (design, frame) in [
        ("apiclus1", frame(Some(DISTRICTS), None)),
        ("apiclus1_supplied", frame(Some(DISTRICTS), Some(6194))),
        ("apiclus1_no_fpc", frame(None, None)),
    ] {
        check(
            design,
            &Answers {
                vector: cluster_mean_vector(&districts, frame).unwrap(),
                performance: cluster::mean(&districts, frame, PERFORMANCE).unwrap(),
                enrolled: cluster::mean(&districts, frame, ENROLLED).unwrap(),
                ratio: ratio::of_clusters(&districts, frame, TESTED_OF_ENROLLED).unwrap(),
                good: cluster::mean(&districts, frame, GOOD).unwrap(),
            },
        );
    }
    let total = cluster::total(&districts, DISTRICTS, ENROLLED).unwrap();
    same("apiclus1", "total_enroll", total);
}

/// A ratio in part of the sample: units outside of it hold zeroes and stay in the design.
#[test]
fn a_ratio_within_a_part_of_the_clusters_agrees_with_the_survey_package() {
    let frame = ClusterFrame {
        clusters: Some(DISTRICTS),
        units: None,
    };
    let found = ratio::of_clusters(&districts(), frame, HIGH_TESTED_OF_ENROLLED).unwrap();
    same("apiclus1_supplied", "ratio_tested_enrolled_high", found);
}

#[test]
fn two_stage_samples_agree_with_the_survey_package() {
    let clusters = municipalities();
    let frame = ClusterFrame {
        clusters: Some(50),
        units: None,
    };
    same(
        "mu284",
        "total_y1",
        two_stage::total(&clusters, 50, 0).unwrap(),
    );
    let mean = two_stage::mean(&clusters, frame, 0).unwrap();
    same_effect("mu284", "mean_y1", mean);
    assert_eq!(mean.degrees_of_freedom, expected("mu284", "df"));
    let vector = two_stage_mean_vector(&clusters, frame).unwrap();
    agrees(
        "covariance",
        vector.covariance[0][1],
        expected("mu284", "covariance_y1_square"),
        WITHIN,
    );
    let columns = Columns {
        numerator: 1,
        denominator: 0,
    };
    let ratio = ratio::of_two_stage(&clusters, frame, columns).unwrap();
    same("mu284", "ratio_square_y1", ratio);
    let by_vector = ratio_vector(&vector, 0).unwrap();
    agrees("ratio", by_vector.means[0], ratio.value, WITHIN);
    let error = by_vector.covariance[0][0].sqrt();
    agrees("ratio", error, ratio.standard_error, WITHIN);
}
