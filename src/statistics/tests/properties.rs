//! What must hold of every sample: designs that are the same in disguise agree, order has no
//! effect, and nothing is in doubt once everyone was asked.

use crate::statistics::design::ratio::{self, Columns};
use crate::statistics::design::{
    Cluster, ClusterFrame, SampledCluster, Stratum, cluster, cluster_mean_vector, ratio_vector,
    simple, simple_mean_vector, stratified, stratified_mean_vector, two_stage,
    two_stage_mean_vector, yes_no,
};
use crate::statistics::estimate::{self, VectorMean};
use proptest::prelude::*;

fn rows(least: usize) -> impl Strategy<Value = Vec<Vec<f64>>> {
    prop::collection::vec(prop::collection::vec(1.0f64..100.0, 3), least..20)
}

fn groups() -> impl Strategy<Value = Vec<Vec<Vec<f64>>>> {
    prop::collection::vec(rows(2), 2..6)
}

fn close(a: f64, b: f64) -> bool {
    (a - b).abs() <= 1e-9 * a.abs().max(b.abs()).max(1.0)
}

fn alike(a: &VectorMean, b: &VectorMean) -> bool {
    let cells = |vector: &VectorMean| -> Vec<f64> {
        let all = vector.covariance.iter().flatten();
        vector.means.iter().chain(all).copied().collect()
    };
    cells(a).iter().zip(cells(b)).all(|(a, b)| close(*a, b))
}

fn strata(groups: &[Vec<Vec<f64>>], spare: u64) -> Vec<Stratum> {
    let finite = |rows: &Vec<Vec<f64>>| Stratum::finite(rows.len() as u64 + spare, rows.clone());
    groups.iter().map(finite).collect()
}

fn clusters(groups: &[Vec<Vec<f64>>]) -> Vec<Cluster> {
    let whole = |rows: &Vec<Vec<f64>>| Cluster { rows: rows.clone() };
    groups.iter().map(whole).collect()
}

fn sampled(groups: &[Vec<Vec<f64>>], spare: u64) -> Vec<SampledCluster> {
    let part = |rows: &Vec<Vec<f64>>| SampledCluster {
        units: rows.len() as u64 + spare,
        rows: rows.clone(),
    };
    groups.iter().map(part).collect()
}

fn frame(clusters: u64) -> ClusterFrame {
    ClusterFrame {
        clusters: Some(clusters),
        units: None,
    }
}

