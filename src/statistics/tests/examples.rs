//! Worked examples of handbooks and of saved outputs, as they were printed. Each says its source
//! and how well we know it.

use super::agrees;
use super::survey::{DISTRICTS, districts, municipalities, schools, strata};
use crate::statistics::design::ratio::{self, Columns};
use crate::statistics::design::{
    Cluster, ClusterFrame, Estimated, cluster, simple, stratified, two_stage,
};
use crate::statistics::quantile::{chi_squared_tail, two_sided};

/// Half a unit of the last printed place.
#[track_caller]
fn printed(what: &str, found: f64, value: f64, place: f64) {
    assert!(
        (found - value).abs() <= place / 2.0 * 1.001,
        "{what}: {found} was printed as {value}"
    );
}

#[track_caller]
fn both(
    what: &str,
    found: Estimated,
    (value, error): (f64, f64),
    (place, error_place): (f64, f64),
) {
    printed(what, found.value, value, place);
    printed(what, found.standard_error, error, error_place);
}

/// As many values of one sample as wanted, with this mean and standard deviation.
fn values(count: usize, mean: f64, standard_deviation: f64) -> Vec<f64> {
    let n = count as f64;
    let apart = standard_deviation * ((n - 1.0) / n).sqrt();
    (0..count)
        .map(|at| {
            if at % 2 == 0 {
                mean + apart
            } else {
                mean - apart
            }
        })
        .collect()
}

/// R `survey`, saved output of `tests/testoutput/api.Rout.saved` (SEEN): 662.29, SE 9.4089 and
/// 3 687 178, SE 114 642; intervals and design effect COMPUTED with R.
#[test]
fn saved_output_of_stratified_schools() {
    let strata = strata(true);
    let mean = stratified::mean(&strata, 0).unwrap();
    both("mean", mean, (662.29, 9.4089), (0.01, 0.0001));
    printed("effect", mean.design_effect.unwrap(), 1.20446, 0.00001);
    assert_eq!(mean.degrees_of_freedom, 197.0);
    for (confidence, lower, upper) in [(0.95, 643.846, 680.729), (0.90, 646.811, 677.764)] {
        let half = two_sided(confidence, f64::INFINITY).unwrap() * mean.standard_error;
        printed("lower", mean.value - half, lower, 0.001);
        printed("upper", mean.value + half, upper, 0.001);
    }
    let total = stratified::total(&strata, 2).unwrap();
    both("total", total, (3_687_178.0, 114_642.0), (1.0, 1.0));
}

/// The same file (SEEN): 644.17, SE 23.542; design effect 9.34587 and the error without the
/// finite correction 23.77901 COMPUTED with R. The saved total of 3 404 940, SE 932 235, is that
/// of the weights supplied, 6194 schools over the 183 drawn, instead of 757 districts over 15.
#[test]
fn saved_output_of_clustered_schools() {
    let districts = districts();
    let frame = ClusterFrame {
        clusters: Some(DISTRICTS),
        units: Some(6194),
    };
    let mean = cluster::mean(&districts, frame, 0).unwrap();
    both("mean", mean, (644.17, 23.542), (0.01, 0.001));
    printed("effect", mean.design_effect.unwrap(), 9.34587, 0.00001);
    let endless = cluster::mean(&districts, ClusterFrame::default(), 0).unwrap();
    printed("endless", endless.standard_error, 23.77901, 0.00001);
    let as_supplied = (6194.0 / 183.0) / (757.0 / 15.0);
    let total = cluster::total(&districts, DISTRICTS, 2).unwrap();
    both(
        "total",
        total.times(as_supplied),
        (3_404_940.0, 932_235.0),
        (1.0, 1.0),
    );
}

/// Vignette "A survey analysis example" of R `survey` (SEEN): tested over enrolled 0.8497087,
/// SE 0.008386297; high schools alone 0.8300683, SE 0.01472607.
#[test]
fn vignette_ratios_of_clustered_schools() {
    let frame = ClusterFrame {
        clusters: Some(DISTRICTS),
        units: None,
    };
    let of = |numerator, denominator| {
        let columns = Columns {
            numerator,
            denominator,
        };
        ratio::of_clusters(&districts(), frame, columns).unwrap()
    };
    both("all", of(1, 2), (0.8497087, 0.008386297), (1e-7, 1e-9));
    both("high", of(4, 5), (0.8300683, 0.01472607), (1e-7, 1e-8));
}

/// R `survey`, `tests/testoutput/multistage.Rout.save` (SEEN), after Särndal and others, p. 143:
/// 15080, SE 2274.3, variance 5 172 234.
#[test]
fn saved_output_of_municipalities_in_two_stages() {
    let total = two_stage::total(&municipalities(), 50, 0).unwrap();
    both("total", total, (15_080.0, 2274.3), (1e-6, 0.1));
    printed("variance", total.standard_error.powi(2), 5_172_234.0, 1.0);
}

/// Lohr, example 5.2, as the vignette of R `SDaA` has it (SEEN): 5 of 100 suites of 4, total 1130.4,
/// SE 67.167 without the finite correction; with it 65.46596, mean 2.826, SE 0.163665 (COMPUTED).
#[test]
fn lohr_grades_of_five_suites() {
    let suites: Vec<Cluster> = [12.16, 11.36, 8.96, 12.96, 11.08]
        .iter()
        .map(|total| Cluster {
            rows: vec![vec![total / 4.0]; 4],
        })
        .collect();
    let total = cluster::total(&suites, 100, 0).unwrap();
    both("total", total, (1130.4, 65.46596), (1e-9, 0.00001));
    let frame = ClusterFrame {
        clusters: Some(100),
        units: None,
    };
    let mean = cluster::mean(&suites, frame, 0).unwrap();
    both("mean", mean, (2.826, 0.163665), (1e-9, 1e-6));
    let endless = cluster::mean(&suites, ClusterFrame::default(), 0).unwrap();
    printed(
        "endless",
        endless.times(400.0).standard_error,
        67.167,
        0.001,
    );
}

