//! Sample sizes against worked examples of the CDM guideline on sampling and surveys, of
//! handbooks, and of R; and what must hold of any of them.

use super::*;
use crate::statistics::tests::{agrees, survey::expected};
use proptest::prelude::*;

fn wanted(confidence: f64, share: f64, figures: Figures) -> Wanted {
    Wanted {
        figures,
        student_t: false,
        ..Wanted::new(confidence, Margin::Relative(share))
    }
}

/// 90 % confidence, a tenth of the value.
fn ninety_ten(figures: Figures) -> Wanted {
    wanted(0.90, 0.1, figures)
}

/// CDM guideline, stoves still in use: 271, with 80 % response 339 (inputs and answers MEMORY);
/// 270.4886 with the printed quantile, 270.44 with the exact one (COMPUTED).
#[test]
fn stoves_still_in_use_take_271_answers_and_339_visits() {
    let hand = Wanted {
        response: 0.8,
        ..ninety_ten(Figures::PrintedQuantile)
    };
    let size = proportion_needed(0.5, Some(640_000), &hand).unwrap();
    agrees("by hand", size.by_normal, 270.4886, 1e-6);
    assert_eq!((size.needed, size.to_visit), (271, 339));
    let size = proportion_needed(0.5, Some(640_000), &ninety_ten(Figures::Unrounded)).unwrap();
    agrees("exact", size.by_normal, 270.44, 2e-5);
    assert_eq!((size.needed, size.to_visit), (271, 271));
}

/// The same at 95 %: 383.930 with 1.96, 383.92 with the exact quantile, so 384 (COMPUTED).
/// And p = 0.8, N = 10 000: 67.19, so 68 (COMPUTED).
#[test]
fn other_shares_and_confidences_of_the_same_shape() {
    for (figures, value) in [
        (Figures::PrintedQuantile, 383.930),
        (Figures::Unrounded, 383.92),
    ] {
        let size = proportion_needed(0.5, Some(640_000), &wanted(0.95, 0.1, figures)).unwrap();
        agrees("95/10", size.by_normal, value, 2e-5);
        assert_eq!(size.needed, 384);
    }
    let size = proportion_needed(0.8, Some(10_000), &ninety_ten(Figures::Unrounded)).unwrap();
    agrees("p 0.8", size.by_normal, 67.19, 1e-4);
    assert_eq!(size.needed, 68);
}

/// The grid of the reference sheet, 90/10 with z = 1.645 (COMPUTED). The sheet has 263.498 for
/// p 0.5 and N 10 000; worked out anew in Python it is 263.498514, so 263.499.
#[test]
fn the_grid_of_shares_and_populations() {
    let grid = [
        (0.50, [270.489, 263.499, 213.140]),
        (0.60, [180.351, 177.222, 152.960]),
        (0.70, [115.952, 114.654, 104.014]),
        (0.80, [67.644, 67.203, 63.423]),
        (0.85, [47.750, 47.531, 45.620]),
        (0.90, [30.066, 29.980, 29.218]),
        (0.95, [14.242, 14.223, 14.056]),
    ];
    let hand = ninety_ten(Figures::PrintedQuantile);
    for (share, row) in grid {
        for (population, value) in [640_000, 10_000, 1_000].into_iter().zip(row) {
            let size = proportion_needed(share, Some(population), &hand).unwrap();
            let apart = (size.by_normal - value).abs();
            assert!(apart <= 5.1e-4, "{share} {population}: {}", size.by_normal);
        }
    }
    for (share, value) in [(0.5, 369.984), (0.7, 161.989), (0.9, 42.507)] {
        let hand = wanted(0.95, 0.1, Figures::PrintedQuantile);
        let size = proportion_needed(share, Some(10_000), &hand).unwrap();
        assert!((size.by_normal - value).abs() <= 5.1e-4, "{share}");
    }
}

/// CDM guideline, lamp hours, mean 3.5, SD 2.5, N 420 000: 138 (MEMORY). V rounded to 0.51 gives
/// 137.962, unrounded 138.017 and so 139; with the exact quantile 137.99 (COMPUTED).
#[test]
fn lamp_hours_by_each_way_of_rounding() {
    let of = |figures| mean_needed(3.5, 2.5, Some(420_000), &ninety_ten(figures)).unwrap();
    let by_hand = of(Figures::ByHand);
    agrees("V 0.51", by_hand.by_normal, 137.962, 4e-6);
    assert_eq!(by_hand.needed, 138);
    let printed = of(Figures::PrintedQuantile);
    agrees("V unrounded", printed.by_normal, 138.017, 4e-6);
    assert_eq!(printed.needed, 139);
    let ours = of(Figures::Unrounded);
    agrees("exact", ours.by_normal, 137.99, 4e-5);
    assert_eq!(ours.needed, 138);
}

