//! Removals of each branch, worked by hand: 10 000 kg of coconut husk char, all of it renewable.

use super::*;
use crate::accounting::inputs::EvidenceRole;
use crate::accounting::statement::tests::replay::nodes_that_follow;
use crate::accounting::trace::Source;

fn three_samples() -> Vec<CharLabTest> {
    vec![
        sample("s1", "0.78", "0.020"),
        sample("s2", "0.80", "0.024"),
        sample("s3", "0.85", "0.022"),
    ]
}

/// C_org means 0.81; H/C_org is 0.3055301, 0.3574702 and 0.3084057, mean 0.3238020. Permanence
/// 1.044 - 0.636 * 0.3238020 = 0.8380619. Removals 10 * 0.81 * 0.8380619 * 44/12 = 24.890439 t.
///
/// Covariance of the means: 4.333333e-4 and 2.840764e-4, between them -6.739635e-5. Slopes
/// 10 * 44/12 times 0.8380619 and -0.636 * 0.81: standard error 0.7673209 t; without what the
/// two share it would be 0.7145. Student's t for 2 degrees at 90 % is 2.919986 in closed form,
/// so 2.2405659 t to each side (all COMPUTED outside this program).
#[test]
fn laboratory_carbon_and_the_line() {
    let mut inputs = by_line("1.044", "-0.636");
    inputs.char_lab = three_samples();
    let statement = stated(&inputs);
    let removals = statement.trace.node("char/removals").unwrap();
    assert_eq!(removals.value, decimal("24.890439"));
    close(error(&statement, "char/removals"), 0.7673209, 1e-6);
    assert_eq!(removals.degrees_of_freedom, Some(decimal("2")));
    let half = (removals.value - removals.lower).to_f64().unwrap();
    close(half, 2.2405659, 1e-5);
    assert!(codes(&statement).is_empty(), "{:?}", statement.notes);
    // Against the example: the change, the line, three bounds and the material in place of none.
    let plain = nodes_that_follow(&stated(&example()).trace);
    assert_eq!(nodes_that_follow(&statement.trace), plain + 6);
    let carbon = statement.trace.node("char_lab/coconut_husk/organic_carbon");
    let carbon = carbon.unwrap();
    assert_eq!(carbon.value, decimal("0.81"));
    match &carbon.source {
        Source::Evidence { role, at, units } => {
            assert_eq!((*role, *units), (EvidenceRole::CharLab, 3));
            assert_eq!(at["feedstock"], "coconut_husk");
        }
        other => panic!("{other:?}"),
    }
}

/// 10 * 0.81 * 0.80 * 44/12 = 23.76 t; standard error 10 * 0.80 * 44/12 * sqrt(4.333333e-4).
#[test]
fn laboratory_carbon_and_a_cited_permanence() {
    let mut inputs = example();
    inputs.methodology.char_rule.carbon = CharCarbon::LaboratoryElseCited;
    without(&mut inputs, "carbon-shell-char");
    inputs.char_lab = three_samples();
    let statement = stated(&inputs);
    assert_eq!(node(&statement, "char/removals"), decimal("23.76"));
    close(error(&statement, "char/removals"), 0.6106220, 1e-6);
}

/// The cited 0.75 stays: 10 * 0.75 * 0.8380619 * 44/12 = 23.046703 t.
#[test]
fn cited_carbon_and_the_line() {
    let mut inputs = by_line("1.044", "-0.636");
    inputs.methodology.char_rule.carbon = CharCarbon::Cited;
    inputs.char_lab = three_samples();
    let statement = stated(&inputs);
    assert_eq!(node(&statement, "char/removals"), decimal("23.046703"));
}

