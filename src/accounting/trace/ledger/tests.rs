//! The ledger against published rules of propagation and against finite differences.

use super::*;
use crate::accounting::factor::{Factor, Quantity, SourceMark, Spread};
use crate::accounting::rounding::to_statistic;
use std::str::FromStr;

fn decimal(text: &str) -> Decimal {
    Decimal::from_str(text).unwrap()
}

fn close(found: f64, expected: f64, within: f64) {
    assert!(
        (found - expected).abs() <= within,
        "{found} is not {expected} within {within}"
    );
}

fn factor(code: &str, value: &str, standard_deviation: &str) -> Factor {
    Factor {
        code: code.into(),
        version: 1,
        quantity: Quantity::EmissionFactor,
        species: None,
        device: None,
        fuel: None,
        value: decimal(value),
        unit: "1".into(),
        spread: Spread::Normal {
            standard_deviation: decimal(standard_deviation),
        },
        source: "invented".into(),
        mark: SourceMark::Computed,
        note: None,
        char_treatment: None,
        gwp_set: None,
    }
}

fn heading(id: &str) -> Heading {
    Heading::new(id, id, "test", "1")
}

fn ledger() -> Ledger {
    Ledger::new(0.90).unwrap()
}

/// IPCC 2006 Vol 1 Ch 3, Eq. 3.1 (MEMORY): 42 % and 11 % give 43.4 % (COMPUTED);
/// with a mass known to 10 % it is 44.6 %.
#[test]
fn the_product_rule_of_the_ipcc() {
    let mut ledger = ledger();
    let carbon = ledger
        .factor(&factor("carbon", "0.77", "0.3234"), "1")
        .unwrap();
    let permanence = ledger
        .factor(&factor("permanence", "0.80", "0.088"), "1")
        .unwrap();
    let mass = ledger.factor(&factor("mass", "5", "0.5"), "1").unwrap();
    let two = ledger
        .product(heading("two"), &[carbon, permanence])
        .unwrap();
    let three = ledger.product(heading("three"), &[two, mass]).unwrap();
    let relative =
        |node| 100.0 * ledger.uncertainty(node).standard_error / to_statistic(ledger.value(node));
    close(relative(two), 43.4, 0.05);
    close(relative(three), 44.6, 0.05);
}

/// IPCC 2006 Vol 1 Ch 3, Eq. 3.2 (MEMORY): 100 within 10 %, 50 within 20 % and 10 within 50 %
/// add up to 160 within 9.375 % (COMPUTED).
#[test]
fn the_sum_rule_of_the_ipcc() {
    let mut ledger = ledger();
    let terms: Vec<Term> = [("a", "100", "10"), ("b", "50", "10"), ("c", "10", "5")]
        .into_iter()
        .map(|(code, value, half)| factor(code, value, half))
        .map(|factor| Term(Sign::Plus, ledger.factor(&factor, "1").unwrap()))
        .collect();
    let sum = ledger.sum(heading("sum"), &terms).unwrap();
    assert_eq!(ledger.value(sum), decimal("160"));
    close(
        100.0 * ledger.uncertainty(sum).standard_error / 160.0,
        9.375,
        1e-9,
    );
}

/// Akagi et al. 2011 open cooking, BC 0.83 and OC 2.89 g/kg (MEMORY), GWP100 900 and -46
/// (Bond et al. 2013, 2011; MEMORY): 614.1 g CO2e/kg (COMPUTED); GWP20 3200/-160: 2193.6.
#[test]
fn black_and_organic_carbon_of_open_cooking_as_co2e() {
    for (bc, oc, expected) in [("900", "-46", "614.1"), ("3200", "-160", "2193.6")] {
        let mut ledger = ledger();
        let mut term = |species: &str, mass: &str, potential: &str| {
            let mass_head = Heading::new(species, species, "mass", "g/kg dry fuel");
            let mass = ledger.constant(mass_head, decimal(mass)).unwrap();
            let head = Heading::new(format!("{species}/gwp"), "gwp", "gwp", "g CO2e/g");
            let potential = ledger.constant(head, decimal(potential)).unwrap();
            let head = Heading::new(
                format!("{species}/co2e"),
                "co2e",
                "co2e",
                "g CO2e/kg dry fuel",
            );
            ledger.product(head, &[mass, potential]).unwrap()
        };
        let terms = [term("bc", "0.83", bc), term("oc", "2.89", oc)];
        let head = Heading::new("co2e", "co2e", "co2e", "g CO2e/kg dry fuel");
        let sum = ledger
            .sum(head, &terms.map(|node| Term(Sign::Plus, node)))
            .unwrap();
        assert_eq!(ledger.value(sum).round_dp(1), decimal(expected));
    }
}