fn four_districts() -> Vec<PlannedStratum> {
    planned(&[
        (76_021, 0.20),
        (286_541, 0.46),
        (103_668, 0.57),
        (173_770, 0.33),
    ])
}

fn planned(strata: &[(u64, f64)]) -> Vec<PlannedStratum> {
    strata
        .iter()
        .enumerate()
        .map(|(at, (population, share))| PlannedStratum {
            name: format!("district {}", at + 1),
            population: *population,
            expected: Expected::Share(*share),
        })
        .collect()
}

/// CDM guideline, four districts (inputs MEMORY-LOW): mean 0.411637, variance 0.229953, 367.02,
/// so 368, shared out 43.7, 164.8, 59.6, 99.9; with 0.41 and 0.23 it is 370.03, so 371 (COMPUTED).
#[test]
fn four_districts_by_each_way_of_rounding() {
    let size = |figures| {
        let wanted = ninety_ten(figures);
        stratified_needed(&four_districts(), Allocation::Proportional, &wanted).unwrap()
    };
    let found = size(Figures::PrintedQuantile);
    let value = |formula: &str| {
        let steps = &found.whole.steps;
        let step = steps.iter().find(|step| step.formula.starts_with(formula));
        step.unwrap().value
    };
    agrees("mean", value("m ="), 0.411637, 5e-7);
    agrees("variance", value("S^2 ="), 0.229953, 5e-7);
    agrees("units", found.whole.by_normal, 367.02, 2e-5);
    assert_eq!(found.whole.needed, 368);
    let exact: Vec<f64> = found.strata.iter().map(|stratum| stratum.exact).collect();
    for (exact, printed) in exact.iter().zip([43.7, 164.8, 59.6, 99.9]) {
        assert!((exact - printed).abs() <= 0.05, "{exact} {printed}");
    }
    let needed: Vec<u64> = found.strata.iter().map(|stratum| stratum.needed).collect();
    assert_eq!(needed, [44, 165, 60, 100]);
    let by_hand = size(Figures::ByHand);
    agrees("by hand", by_hand.whole.by_normal, 370.03, 2e-5);
    assert_eq!(by_hand.whole.needed, 371);
}

/// Five strata of the guideline's shape (MEMORY): mean 0.408751, variance 0.228798, 370.29,
/// so 371 (COMPUTED).
#[test]
fn five_strata_of_the_short_sheet() {
    let strata = planned(&[
        (76_021, 0.20),
        (286_541, 0.46),
        (103_668, 0.57),
        (142_977, 0.33),
        (30_793, 0.27),
    ]);
    let wanted = ninety_ten(Figures::Unrounded);
    let found = stratified_needed(&strata, Allocation::Proportional, &wanted).unwrap();
    agrees("units", found.whole.by_normal, 370.29, 2e-5);
    assert_eq!(found.whole.needed, 371);
}

/// COMPUTED outside this program in Python with scipy's quantile, by Cochran's formula.
#[test]
fn neyman_takes_fewer_units_and_shares_them_by_deviation() {
    let wanted = ninety_ten(Figures::Unrounded);
    let found = stratified_needed(&four_districts(), Allocation::Neyman, &wanted).unwrap();
    agrees("units", found.whole.by_normal, 365.404_561_330_021_86, 1e-9);
    let weights = [
        0.09929206177434916,
        0.46631944701347966,
        0.1675858455819718,
        0.26680264563019945,
    ];
    for (stratum, weight) in found.strata.iter().zip(weights) {
        agrees(
            "share",
            stratum.exact / found.whole.needed as f64,
            weight,
            1e-9,
        );
    }
}

#[test]
fn a_stratum_gives_no_more_units_than_it_has() {
    let strata = [
        PlannedStratum {
            name: "few, far apart".to_owned(),
            population: 5,
            expected: Expected::Mean {
                mean: 100.0,
                standard_deviation: 400.0,
            },
        },
        PlannedStratum {
            name: "many, alike".to_owned(),
            population: 1000,
            expected: Expected::Mean {
                mean: 10.0,
                standard_deviation: 4.0,
            },
        },
    ];
    let wanted = ninety_ten(Figures::Unrounded);
    let found = stratified_needed(&strata, Allocation::Neyman, &wanted).unwrap();
    assert_eq!(found.strata[0].needed, 5);
    let both = found.strata[0].exact + found.strata[1].exact;
    agrees("all shared out", both, found.whole.needed as f64, 1e-12);
}

