//! The ledger drawn and improved, against what propagation and re-computation say.

use super::*;
use crate::accounting::factor::{Factor, Quantity, SourceMark, Spread};
use crate::accounting::rounding::to_statistic;
use crate::statistics::monte_carlo::simulate;
use std::num::NonZero;
use std::str::FromStr;

fn decimal(text: &str) -> Decimal {
    Decimal::from_str(text).unwrap()
}

fn heading(id: &str) -> Heading {
    Heading::new(id, id, "test", "1")
}

fn factor(code: &str, value: &str, spread: Spread) -> Factor {
    Factor {
        code: code.into(),
        version: 1,
        quantity: Quantity::EmissionFactor,
        species: None,
        device: None,
        fuel: None,
        value: decimal(value),
        unit: "1".into(),
        spread,
        source: "invented".into(),
        mark: SourceMark::Computed,
        note: None,
        char_treatment: None,
        gwp_set: None,
    }
}

fn normal(standard_deviation: f64) -> Spread {
    Spread::Normal {
        standard_deviation: decimal(&standard_deviation.to_string()),
    }
}

fn estimate(id: &str, value: &str) -> Estimate {
    Estimate {
        heading: heading(id),
        value: decimal(value),
        at: BTreeMap::new(),
    }
}

/// `(a - b) * share * factor`; the survey's variance is divided by `times`.
fn saving(times: f64, degrees_of_freedom: f64, deviation: f64) -> (Ledger, NodeRef) {
    let mut ledger = Ledger::new(0.90).unwrap();
    let survey = Survey {
        name: "kitchen tests (12 households)".into(),
        role: EvidenceRole::ProjectKitchens,
        units: 12,
        degrees_of_freedom,
        family: Family::StudentT,
        estimates: vec![estimate("a", "6"), estimate("b", "2")],
        covariance: vec![
            vec![0.4 / times, 0.1 / times],
            vec![0.1 / times, 0.2 / times],
        ],
    };
    let kitchens = ledger.survey(survey).unwrap();
    let usage = Survey {
        name: "usage answers (100)".into(),
        role: EvidenceRole::Usage,
        units: 100,
        degrees_of_freedom: 99.0,
        family: Family::Proportion,
        estimates: vec![estimate("share", "0.8")],
        covariance: vec![vec![0.0016]],
    };
    let share = ledger.survey(usage).unwrap()[0];
    let x = ledger
        .factor(&factor("x", "10", normal(deviation)), "1")
        .unwrap();
    let apart = ledger
        .difference(heading("apart"), kitchens[0], kitchens[1])
        .unwrap();
    let saved = ledger
        .product(heading("saved"), &[apart, share, x])
        .unwrap();
    (ledger, saved)
}

fn half_width(ledger: &Ledger, node: NodeRef) -> f64 {
    let (lower, upper) = ledger.interval(node).unwrap();
    to_statistic(upper - lower) / 2.0
}

/// A sample of twice the size halves the covariance; entered so, the interval is what was told.
#[test]
fn the_advice_is_what_a_re_computation_gives() {
    let (ledger, saved) = saving(1.0, 11.0, 1.0);
    let found = ledger.improvements(saved).unwrap();
    assert_eq!(found.len(), 3);
    for one in &found {
        assert!((one.half_width - half_width(&ledger, saved)).abs() < 1e-9);
        let (again, node) = match one.origin {
            Origin::Survey(EvidenceRole::ProjectKitchens) => saving(2.0, 23.0, 1.0),
            Origin::Factor => saving(1.0, 11.0, 0.5),
            _ => continue,
        };
        let then = half_width(&again, node);
        assert!((one.half_width_then - then).abs() < 1e-9, "{one:?} {then}");
    }
    assert!(
        found
            .windows(2)
            .all(|pair| pair[0].half_width_then <= pair[1].half_width_then)
    );
    assert_eq!(
        found[0].origin,
        Origin::Survey(EvidenceRole::ProjectKitchens)
    );
}

#[test]
fn the_drawn_ledger_agrees_with_the_propagated_one() {
    let (ledger, saved) = saving(1.0, 40.0, 0.2);
    let model = ledger.model(&[saved]).unwrap();
    let threads = NonZero::new(2).unwrap();
    let found = simulate(&model.model, 50_000, 3, &[0.05, 0.95], threads).unwrap();
    let (lower, upper) = ledger.interval(saved).unwrap();
    for (quantile, end) in found.outputs[0].quantiles.iter().zip([lower, upper]) {
        let apart = (quantile.value - to_statistic(end)).abs();
        assert!(apart < 0.015 * 32.0, "{quantile:?} {end}");
    }
    assert_eq!(ledger.group(&model, 0).0, "kitchen tests (12 households)");
}

/// A shared factor drawn once cancels: `10 x - 9 x` has one tenth of what two draws would give.
#[test]
fn one_draw_of_a_factor_serves_every_place() {
    let mut ledger = Ledger::new(0.90).unwrap();
    let shared = factor("x", "2", normal(0.5));
    let mut side = |id: &str, amount: &str| {
        let x = ledger.factor(&shared, "1").unwrap();
        let amount = ledger
            .constant(heading(&format!("{id}/amount")), decimal(amount))
            .unwrap();
        ledger.product(heading(id), &[amount, x]).unwrap()
    };
    let (before, after) = (side("before", "10"), side("after", "9"));
    let saved = ledger.difference(heading("saved"), before, after).unwrap();
    let model = ledger.model(&[saved]).unwrap();
    let threads = NonZero::new(1).unwrap();
    let found = simulate(&model.model, 50_000, 3, &[0.5], threads).unwrap();
    let deviation = found.outputs[0].standard_deviation;
    assert!((deviation - 0.5).abs() < 0.01, "{deviation}");
}

#[test]
fn peculiarities_are_read_from_the_data() {
    let mut ledger = Ledger::new(0.90).unwrap();
    let skewed = Spread::Lognormal {
        lower: decimal("100"),
        upper: decimal("900"),
        confidence: decimal("0.95"),
    };
    let methane = ledger
        .factor(&factor("methane", "300", skewed), "1")
        .unwrap();
    let usage = Survey {
        name: "answers".into(),
        role: EvidenceRole::Usage,
        units: 30,
        degrees_of_freedom: 29.0,
        family: Family::Proportion,
        estimates: vec![estimate("share", "0")],
        covariance: vec![vec![0.0006]],
    };
    let share = ledger.survey(usage).unwrap()[0];
    let few = Survey {
        name: "kitchens".into(),
        role: EvidenceRole::ProjectKitchens,
        units: 3,
        degrees_of_freedom: 2.0,
        family: Family::StudentT,
        estimates: vec![estimate("mean", "0.5")],
        covariance: vec![vec![0.25]],
    };
    let mean = ledger.survey(few).unwrap()[0];
    let zero = ledger.constant(heading("zero"), Decimal::ZERO).unwrap();
    let one = ledger.constant(heading("one"), Decimal::ONE).unwrap();
    let cut = ledger.bounded(heading("cut"), mean, zero, one).unwrap();
    let names = |node| ledger.peculiarities(node).into_iter().collect::<Vec<_>>();
    let input = |name: &str| name.to_owned();
    assert!(matches!(&names(methane)[..], [Peculiarity::Skewed { .. }]));
    assert_eq!(
        names(share),
        [Peculiarity::NearBound {
            input: input("answers")
        }]
    );
    assert_eq!(
        names(cut),
        [
            Peculiarity::FewDegrees {
                input: input("kitchens")
            },
            Peculiarity::CutOff {
                label: input("cut")
            }
        ]
    );
}
