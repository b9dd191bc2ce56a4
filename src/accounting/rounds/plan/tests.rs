//! Plans: what they must say, and how the sample is shared out.

use super::*;
use crate::accounting::records::RoundKind;
use crate::accounting::rounds::RoundError;

fn plan() -> RoundPlan {
    serde_json::from_str(
        r#"{"purpose": "p", "unit": "stove", "frame_on": "2026-01-01", "design": "simple_random",
            "confidence": "0.90", "precision": "0.10", "precision_is": "relative",
            "expected_share": "0.5"}"#,
    )
    .unwrap()
}

fn groups(units: &[(&str, u64)]) -> Vec<GroupCount> {
    units
        .iter()
        .map(|(name, units)| GroupCount {
            name: (*name).into(),
            units: *units,
        })
        .collect()
}

/// By hand: 1.644854^2 * 1000 * 0.25 / (999 * 0.05^2 + 1.644854^2 * 0.25) = 213.2
#[test]
fn a_simple_sample_is_what_the_formula_gives_and_the_reserve_what_the_response_asks_for() {
    let plan = RoundPlan {
        expected_response: "0.8".parse().unwrap(),
        reserve: 4,
        ..plan()
    };
    plan.check(RoundKind::UsageSurvey).unwrap();
    let sizes = plan.sizes(&groups(&[("all", 1000)])).unwrap();
    assert_eq!((sizes.needed, sizes.to_visit), (214, 268));
    let only = &sizes.groups[0];
    assert_eq!((only.sample, only.reserve), (214, 54 + 4));
}

#[test]
fn a_sample_is_never_more_than_its_group_has() {
    let sizes = RoundPlan {
        reserve: 1_000_000,
        ..plan()
    }
    .sizes(&groups(&[("all", 5)]))
    .unwrap();
    let only = &sizes.groups[0];
    assert_eq!(only.sample + only.reserve, 5);
}

#[test]
fn sites_are_as_many_as_the_units_need_and_no_more_than_there_are() {
    let plan = RoundPlan {
        design: SampleDesign::Cluster,
        units_in_each: Some(50),
        ..plan()
    };
    let four = groups(&[("a", 250), ("b", 250), ("c", 250), ("d", 250)]);
    assert!(matches!(
        plan.sizes(&four),
        Err(RoundError::Field {
            field: "units_in_each",
            ..
        })
    ));
    let more = RoundPlan {
        units_in_each: Some(72),
        ..plan
    };
    let sizes = more.sizes(&four).unwrap();
    // 214 / 72 = 2.97
    assert_eq!(sizes.clusters, Some(3));
    assert!(sizes.groups.iter().all(|group| group.sample == 72));
}

#[test]
fn what_a_plan_lacks_or_contradicts_is_named() {
    let field = |plan: RoundPlan, kind: RoundKind| match plan.check(kind) {
        Err(RoundError::Field { field, .. }) => field,
        other => panic!("{other:?}"),
    };
    let survey = RoundKind::UsageSurvey;
    assert_eq!(field(plan(), RoundKind::CharLab), "unit");
    assert_eq!(field(plan(), RoundKind::BaselineSurvey), "unit");
    assert_eq!(field(plan(), RoundKind::KitchenProject), "unit");
    let without = RoundPlan {
        expected_share: None,
        ..plan()
    };
    assert_eq!(field(without, survey), "expected_share");
    let household = RoundPlan {
        unit: SampleUnit::Household,
        ..plan()
    };
    assert_eq!(field(household, RoundKind::CharWeighing), "expected_mean");
    let twice = RoundPlan {
        design: SampleDesign::Stratified,
        strata_by: vec![GroupKey::Site, GroupKey::Site],
        ..plan()
    };
    assert_eq!(field(twice, survey), "strata_by");
    let one = RoundPlan {
        design: SampleDesign::Cluster,
        units_in_each: Some(1),
        ..plan()
    };
    assert_eq!(field(one, survey), "units_in_each");
}