/// One factor on both sides of a difference is one input, so most of its doubt cancels:
/// `a x - b x` with x = 2 +- 0.5 has `(a - b) * 0.5`, not `sqrt(a^2 + b^2) * 0.5`.
#[test]
fn a_shared_factor_is_one_input() {
    let mut ledger = ledger();
    let shared = factor("x", "2", "0.5");
    let (a, b) = ("10", "9");
    let mut side = |id: &str, value: &str| {
        let x = ledger.factor(&shared, "1").unwrap();
        let amount = ledger
            .constant(heading(&format!("{id}/amount")), decimal(value))
            .unwrap();
        ledger.product(heading(id), &[amount, x]).unwrap()
    };
    let (before, after) = (side("before", a), side("after", b));
    let saved = ledger.difference(heading("saved"), before, after).unwrap();
    close(ledger.uncertainty(saved).standard_error, 0.5, 1e-12);
    let trace = ledger.close().unwrap();
    assert_eq!(
        trace
            .nodes
            .iter()
            .filter(|node| node.id.starts_with("factor/"))
            .count(),
        1
    );
}

fn two_fuels(covariance: f64) -> (Ledger, NodeRef) {
    let mut ledger = ledger();
    let estimate = |id: &str, value: &str| Estimate {
        heading: heading(id),
        value: decimal(value),
        at: BTreeMap::new(),
    };
    let nodes = ledger
        .survey(Survey {
            name: "kitchens".into(),
            role: EvidenceRole::BaselineKitchens,
            units: 11,
            degrees_of_freedom: 10.0,
            family: Family::StudentT,
            estimates: vec![estimate("wood", "3"), estimate("husk", "2")],
            covariance: vec![vec![0.04, covariance], vec![covariance, 0.09]],
        })
        .unwrap();
    let terms: Vec<Term> = nodes.iter().map(|node| Term(Sign::Plus, *node)).collect();
    let sum = ledger.sum(heading("sum"), &terms).unwrap();
    (ledger, sum)
}

/// Variance of a sum, any textbook: `v1 + v2 + 2 c`; 2.228 is t for 10 degrees at 95 %.
#[test]
fn fuels_of_one_kitchen_vary_together() {
    let (ledger, sum) = two_fuels(-0.05);
    close(
        ledger.uncertainty(sum).standard_error,
        0.03f64.sqrt(),
        1e-12,
    );
    close(ledger.uncertainty(sum).degrees_of_freedom, 10.0, 1e-9);
    let (lower, upper) = ledger.interval(sum).unwrap();
    let half = 1.812 * 0.03f64.sqrt(); // t for 10 degrees, 90 % two-sided, printed table
    close(to_statistic(lower), 5.0 - half, 1e-4);
    close(to_statistic(upper), 5.0 + half, 1e-4);
}

#[test]
fn shares_of_variance_are_ranked_and_add_up_to_one() {
    let (mut ledger, sum) = two_fuels(0.0);
    let carbon = ledger.factor(&factor("carbon", "4", "0.2"), "1").unwrap();
    let product = ledger.product(heading("product"), &[sum, carbon]).unwrap();
    // Kitchens 16 * 0.13 = 2.08, factor 25 * 0.04 = 1: shares 0.6753 and 0.3247.
    let shares = ledger.shares(product, 8);
    let short: Vec<_> = shares.iter().map(|s| (s.nodes.len(), s.share)).collect();
    assert_eq!(short, [(2, decimal("0.6753")), (1, decimal("0.3247"))]);
    assert!(ledger.shares(sum, 0).is_empty());
}

/// `(x - y / z) * x * (y + 3) / (x z)` at a point moved along `step`.
fn tangle(ledger: &mut Ledger, point: [&str; 3], step: [&str; 3]) -> NodeRef {
    let mut inputs = Vec::new();
    for (place, name) in ["x", "y", "z"].iter().enumerate() {
        let value = decimal(point[place]) + decimal(step[place]);
        inputs.push(
            ledger
                .factor(&factor(name, &value.to_string(), "1"), "1")
                .unwrap(),
        );
    }
    let [x, y, z] = [inputs[0], inputs[1], inputs[2]];
    let three = ledger.constant(heading("three"), decimal("3")).unwrap();
    let ratio = ledger.quotient(heading("y/z"), y, z).unwrap();
    let apart = ledger.difference(heading("x-y/z"), x, ratio).unwrap();
    let plus = [Term(Sign::Plus, y), Term(Sign::Plus, three)];
    let more = ledger.sum(heading("y+3"), &plus).unwrap();
    let above = ledger.product(heading("above"), &[apart, x, more]).unwrap();
    let below = ledger.product(heading("below"), &[x, z]).unwrap();
    ledger.quotient(heading("tangle"), above, below).unwrap()
}