proptest! {
    #[test]
    fn the_order_of_rows_and_groups_has_no_effect(groups in groups(), turn in 0usize..20) {
        let mut turned = groups.clone();
        for rows in &mut turned {
            let by = turn % rows.len();
            rows.rotate_left(by);
        }
        turned.reverse();
        let all = groups.len() as u64 + 3;
        let pairs = [
            (
                stratified_mean_vector(&strata(&groups, 4)),
                stratified_mean_vector(&strata(&turned, 4)),
            ),
            (
                cluster_mean_vector(&clusters(&groups), frame(all)),
                cluster_mean_vector(&clusters(&turned), frame(all)),
            ),
            (
                two_stage_mean_vector(&sampled(&groups, 4), frame(all)),
                two_stage_mean_vector(&sampled(&turned, 4), frame(all)),
            ),
        ];
        for (one, other) in pairs {
            let (one, other) = (one.unwrap(), other.unwrap());
            prop_assert!(alike(&one, &other), "{one:?} {other:?}");
        }
    }

    #[test]
    fn nothing_is_in_doubt_once_everyone_was_asked(groups in groups()) {
        let count = groups.len() as u64;
        let flat: Vec<Vec<f64>> = groups.iter().flatten().cloned().collect();
        let first: Vec<f64> = flat.iter().map(|row| row[0]).collect();
        let units = flat.len() as u64;
        for found in [
            simple::mean(&first, Some(units)),
            simple::total(&first, units),
            stratified::mean(&strata(&groups, 0), 0),
            stratified::total(&strata(&groups, 0), 0),
            cluster::mean(&clusters(&groups), frame(count), 0),
            cluster::total(&clusters(&groups), count, 0),
            two_stage::mean(&sampled(&groups, 0), frame(count), 0),
            two_stage::total(&sampled(&groups, 0), count, 0),
        ] {
            let found = found.unwrap();
            prop_assert_eq!(found.standard_error, 0.0);
            prop_assert_eq!(found.design_effect, None);
        }
        let too_few = simple_mean_vector(&flat, Some(units - 1));
        prop_assert!(too_few.is_err());
    }

    #[test]
    fn one_stratum_and_clusters_of_one_are_simple_samples(rows in rows(3), spare in 1u64..50) {
        let population = rows.len() as u64 + spare;
        let simple = simple_mean_vector(&rows, Some(population)).unwrap();
        let stratum = [Stratum::finite(population, rows.clone())];
        prop_assert!(alike(&simple, &stratified_mean_vector(&stratum).unwrap()));
        let ones: Vec<Vec<Vec<f64>>> = rows.iter().map(|row| vec![row.clone()]).collect();
        let cluster = cluster_mean_vector(&clusters(&ones), frame(population)).unwrap();
        prop_assert!(alike(&simple, &cluster));
        let two = two_stage_mean_vector(&sampled(&ones, 0), frame(population)).unwrap();
        prop_assert!(alike(&simple, &two));
        let endless = simple_mean_vector(&rows, None).unwrap();
        prop_assert!(alike(&endless, &estimate::mean_vector(&rows).unwrap()));
        let effect = stratified::mean(&stratum, 1).unwrap().design_effect.unwrap();
        prop_assert!(close(effect, 1.0));
    }

    #[test]
    fn two_stages_that_take_every_unit_are_one_stage(groups in groups(), spare in 0u64..9) {
        let frame = frame(groups.len() as u64 + spare);
        let one = cluster_mean_vector(&clusters(&groups), frame).unwrap();
        let two = two_stage_mean_vector(&sampled(&groups, 0), frame).unwrap();
        prop_assert!(alike(&one, &two));
        let (one, two) = (
            cluster::total(&clusters(&groups), groups.len() as u64 + spare, 2).unwrap(),
            two_stage::total(&sampled(&groups, 0), groups.len() as u64 + spare, 2).unwrap(),
        );
        prop_assert!(close(one.value, two.value) && close(one.standard_error, two.standard_error));
    }

    #[test]
    fn only_the_shares_of_weights_count(groups in groups(), factor in 0.001f64..1000.0) {
        let plain = strata(&groups, 5);
        let mut scaled = plain.clone();
        for stratum in &mut scaled {
            stratum.weight *= factor;
        }
        let (plain, scaled) = (stratified_mean_vector(&plain), stratified_mean_vector(&scaled));
        prop_assert!(alike(&plain.unwrap(), &scaled.unwrap()));
    }

    #[test]
    fn a_ratio_is_the_same_by_residuals_and_by_covariance(groups in groups()) {
        let columns = Columns { numerator: 0, denominator: 2 };
        let all = frame(groups.len() as u64 + 2);
        let pairs = [
            (
                ratio::of_stratified(&strata(&groups, 4), columns),
                stratified_mean_vector(&strata(&groups, 4)),
            ),
            (
                ratio::of_two_stage(&sampled(&groups, 4), all, columns),
                two_stage_mean_vector(&sampled(&groups, 4), all),
            ),
        ];
        for (by_residuals, means) in pairs {
            let by_residuals = by_residuals.unwrap();
            let by_covariance = ratio_vector(&means.unwrap(), 2).unwrap();
            let error = by_covariance.covariance[0][0].sqrt();
            prop_assert!(close(by_residuals.value, by_covariance.means[0]));
            prop_assert!((by_residuals.standard_error - error).abs() < 1e-6 * error.max(1e-3));
        }
    }

    #[test]
    fn a_share_is_the_mean_of_ones_and_zeroes(asked in 2u64..200, part in 0.0f64..=1.0) {
        let yes = (asked as f64 * part) as u64;
        let share = simple::proportion(yes, asked, None).unwrap();
        let (p, n) = (yes as f64 / asked as f64, asked as f64);
        prop_assert!(close(share.value, p));
        prop_assert!(close(share.standard_error, (p * (1.0 - p) / (n - 1.0)).sqrt()));
        prop_assert_eq!(yes_no(yes, asked).unwrap().len() as u64, asked);
    }
}

#[test]
fn samples_too_small_or_ragged_are_refused() {
    let pair = vec![vec![1.0], vec![2.0]];
    let one = Stratum::finite(9, vec![vec![1.0]]);
    assert!(stratified_mean_vector(&[one, Stratum::finite(9, pair.clone())]).is_err());
    assert!(stratified_mean_vector(&[]).is_err());
    let weightless = Stratum {
        weight: 0.0,
        population: None,
        rows: pair.clone(),
    };
    assert!(stratified_mean_vector(std::slice::from_ref(&weightless)).is_err());
    let negative = Stratum {
        weight: -1.0,
        ..weightless
    };
    assert!(stratified_mean_vector(&[negative, Stratum::finite(9, pair.clone())]).is_err());
    let cluster_of = |rows| Cluster { rows };
    let none = ClusterFrame::default();
    assert!(cluster_mean_vector(&[cluster_of(pair.clone())], none).is_err());
    let ragged = [cluster_of(pair.clone()), cluster_of(vec![vec![1.0, 2.0]])];
    assert!(cluster_mean_vector(&ragged, none).is_err());
    let whole = [cluster_of(pair.clone()), cluster_of(pair.clone())];
    assert!(cluster::mean(&whole, none, 1).is_err());
    let lonely = |units| SampledCluster {
        units,
        rows: vec![vec![1.0]],
    };
    assert!(two_stage_mean_vector(&[lonely(5), lonely(5)], frame(9)).is_err());
    assert!(two_stage_mean_vector(&[lonely(1), lonely(1)], frame(9)).is_ok());
    assert!(two_stage_mean_vector(&[lonely(0), lonely(5)], none).is_err());
    let zero = vec![vec![1.0, 0.0]; 3];
    assert!(ratio_vector(&simple_mean_vector(&zero, None).unwrap(), 1).is_err());
    assert!(ratio_vector(&simple_mean_vector(&zero, None).unwrap(), 2).is_err());
}
