//! Samples weighed afterwards, against R's package `survey` and what its saved outputs print; and
//! every sample of schools against the whole population that it was drawn from.

use super::survey::{APICLUS1, DISTRICTS, districts, expected, schools, strata};
use super::{agrees, number, rows};
use crate::statistics::design::calibrated::{CalibrationUnit, calibrated_mean_vector};
use crate::statistics::design::{
    ClusterFrame, Estimated, Stratum, cluster, post_stratified_mean_vector, simple, stratified,
};
use crate::statistics::estimate::VectorMean;
use std::collections::BTreeMap;

const WITHIN: f64 = 1e-10;
/// Schools of the state, and of its types: elementary, high, middle.
const SCHOOLS: f64 = 6194.0;
const BY_TYPE: [f64; 3] = [4421.0, 755.0, 1018.0];

/// Half a unit of the last printed place.
#[track_caller]
fn printed(found: f64, value: f64, place: f64) {
    assert!(
        (found - value).abs() <= place / 2.0 * 1.001,
        "{found} was printed as {value}"
    );
}

fn kind(cell: &str) -> Vec<f64> {
    ["E", "H", "M"]
        .map(|kind| f64::from(u8::from(kind == cell)))
        .to_vec()
}

/// Districts with their schools: what is known of a school by `known`; performance and students.
fn weighed(known: fn(&[&str]) -> Vec<f64>) -> Vec<Vec<CalibrationUnit>> {
    let mut districts: BTreeMap<&str, Vec<CalibrationUnit>> = BTreeMap::new();
    for row in rows(APICLUS1) {
        let unit = CalibrationUnit {
            weight: SCHOOLS / 183.0,
            known: known(&row),
            values: [row[3], row[5]].map(number).to_vec(),
        };
        districts.entry(row[0]).or_default().push(unit);
    }
    districts.into_values().collect()
}

#[track_caller]
fn same(design: &str, found: &VectorMean) {
    for (column, name, times) in [(0, "mean_api00", 1.0), (1, "total_enroll", SCHOOLS)] {
        let error = found.covariance[column][column].sqrt() * times;
        agrees(
            name,
            found.means[column] * times,
            expected(design, name),
            WITHIN,
        );
        agrees(name, error, expected(design, &format!("{name}.se")), WITHIN);
    }
    let shared = expected(design, "covariance_api00_enroll");
    agrees("covariance", found.covariance[0][1], shared, WITHIN);
}

/// Saved output `tests/testoutput/api.Rout.saved` (SEEN): 642.31, SE 23.921, and 3 680 893,
/// SE 406 293.
#[test]
fn districts_weighed_by_type_of_school() {
    let units = weighed(|row| kind(row[2]));
    let found = calibrated_mean_vector(&units, &BY_TYPE, Some(DISTRICTS)).unwrap();
    same("apiclus1_by_type", &found);
    let df = expected("apiclus1_by_type", "df");
    assert_eq!(found.degrees_of_freedom, df);
    printed(found.means[0], 642.31, 0.01);
    // R rounds twice as it prints: 23.92049, 23.9205, 23.921.
    let error = (found.covariance[0][0].sqrt() * 1e4).round() / 1e4;
    printed(error, 23.921, 0.001);
    printed(found.means[1] * SCHOOLS, 3_680_893.0, 1.0);
    printed(found.covariance[1][1].sqrt() * SCHOOLS, 406_293.0, 1.0);
}

/// Vignette "A survey analysis example" of R `survey` (SEEN): 666.72, SE 3.2959, with 6194 schools
/// whose performance of the year before adds up to 3 914 069.
#[test]
fn districts_weighed_by_the_performance_of_the_year_before() {
    let units = weighed(|row| vec![1.0, number(row[6])]);
    let totals = [SCHOOLS, 3_914_069.0];
    let found = calibrated_mean_vector(&units, &totals, Some(DISTRICTS)).unwrap();
    same("apiclus1_calibrated", &found);
    printed(found.means[0], 666.72, 0.01);
    printed(found.covariance[0][0].sqrt(), 3.2959, 0.0001);
}

