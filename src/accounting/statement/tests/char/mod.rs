//! The char account: laboratory results, published lines, branches by hand, laws.

mod by_hand;
mod laws;
mod limits;
mod once;
mod published;

use super::example::*;
use crate::accounting::evidence::CharLabTest;
use crate::accounting::factor::{Quantity::*, Spread};
use crate::accounting::inputs::StatementInputs;
use crate::accounting::methodology::{CharCarbon, HydrogenToCarbonRule, Permanence};
use crate::accounting::statement::{Statement, state};
use rust_decimal::Decimal;
use rust_decimal::prelude::ToPrimitive;

/// One laboratory result for char of coconut husk, no inorganic carbon in it.
fn sample(code: &str, carbon: &str, hydrogen: &str) -> CharLabTest {
    CharLabTest {
        sample_code: code.into(),
        laboratory: "invented".into(),
        sampled_on: "2025-06-01".parse().unwrap(),
        feedstock: "coconut_husk".into(),
        carbon_total: decimal(carbon),
        carbon_inorganic: Decimal::ZERO,
        hydrogen: decimal(hydrogen),
        ash: None,
    }
}

/// 80 % organic carbon and the hydrogen of this ratio: `0.8 * ratio * 1.008 / 12.011`.
fn at_ratio(code: &str, ratio: &str) -> CharLabTest {
    let mut sample = sample(code, "0.8", "0");
    sample.hydrogen = decimal("0.8") * decimal(ratio) * decimal("1.008") / decimal("12.011");
    sample
}

/// The example under the laboratory's carbon and a line without spread of its own.
fn by_line(intercept: &str, slope: &str) -> StatementInputs {
    let mut inputs = example();
    inputs.methodology.char_rule.carbon = CharCarbon::LaboratoryElseCited;
    inputs.methodology.char_rule.permanence = Permanence::HydrogenToCarbon(HydrogenToCarbonRule {
        intercept: id("line-intercept"),
        slope: id("line-slope"),
        residual: id("line-residual"),
        unmeasured: id("permanence"),
    });
    for (code, quantity, value) in [
        ("line-intercept", PermanenceIntercept, intercept),
        ("line-slope", PermanenceSlope, slope),
        ("line-residual", PermanenceResidual, "0"),
    ] {
        add(&mut inputs, factor(code, quantity, value, "fraction"));
    }
    inputs
}

fn spread(inputs: &mut StatementInputs, code: &str, standard_deviation: &str) {
    let found = inputs.factors.iter_mut().find(|f| f.code == code).unwrap();
    found.spread = Spread::Normal {
        standard_deviation: decimal(standard_deviation),
    };
}

fn error(statement: &Statement, id: &str) -> f64 {
    let node = statement.trace.node(id).unwrap();
    node.standard_error.to_f64().unwrap()
}

fn close(found: f64, expected: f64, within: f64) {
    assert!(
        (found - expected).abs() <= within,
        "{found} is not {expected} within {within}"
    );
}

fn note(statement: &Statement, code: &str) -> String {
    let note = statement.notes.iter().find(|note| note.code == code);
    let note = note.unwrap_or_else(|| panic!("no note {code} in {:?}", statement.notes));
    note.sentence.clone()
}

fn codes(statement: &Statement) -> Vec<&str> {
    let codes = statement.notes.iter().map(|note| note.code.as_str());
    // Every statement says how use entered it.
    let codes = codes.filter(|code| *code != "intensity-of-use");
    codes.collect()
}

/// The only gap, which must have this code and say these words.
fn one_gap(inputs: &StatementInputs, code: &str, says: &[&str]) {
    let gaps = state(inputs).unwrap_err();
    assert_eq!(gaps.len(), 1, "{gaps:?}");
    assert_eq!(gaps[0].code, code, "{gaps:?}");
    for word in says {
        let sentence = &gaps[0].sentence;
        assert!(sentence.contains(word), "{word:?} is not in {sentence}");
    }
}
