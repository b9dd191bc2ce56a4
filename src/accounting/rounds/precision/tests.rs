//! Precision by the estimator of each design, against worked sums.

use super::*;
use crate::accounting::rounds::drawing::DrawnUnit;
use crate::accounting::rounds::plan::{GroupSize, RoundPlan};
use crate::accounting::rounds::progress::Visit;

fn plan(design: &str, more: &str) -> RoundPlan {
    serde_json::from_str(&format!(
        r#"{{"purpose": "p", "unit": "household", "frame_on": "2026-01-01", "design": "{design}",
            "confidence": "0.90", "precision": "0.5", "precision_is": "relative",
            "expected_mean": "1", "expected_standard_deviation": "1"{more}}}"#
    ))
    .unwrap()
}

fn sizes(groups: &[(&str, u64)]) -> Sizes {
    Sizes {
        steps: Vec::new(),
        needed: 0,
        to_visit: 0,
        clusters: None,
        groups: groups
            .iter()
            .map(|(name, units)| GroupSize {
                name: (*name).into(),
                units: *units,
                sample: 0,
                reserve: 0,
            })
            .collect(),
    }
}

fn found(plan: &RoundPlan, groups: &[(&str, u64)], values: &[(&str, i64)]) -> Achieved {
    let drawn: Vec<DrawnUnit> = values
        .iter()
        .zip(1..)
        .map(|((group, _), place)| DrawnUnit {
            group: (*group).into(),
            place,
            reserve: false,
            hash: String::new(),
            unit: format!("u{place}"),
        })
        .collect();
    let states: Vec<UnitState> = drawn
        .iter()
        .zip(values)
        .map(|(drawn, (_, value))| UnitState {
            drawn,
            visit: Visit::Done,
            out_of_turn: false,
            value: Some(Decimal::from(*value)),
        })
        .collect();
    let clusters: Vec<String> = groups.iter().map(|(name, _)| (*name).into()).collect();
    achieved(plan, &sizes(groups), &clusters, &states).unwrap()
}

/// Mean 4, variance 14/3 of 2, 3, 4, 7; SE = sqrt((1 - 4/20) (14/3) / 4) = 0.966092, by hand.
#[test]
fn a_simple_sample_has_the_correction_for_a_finite_population() {
    let values = [("all", 2), ("all", 3), ("all", 4), ("all", 7)];
    let found = found(&plan("simple_random", ""), &[("all", 20)], &values);
    assert_eq!(found.value.to_string(), "4");
    assert_eq!(found.standard_error.to_string(), "0.966092");
    assert_eq!(found.degrees_of_freedom.to_string(), "3");
    // Student's t for 3 degrees of freedom at 90 % is 2.353363 (any table of t; MEMORY).
    assert_eq!(found.half_width.to_string(), "2.27357");
    assert!(!found.meets_the_plan);
}

/// W = 1/4, 3/4; means 2, 5; variances 2, 2 of two each:
/// SE^2 = (1/16) (1 - 2/10) 2/2 + (9/16) (1 - 2/30) 2/2 = 0.575, by hand.
#[test]
fn strata_weigh_their_units() {
    let plan = plan("stratified", r#", "strata_by": ["site"]"#);
    let values = [("a", 1), ("a", 3), ("b", 4), ("b", 6)];
    let found = found(&plan, &[("a", 10), ("b", 30)], &values);
    assert_eq!(found.value.to_string(), "4.25");
    assert_eq!(found.standard_error.to_string(), "0.758288");
    assert_eq!(found.degrees_of_freedom.to_string(), "2");
}