#[test]
fn slopes_agree_with_finite_differences() {
    let points = [
        ["2", "5", "0.7"],
        ["-1.5", "0.25", "4"],
        ["0.003", "11", "-2"],
    ];
    for point in points {
        let mut ledger = ledger();
        let node = tangle(&mut ledger, point, ["0", "0", "0"]);
        let slopes = ledger.slopes(node);
        for (place, name) in ["x", "y", "z"].iter().enumerate() {
            let moved = |by: &str| {
                let mut step = ["0", "0", "0"];
                step[place] = by;
                let mut ledger = Ledger::new(0.90).unwrap();
                let node = tangle(&mut ledger, point, step);
                ledger.value(node)
            };
            let difference = (moved("0.000001") - moved("-0.000001")) / decimal("0.000002");
            let slope = slopes[format!("factor/{name}@1").as_str()];
            close(slope, to_statistic(difference), 1e-8 * (1.0 + slope.abs()));
        }
    }
}

#[test]
fn a_calorific_value_as_received_cannot_meet_dry_fuel() {
    let mut ledger = ledger();
    let dry = Heading::new("dry", "dry", "dry", "kg dry fuel");
    let dry = ledger.constant(dry, decimal("1")).unwrap();
    let received = Heading::new("ncv", "ncv", "ncv", "MJ/kg as received");
    let received = ledger.constant(received, decimal("15.6")).unwrap();
    let heat = Heading::new("heat", "heat", "heat", "MJ");
    let refused = ledger.product(heat, &[dry, received]).unwrap_err();
    assert!(matches!(refused, LedgerError::Unit { .. }), "{refused}");
}

#[test]
fn sums_over_different_units_are_refused() {
    let mut ledger = ledger();
    let kg = ledger
        .constant(Heading::new("kg", "", "", "kg"), decimal("1"))
        .unwrap();
    let t = ledger
        .constant(Heading::new("t", "", "", "t"), decimal("1"))
        .unwrap();
    assert!(
        ledger
            .difference(Heading::new("sum", "", "", "kg"), kg, t)
            .is_err()
    );
}

#[test]
fn a_name_cannot_stand_for_two_values() {
    let mut ledger = ledger();
    ledger.constant(heading("one"), decimal("1")).unwrap();
    assert!(ledger.constant(heading("one"), decimal("1")).is_ok());
    assert!(ledger.constant(heading("one"), decimal("2")).is_err());
}

#[test]
fn overflow_and_division_by_zero_are_said_and_do_not_panic() {
    let mut ledger = ledger();
    let huge = ledger.constant(heading("huge"), Decimal::MAX).unwrap();
    let zero = ledger.constant(heading("zero"), Decimal::ZERO).unwrap();
    assert!(ledger.product(heading("p"), &[huge, huge]).is_err());
    let both = [Term(Sign::Plus, huge), Term(Sign::Plus, huge)];
    assert!(ledger.sum(heading("s"), &both).is_err());
    let divided = ledger.quotient(heading("q"), huge, zero);
    assert_eq!(
        divided.unwrap_err(),
        LedgerError::DivisionByZero { id: "q".into() }
    );
}

#[test]
fn a_bound_takes_over_value_and_doubt() {
    let (mut ledger, sum) = two_fuels(0.0);
    let mut constant =
        |id: &str, value: &str| ledger.constant(heading(id), decimal(value)).unwrap();
    let (low, mid, high) = (
        constant("low", "1"),
        constant("mid", "4"),
        constant("high", "9"),
    );
    let inside = ledger.bounded(heading("inside"), sum, low, high).unwrap();
    assert_eq!(ledger.value(inside), decimal("5"));
    assert!(ledger.uncertainty(inside).standard_error > 0.3);
    let cut = ledger.bounded(heading("cut"), sum, low, mid).unwrap();
    assert_eq!(ledger.value(cut), decimal("4"));
    assert!(ledger.uncertainty(cut).standard_error.abs() < 1e-15);
}