/// CDM guideline, cluster shares of a pilot (MEMORY): variance 0.02365, 24.318, so 25 (COMPUTED).
/// With Student's t instead, by trying each number in Python with scipy (COMPUTED): 26.
#[test]
fn clusters_of_a_pilot() {
    let plan = OneStage::from_clusters(120, &[0.37, 0.48, 0.50, 0.27, 0.68]).unwrap();
    agrees("mean", plan.mean, 0.46, 1e-12);
    agrees("variance", plan.variance_between, 0.02365, 1e-12);
    let size = clusters_needed(&plan, &ninety_ten(Figures::PrintedQuantile)).unwrap();
    agrees("clusters", size.by_normal, 24.318, 1e-5);
    assert_eq!(size.needed, 25);
    let with_t = Wanted::new(0.90, Margin::Relative(0.1));
    assert_eq!(clusters_needed(&plan, &with_t).unwrap().needed, 26);
}

/// COMPUTED outside this program in Python, by the formula of the reference sheet.
#[test]
fn two_stages_by_the_formula_of_the_sheet() {
    let plan = TwoStage {
        clusters: 120,
        mean_units: 50.0,
        units_in_each: 10,
        mean: 0.46,
        variance_between: 0.02365,
        variance_within: 0.22,
    };
    let size = two_stage_needed(&plan, &ninety_ten(Figures::Unrounded)).unwrap();
    agrees(
        "clusters",
        size.clusters.by_normal,
        42.624_721_534_016_835,
        1e-9,
    );
    let needed = size.clusters.needed;
    assert_eq!(needed, 43);
    assert_eq!(size.units, needed * 10);
    let shy = Wanted {
        response: 0.8,
        ..ninety_ten(Figures::Unrounded)
    };
    let size = two_stage_needed(&plan, &shy).unwrap();
    assert_eq!(
        (size.clusters.to_visit, size.to_visit_in_each),
        (needed, 13)
    );
}

/// Cochran 1977, p. 77: p 0.5, d 0.05, t 2, N 3200: 400 without end, 355.65, so 356 (inputs
/// MEMORY, arithmetic COMPUTED). Two standard errors are a confidence of 0.9544997361.
#[test]
fn cochran_absolute_margin() {
    let wanted = Wanted::new(0.954_499_736_103_641_6, Margin::Absolute(0.05));
    let endless = proportion_needed(0.5, None, &wanted).unwrap();
    agrees("n0", endless.by_normal, 400.0, 1e-9);
    assert_eq!(endless.needed, 400);
    let size = proportion_needed(0.5, Some(3200), &wanted).unwrap();
    agrees("n", size.by_normal, 355.65, 2e-5);
    assert_eq!(size.needed, 356);
}

/// By trying each number in Python with scipy (COMPUTED): the smallest `n` that meets the
/// formula with t of `n - 1` degrees of freedom.
#[test]
fn below_thirty_units_student_t_takes_over() {
    let wanted = Wanted::new(0.90, Margin::Relative(0.2));
    let size = mean_needed(10.0, 3.0, Some(500), &wanted).unwrap();
    agrees("by normal", size.by_normal, 6.026_156_952_882_936, 1e-9);
    assert_eq!(size.needed, 8);
    assert!(size.steps.iter().any(|step| step.words.contains("Student")));
}

/// R's `power.t.test` (`tests/reference/survey.R`): the whole units above its answer.
#[test]
fn groups_with_student_t_take_as_many_units_as_r_says() {
    for cov in [0.3, 0.4, 0.5, 0.6] {
        let by_r = expected("power_t_test", &format!("cov_{cov:.1}_change_0.3_95_80"));
        let mut groups = Groups {
            confidence: 0.95,
            power: 0.80,
            coefficient_of_variation: cov,
            change: 0.3,
            response: 0.9,
            student_t: true,
        };
        let size = units_per_group(&groups).unwrap();
        assert_eq!(size.needed, by_r.ceil() as u64, "{cov}");
        assert_eq!(size.to_visit, (size.needed as f64 / 0.9).ceil() as u64);
        groups.student_t = false;
        let plain = units_per_group(&groups).unwrap();
        // 2 (1.959964 + 0.841621)^2 = 15.69775 from any table of the normal.
        agrees(
            "plain",
            plain.by_normal,
            15.69775 * (cov / 0.3).powi(2),
            1e-5,
        );
        assert!(plain.needed <= size.needed);
    }
}