/// One sample: 10 * 0.80 * (1.044 - 0.636 * 0.4) * 44/12 = 23.161600 t, with the 0.09 of the
/// cited default as the standard deviation of its carbon: 10 * 0.7896 * 44/12 * 0.09 = 2.60568 t.
#[test]
fn a_single_sample_borrows_the_spread_of_the_default() {
    let mut inputs = by_line("1.044", "-0.636");
    spread(&mut inputs, "carbon-shell-char", "0.09");
    inputs.char_lab = vec![at_ratio("s1", "0.4")];
    let statement = stated(&inputs);
    assert_eq!(node(&statement, "char/removals"), decimal("23.1616"));
    close(error(&statement, "char/removals"), 2.60568, 1e-6);
    assert!(note(&statement, "char-lab-one-sample").contains("s1"));
    without(&mut inputs, "carbon-shell-char");
    one_gap(&inputs, "factor-missing", &["carbon fraction of char"]);
}

/// No result: the cited 0.75 and the cited 0.80, 22 t; the other feedstock's result is no help.
#[test]
fn unmeasured_char_falls_back_to_the_cited_values() {
    let mut inputs = by_line("1.044", "-0.636");
    let mut other = sample("s1", "0.9", "0.01");
    other.feedstock = "wood".into();
    inputs.char_lab = vec![other];
    let statement = stated(&inputs);
    assert_eq!(node(&statement, "char/removals"), decimal("22"));
    assert_eq!(
        codes(&statement),
        ["char-carbon-unmeasured", "char-permanence-unmeasured"]
    );
    assert!(note(&statement, "char-permanence-unmeasured").contains("permanence@1"));
}

/// Two results for s1, C_org 0.78 and 0.82, are one sample of 0.80: with the 0.84 of s2 the mean
/// is 0.82 on one degree of freedom, not 0.8133 on two.
#[test]
fn a_sample_analysed_twice_is_one_sample() {
    let mut inputs = by_line("1.044", "-0.636");
    let mut again = sample("s1", "0.82", "0.020");
    again.laboratory = "another".into();
    inputs.char_lab = vec![
        sample("s1", "0.78", "0.020"),
        again,
        sample("s2", "0.84", "0.020"),
    ];
    let statement = stated(&inputs);
    let carbon = statement.trace.node("char_lab/coconut_husk/organic_carbon");
    let carbon = carbon.unwrap();
    assert_eq!(carbon.value, decimal("0.82"));
    assert_eq!(carbon.degrees_of_freedom, Some(decimal("1")));
}

/// Half of the wood does not grow back: 10 * 0.77 * 0.80 * 0.5 * 44/12 = 11.293333 t.
#[test]
fn only_the_renewable_share_counts_and_the_statement_says_so() {
    let mut inputs = example();
    inputs.char_lots = vec![lot("wood", "soil", "10000")];
    let statement = stated(&inputs);
    assert_eq!(node(&statement, "char/removals"), decimal("11.293333"));
    let sentence = note(&statement, "char-renewable-share-only");
    assert!(sentence.contains("50 %") && sentence.contains("fnrb-wood@1"));
}

/// Every fate but the soil counts zero and is shown with its mass.
#[test]
fn fates_that_do_not_last_are_shown_and_count_zero() {
    let mut inputs = example();
    let fates = ["burnt", "sold_as_fuel", "discarded", "unknown"];
    inputs.char_lots = fates.map(|fate| lot("coconut_husk", fate, "100")).into();
    let statement = stated(&inputs);
    assert_eq!(node(&statement, "char/removals"), Decimal::ZERO);
    assert_eq!(figure(&statement, "char_weighed_dry"), decimal("400"));
    for fate in fates {
        let stored = format!("char/coconut_husk/{fate}/stored");
        assert_eq!(node(&statement, &stored), Decimal::ZERO);
        let dry = format!("char/coconut_husk/{fate}/dry");
        let dry = statement.trace.node(&dry).unwrap();
        assert_eq!(dry.value, decimal("100"));
        assert!(dry.label.contains("none sampled"), "{}", dry.label);
        assert!(dry.standard_error.is_zero());
        inputs.methodology.char_rule.durable_fates = vec!["soil".into(), fate.into()];
        one_gap(&inputs, "fate-not-durable", &[fate]);
    }
}