/// Lohr, examples 10.1, 10.2 and 10.4, as the vignette of R `SDaA` has them (SEEN).
#[test]
fn lohr_chi_squared_probabilities() {
    for (statistic, df, p, place) in [
        (2.281, 1.0, 0.131, 0.001),
        (8.2176, 3.0, 0.04172, 0.00001),
        (4.5621, 1.0, 0.03269, 0.00001),
    ] {
        printed("p", chi_squared_tail(statistic, df).unwrap(), p, place);
    }
}

/// Cochran 1977, p. 27 (inputs MEMORY, arithmetic COMPUTED): 50 of 676 sheets, sum 1471, sum of
/// squares 54 497: total 19 888, s^2 228.983, 80 % half width with 1.28 of 1781.9.
#[test]
fn cochran_petition() {
    let squares: f64 = 54_497.0 - 1471.0 * 1471.0 / 50.0;
    let variance = squares / 49.0;
    printed("variance", variance, 228.983, 0.001);
    let sheets = values(50, 1471.0 / 50.0, variance.sqrt());
    let total = simple::total(&sheets, 676).unwrap();
    printed("total", total.value, 19_888.0, 1.0);
    printed("half width", 1.28 * total.standard_error, 1781.9, 0.1);
}

/// Cochran 1977, ratio of the cities (inputs MEMORY): 6262 / 5054 = 1.239019, times 22 919 is 28 397.
#[test]
fn cochran_cities() {
    let rows = [vec![3000.0, 2500.0], vec![3262.0, 2554.0]];
    let columns = Columns {
        numerator: 0,
        denominator: 1,
    };
    let ratio = ratio::of_simple(&rows, None, columns).unwrap();
    printed("ratio", ratio.value, 1.239019, 1e-6);
    printed("total", ratio.times(22_919.0).value, 28_397.0, 1.0);
}

/// Lohr, counties drawn at random (statistics COMPUTED from the data of R `SDaA`; the textbook
/// MEMORY): 300 of 3078, mean 297 897.047, sd 344 551.895.
#[test]
fn lohr_counties() {
    let acres = values(300, 297_897.047, 344_551.895);
    let mean = simple::mean(&acres, Some(3078)).unwrap();
    printed("mean", mean.standard_error, 18_898.434, 0.001);
    let total = simple::total(&acres, 3078).unwrap();
    both(
        "total",
        total,
        (916_927_110.0, 58_169_381.0),
        (3078e-3, 2.0),
    );
    let share = simple::proportion(153, 300, Some(3078)).unwrap();
    both("share", share, (0.51, 0.027465), (1e-9, 1e-6));
}

/// Schools drawn at random (COMPUTED with R): mean 656.585, SE 9.249722; total 3 621 074,
/// SE 169 520.
#[test]
fn schools_drawn_at_random() {
    let column = |at: usize| -> Vec<f64> { schools().iter().map(|row| row[at]).collect() };
    let mean = simple::mean(&column(0), Some(6194)).unwrap();
    both("mean", mean, (656.585, 9.249722), (0.001, 1e-6));
    assert_eq!(mean.degrees_of_freedom, 199.0);
    agrees("effect", mean.design_effect.unwrap(), 1.0, 1e-12);
    let total = simple::total(&column(2), 6194).unwrap();
    both("total", total, (3_621_074.0, 169_520.0), (1.0, 1.0));
}

/// Lohr, example 3.2, acres of 1992 over those of 1987 in the counties drawn (means, deviations and
/// correlation of the textbook, MEMORY): 0.9865652, SE 0.006053015 without the finite correction
/// (SEEN, vignette of R `SDaA`), with it 0.00575047; times 964 470 625 acres it is 951 513 191,
/// SE 5 546 162 (COMPUTED). The correlation is known to six digits, the errors so to five.
#[test]
fn lohr_ratio_of_acres() {
    let (now, before, together) = (
        (297897.0467, 344551.8948),
        (301953.7233, 344829.5964),
        0.995806_f64,
    );
    let spread = (299.0f64 / 300.0).sqrt();
    let apart = (1.0 - together * together).sqrt();
    let rows: Vec<Vec<f64>> = (0..300)
        .map(|at| {
            let u = if at % 2 == 0 { spread } else { -spread };
            let w = if at % 4 < 2 { spread } else { -spread };
            vec![
                now.0 + now.1 * (together * u + apart * w),
                before.0 + before.1 * u,
            ]
        })
        .collect();
    let columns = Columns {
        numerator: 0,
        denominator: 1,
    };
    let endless = ratio::of_simple(&rows, None, columns).unwrap();
    both("ratio", endless, (0.9865652, 0.006053015), (1e-7, 1e-7));
    let finite = ratio::of_simple(&rows, Some(3078), columns).unwrap();
    printed("error", finite.standard_error, 0.00575047, 1e-7);
    let total = finite.times(964_470_625.0);
    both("total", total, (951_513_191.0, 5_546_162.0), (1.0, 60.0));
}