#[test]
fn the_design_effect_multiplies_and_the_frame_limits() {
    let double = Wanted {
        design_effect: 2.0,
        ..ninety_ten(Figures::PrintedQuantile)
    };
    let size = proportion_needed(0.5, Some(640_000), &double).unwrap();
    agrees("doubled", size.by_normal, 2.0 * 270.4886, 1e-6);
    assert_eq!(size.needed, 541);
    assert!(!size.frame_exhausted);
    let small = Wanted {
        response: 0.5,
        ..double
    };
    let size = proportion_needed(0.5, Some(300), &small).unwrap();
    assert_eq!((size.to_visit, size.frame_exhausted), (300, true));
}

#[test]
fn the_arithmetic_is_told_step_by_step() {
    let size = proportion_needed(0.5, Some(1000), &ninety_ten(Figures::Unrounded)).unwrap();
    let told: Vec<&str> = size
        .steps
        .iter()
        .map(|step| step.formula.as_str())
        .collect();
    assert_eq!(
        told,
        [
            "N",
            "m = p",
            "S^2 = p (1 - p)",
            "e = r m",
            "z",
            "n = z^2 N S^2 / ((N - 1) e^2 + z^2 S^2)",
            "n"
        ]
    );
    assert_eq!(size.steps.last().unwrap().value, size.needed as f64);
}

#[test]
fn questions_without_an_answer_are_refused() {
    let good = ninety_ten(Figures::Unrounded);
    assert!(proportion_needed(0.0, None, &good).is_err());
    assert!(proportion_needed(0.5, Some(1), &good).is_err());
    assert!(mean_needed(0.0, 1.0, None, &good).is_err());
    assert!(mean_needed(1.0, -1.0, None, &good).is_err());
    assert!(mean_needed(1e-9, 1.0, None, &Wanted::new(0.9, Margin::Absolute(1e-9))).is_err());
    for bad in [
        Wanted {
            response: 0.0,
            ..good
        },
        Wanted {
            design_effect: 0.0,
            ..good
        },
        Wanted::new(1.0, Margin::Relative(0.1)),
        Wanted::new(0.9, Margin::Relative(0.0)),
        Wanted::new(0.9, Margin::Absolute(f64::NAN)),
    ] {
        assert!(proportion_needed(0.5, None, &bad).is_err(), "{bad:?}");
    }
    assert!(stratified_needed(&[], Allocation::Neyman, &good).is_err());
    assert!(OneStage::from_clusters(10, &[0.5]).is_err());
}

proptest! {
    #[test]
    fn more_is_asked_for_a_smaller_margin_a_higher_confidence_and_a_larger_population(
        share in 0.05f64..0.95,
        margin in 0.02f64..0.5,
        confidence in 0.6f64..0.98,
        population in 50u64..100_000,
    ) {
        let needed = |confidence, margin, population| {
            let wanted = Wanted::new(confidence, Margin::Relative(margin));
            let size = proportion_needed(share, population, &wanted).unwrap();
            (size.by_normal, size.needed)
        };
        let base = needed(confidence, margin, Some(population));
        let closer = needed(confidence, margin * 0.8, Some(population));
        let surer = needed(confidence + 0.01, margin, Some(population));
        let larger = needed(confidence, margin, Some(population * 2));
        let endless = needed(confidence, margin, None);
        prop_assert!(closer.0 > base.0 && surer.0 > base.0);
        // Below one unit the formula turns round; there the question has no sense.
        prop_assert!(base.0 <= 1.0 || larger.0 > base.0 && endless.0 > larger.0);
        prop_assert!(base.1 <= population);
        prop_assert!(closer.1 >= base.1 || base.0 < FEW && closer.0 >= FEW);
    }

    #[test]
    fn one_stratum_is_a_simple_sample_and_clusters_without_inner_spread_are_one_stage(
        share in 0.1f64..0.9,
        population in 100u64..10_000,
    ) {
        let wanted = ninety_ten(Figures::Unrounded);
        let simple = proportion_needed(share, Some(population), &wanted).unwrap();
        for allocation in [Allocation::Proportional, Allocation::Neyman] {
            let one = stratified_needed(&planned(&[(population, share)]), allocation, &wanted);
            let one = one.unwrap().whole;
            // Neyman's formula has N where the other has N - 1.
            prop_assert!((one.by_normal / simple.by_normal - 1.0).abs() < 2.0 / population as f64);
        }
        let two = TwoStage {
            clusters: population,
            mean_units: 20.0,
            units_in_each: 5,
            mean: share,
            variance_between: 0.03,
            variance_within: 0.0,
        };
        let one = OneStage { clusters: population, mean: share, variance_between: 0.03 };
        let two = two_stage_needed(&two, &wanted).unwrap().clusters;
        let one = clusters_needed(&one, &wanted).unwrap();
        prop_assert!((two.by_normal / one.by_normal - 1.0).abs() < 1e-9);
    }
}