/// Five strata of the shape of the CDM guideline on sampling and surveys (MEMORY): overall share
/// 0.408751, variance inside 0.228798, 370.29, so 371 (COMPUTED, reference sheet on sampling);
/// shared out 44.07, 166.10, 60.09, 82.88, 17.85 (Python).
#[test]
fn strata_with_shares_of_their_own_need_what_the_worked_example_says() {
    let districts = [
        ("d1", 76_021, "0.20"),
        ("d2", 286_541, "0.46"),
        ("d3", 103_668, "0.57"),
        ("d4", 142_977, "0.33"),
        ("d5", 30_793, "0.27"),
    ];
    let plan = RoundPlan {
        expected_share: None,
        strata: districts
            .iter()
            .map(|(name, _, share)| share_of(name, share))
            .collect(),
        ..by_site()
    };
    plan.check(RoundKind::UsageSurvey).unwrap();
    let frame = groups(&districts.map(|(name, units, _)| (name, units)));
    let sizes = plan.sizes(&frame).unwrap();
    assert_eq!(sizes.needed, 371);
    let sample: Vec<u64> = sizes.groups.iter().map(|group| group.sample).collect();
    assert_eq!(sample, [45, 167, 61, 83, 18]);
    let shown = |formula: &str, words: &str| {
        let step = sizes
            .steps
            .iter()
            .find(|step| step.formula.starts_with(formula) && step.words.ends_with(words));
        step.map(|step| step.value.to_string())
    };
    assert_eq!(shown("m =", "").as_deref(), Some("0.408751"));
    assert_eq!(shown("S^2 =", "").as_deref(), Some("0.228798"));
    assert_eq!(shown("N_h", "in d2").as_deref(), Some("286541"));
    assert_eq!(shown("m_h", "in d3").as_deref(), Some("0.57"));
    // sqrt(0.33 * 0.67) = 0.470213
    assert_eq!(shown("S_h", "in d4").as_deref(), Some("0.470213"));
}

/// Means and deviations of each stratum, shared out by Neyman's rule (Cochran, Sampling
/// Techniques, chapter 5; MEMORY), worked by hand: N 400, 600; S 5, 10; m 20, 30; half width 1;
/// A = 400 * 5 + 600 * 10 = 8000; sum N S^2 = 70 000; z^2 = 2.705543;
/// n = 8000^2 / (1000^2 / 2.705543 + 70 000) = 145.583; 146 * 2000 / 8000 = 36.5 and 109.5.
#[test]
fn the_optimum_shares_units_out_by_their_number_and_deviation() {
    let mean_of = |name: &str, mean: &str, deviation: &str| ExpectedStratum {
        name: name.into(),
        expected_share: None,
        expected_mean: Some(mean.parse().unwrap()),
        expected_standard_deviation: Some(deviation.parse().unwrap()),
    };
    let plan = RoundPlan {
        unit: SampleUnit::Household,
        allocation: SampleAllocation::Optimum,
        expected_share: None,
        precision: Decimal::ONE,
        precision_is: PrecisionKind::Absolute,
        strata: vec![mean_of("a", "20", "5"), mean_of("b", "30", "10")],
        ..by_site()
    };
    plan.check(RoundKind::KitchenProject).unwrap();
    let sizes = plan.sizes(&groups(&[("a", 400), ("b", 600)])).unwrap();
    assert_eq!(sizes.needed, 146);
    assert_eq!((sizes.groups[0].sample, sizes.groups[1].sample), (37, 110));
    let exact: Vec<String> = sizes
        .steps
        .iter()
        .filter(|step| step.formula == "n_h = n N_h S_h / A")
        .map(|step| step.value.to_string())
        .collect();
    assert_eq!(exact, ["36.5", "109.5"]);
}

#[test]
fn strata_that_the_frame_has_not_or_the_plan_says_nothing_of_are_named() {
    let refused = |plan: RoundPlan| {
        let problem = plan.sizes(&groups(&[("a", 40), ("b", 60)])).unwrap_err();
        problem.to_string()
    };
    let unknown = RoundPlan {
        strata: vec![share_of("A", "0.5")],
        ..by_site()
    };
    let said = refused(unknown);
    assert!(said.contains("names A") && said.contains("a; b"), "{said}");
    let silent = RoundPlan {
        expected_share: None,
        strata: vec![share_of("a", "0.5")],
        ..by_site()
    };
    silent.check(RoundKind::UsageSurvey).unwrap();
    assert!(refused(silent).contains("says nothing of b"));
    let elsewhere = RoundPlan {
        strata: vec![share_of("a", "0.5")],
        ..plan()
    };
    assert!(elsewhere.check(RoundKind::UsageSurvey).is_err());
    let models = RoundPlan {
        unit: SampleUnit::RegisteredHousehold,
        strata_by: vec![GroupKey::Model],
        ..by_site()
    };
    assert!(models.check(RoundKind::UsageSurvey).is_err());
}

fn by_site() -> RoundPlan {
    RoundPlan {
        design: SampleDesign::Stratified,
        strata_by: vec![GroupKey::Site],
        ..plan()
    }
}

fn share_of(name: &str, share: &str) -> ExpectedStratum {
    ExpectedStratum {
        name: name.into(),
        expected_share: Some(share.parse().unwrap()),
        expected_mean: None,
        expected_standard_deviation: None,
    }
}