#[test]
fn schools_drawn_at_random_and_weighed_by_type() {
    let kinds: Vec<&str> = rows(super::survey::APISRS)
        .iter()
        .map(|row| row[1])
        .collect();
    let strata: Vec<Stratum> = ["E", "H", "M"]
        .iter()
        .zip(BY_TYPE)
        .map(|(kind, weight)| Stratum {
            weight,
            population: None,
            rows: schools()
                .into_iter()
                .zip(&kinds)
                .filter(|(_, own)| *own == kind)
                .map(|(row, _)| vec![row[0], row[2]])
                .collect(),
        })
        .collect();
    let found = post_stratified_mean_vector(&strata, Some(6194)).unwrap();
    same("apisrs_by_type", &found);
    assert_eq!(found.degrees_of_freedom, expected("apisrs_by_type", "df"));
    assert_eq!(found.units, 200);
}

/// Leaves out each district once: `(c - 1) / c (1 - c / C) sum (mean without k - mean)^2`, an error
/// that knows nothing of the formulas of variance. Saved output of R `survey` (SEEN): 26.335 for
/// the plain mean; weighed by type 26.936, and 473 434 for the total.
#[test]
fn estimates_without_one_district_at_a_time_spread_as_the_jackknife_of_r() {
    let units = weighed(|row| kind(row[2]));
    let plain = weighed(|_| vec![1.0]);
    let error = |units: &[Vec<CalibrationUnit>], totals: &[f64], column: usize| {
        let mean = |units: &[Vec<CalibrationUnit>]| {
            calibrated_mean_vector(units, totals, None).unwrap().means[column]
        };
        let all = mean(units);
        let squares: f64 = (0..units.len())
            .map(|out| {
                let mut rest = units.to_vec();
                rest.remove(out);
                (mean(&rest) - all).powi(2)
            })
            .sum();
        let c = units.len() as f64;
        ((c - 1.0) / c * (1.0 - c / DISTRICTS as f64) * squares).sqrt()
    };
    for (design, quantity, found, value, place) in [
        (
            "apiclus1_jackknife",
            "mean_api00.se",
            error(&plain, &[SCHOOLS], 0),
            26.335,
            0.001,
        ),
        (
            "apiclus1_by_type_jackknife",
            "mean_api00.se",
            error(&units, &BY_TYPE, 0),
            26.936,
            0.001,
        ),
        (
            "apiclus1_by_type_jackknife",
            "total_enroll.se",
            error(&units, &BY_TYPE, 1) * SCHOOLS,
            473_434.0,
            1.0,
        ),
    ] {
        agrees(design, found, expected(design, quantity), WITHIN);
        printed(found, value, place);
    }
}

/// The 6194 schools themselves have a mean of 664.7126 and 3 811 472 students (SEEN, the same
/// output): every sample's 95 % interval holds what it was drawn from.
#[test]
fn intervals_of_all_samples_hold_what_the_population_is() {
    assert_eq!(expected("population", "units"), SCHOOLS);
    let (mean, students) = (664.7126, 3_811_472.0);
    printed(expected("population", "mean_api00"), mean, 0.0001);
    assert_eq!(expected("population", "total_enroll"), students);
    let held = |found: Estimated, truth: f64| {
        let interval = found.precision(0.95).unwrap().interval;
        assert!(
            interval.lower < truth && truth < interval.upper,
            "{truth} is not within {interval:?}"
        );
    };
    let column = |at: usize| -> Vec<f64> { schools().iter().map(|row| row[at]).collect() };
    held(simple::mean(&column(0), Some(6194)).unwrap(), mean);
    held(simple::total(&column(2), 6194).unwrap(), students);
    held(stratified::mean(&strata(true), 0).unwrap(), mean);
    held(stratified::total(&strata(true), 2).unwrap(), students);
    let frame = ClusterFrame {
        clusters: Some(DISTRICTS),
        units: None,
    };
    held(cluster::mean(&districts(), frame, 0).unwrap(), mean);
    held(
        cluster::total(&districts(), DISTRICTS, 2).unwrap(),
        students,
    );
}
