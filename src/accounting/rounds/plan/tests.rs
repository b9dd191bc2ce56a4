//! Plans: what they must say, and how the sample is shared out.

use super::*;
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
    assert_eq!(field(plan(), RoundKind::StoveTest), "kind");
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
