//! Where the line ends, what the laboratory cannot have found, and whose residual is whose.

use super::*;
use crate::accounting::methodology::Permanence;

#[test]
fn hydrogen_rich_char_counts_zero_by_every_rule() {
    let by_factor = {
        let mut inputs = example();
        inputs.methodology.char_rule.permanence = Permanence::Factor(id("permanence"));
        inputs
    };
    for mut inputs in [by_line("1.044", "-0.636"), by_factor] {
        inputs.char_lab = vec![at_ratio("s1", "0.65"), at_ratio("s2", "0.76")];
        let statement = stated(&inputs);
        assert_eq!(figure(&statement, "removals_co2"), Decimal::ZERO);
        assert_eq!(error(&statement, "char/removals"), 0.0);
        let sentence = note(&statement, "char-hydrogen-rich");
        assert!(sentence.contains("H/C_org of 0.705,"), "{sentence}");
        assert_eq!(
            figure(&statement, "char_to_soil_dry"),
            decimal("10000"),
            "the char is still shown"
        );
        inputs.char_lab[0].hydrogen -= decimal("0.001");
        let statement = stated(&inputs);
        assert!(figure(&statement, "removals_co2") > decimal("15"));
    }
}

#[test]
fn samples_that_the_mean_hides_are_named() {
    let mut inputs = by_line("1.044", "-0.636");
    inputs.char_lab = vec![
        at_ratio("s1", "0.3"),
        at_ratio("s2", "0.71"),
        at_ratio("s3", "0.7"),
    ];
    let statement = stated(&inputs);
    let sentence = note(&statement, "char-hydrogen-rich-samples");
    assert!(sentence.starts_with("2 of 3 samples"), "{sentence}");
    assert!(sentence.contains("(s2, s3)"), "{sentence}");
    assert!(figure(&statement, "removals_co2") > Decimal::ZERO);
}

/// 1.044 - 0.636 * 0.1 = 0.9804, however little hydrogen there is.
#[test]
fn the_line_is_not_read_below_its_data() {
    let mut inputs = by_line("1.044", "-0.636");
    inputs.char_lab = vec![at_ratio("s1", "0.02"), at_ratio("s2", "0.06")];
    let statement = stated(&inputs);
    assert_eq!(
        node(&statement, "char_permanence/coconut_husk"),
        decimal("0.9804")
    );
    assert_eq!(codes(&statement), ["char-below-permanence-line"]);
}

/// The line of a cold soil, Woolf et al. 2021 at 5 C: 1.126 - 0.461 * 0.15 = 1.05685, so all of
/// it stays; but one material may still lie away from the line.
#[test]
fn a_line_above_one_leaves_the_doubt_of_the_material() {
    let mut inputs = by_line("1.126", "-0.461");
    spread(&mut inputs, "line-residual", "0.1");
    inputs.char_lab = vec![at_ratio("s1", "0.14"), at_ratio("s2", "0.16")];
    let statement = stated(&inputs);
    assert_eq!(
        node(&statement, "char_permanence/coconut_husk"),
        Decimal::ONE
    );
    close(
        error(&statement, "char_permanence/coconut_husk"),
        0.1,
        1e-12,
    );
}

#[test]
fn a_line_below_zero_stores_nothing() {
    let mut inputs = by_line("0.196", "-0.5");
    inputs.char_lab = vec![at_ratio("s1", "0.5"), at_ratio("s2", "0.6")];
    let statement = stated(&inputs);
    assert_eq!(node(&statement, "char/removals"), Decimal::ZERO);
}

/// Two feedstocks are two materials, each with its own residual of 0.2; two lots of one
/// feedstock are one. 5 t of each at C_org 0.8: k = 5 * 0.8 * 44/12 = 14.6667; apart
/// k * sqrt(0.04 + 0.04) = 4.148 t, as one material k * 0.4 = 5.867 t.
#[test]
fn each_feedstock_lies_its_own_way_from_the_line() {
    let mut inputs = by_line("1.044", "-0.636");
    spread(&mut inputs, "line-residual", "0.2");
    let fates = &mut inputs.methodology.char_rule.durable_fates;
    fates.push("concrete".into());
    set(&mut inputs, "fnrb-wood", "0");
    let both = |feedstock: &str| {
        ["s1", "s2"].map(|code| {
            let mut sample = at_ratio(&format!("{feedstock}-{code}"), "0.4");
            sample.feedstock = feedstock.into();
            sample
        })
    };
    inputs.char_lab = [both("coconut_husk"), both("wood")].concat();
    let lots = [("wood", "soil", 4.148), ("coconut_husk", "concrete", 5.867)];
    for (feedstock, fate, expected) in lots {
        inputs.char_lots = vec![
            lot("coconut_husk", "soil", "5000"),
            lot(feedstock, fate, "5000"),
        ];
        let statement = stated(&inputs);
        close(error(&statement, "char/removals"), expected, 0.001);
    }
}

#[test]
fn impossible_laboratory_figures_are_a_gap_in_words() {
    let mut inputs = by_line("1.044", "-0.636");
    inputs.char_lab = vec![sample("s1", "0.8", "0.02"), sample("s2", "80", "2")];
    let says = ["sample s2", "coconut_husk", "is it a percentage?"];
    one_gap(&inputs, "char-lab-implausible", &says);
    // Nothing of this feedstock counts, so nobody asks what it is made of.
    inputs.char_lots.retain(|lot| lot.fate != "soil");
    assert!(state(&inputs).is_ok());
}

#[test]
fn a_line_of_other_factors_is_refused() {
    let two = || vec![at_ratio("s1", "0.4"), at_ratio("s2", "0.4")];
    let mut inputs = by_line("1.044", "0.636");
    inputs.char_lab = two();
    one_gap(&inputs, "factor-out-of-range", &["line-slope@1", "0.636"]);
    let mut inputs = by_line("1.044", "-0.636");
    inputs.char_lab = two();
    set(&mut inputs, "line-residual", "0.1");
    one_gap(&inputs, "factor-out-of-range", &["line-residual@1", "0.1"]);
    let mut inputs = by_line("1.044", "-0.636");
    inputs.char_lab = two();
    if let Permanence::HydrogenToCarbon(rule) = &mut inputs.methodology.char_rule.permanence {
        rule.residual = id("permanence");
    }
    let code = "factor-of-other-quantity";
    one_gap(&inputs, code, &["permanence@1", "spread of materials"]);
}

#[test]
fn char_without_a_char_making_stove_is_not_claimed() {
    let mut inputs = example();
    for kitchen in &mut inputs.project_kitchens {
        let burnt = std::mem::take(&mut kitchen.dry_kg);
        let renamed = burnt.into_iter().map(|(mut burn, kg)| {
            burn.device = burn.device.replace("gasifier", "drum_stove");
            (burn, kg)
        });
        kitchen.dry_kg = renamed.collect();
    }
    for factor in &mut inputs.factors {
        if factor.device.as_deref() == Some("gasifier") {
            factor.device = Some("drum_stove".into());
        }
    }
    let statement = stated(&inputs);
    assert_eq!(statement.claims.removals.tonnes.tonnes(), 0);
    let sentence = note(&statement, "char-above-yield");
    assert!(sentence.contains("names a gasifier"), "{sentence}");
}

#[test]
fn a_statement_about_char_carries_the_cautions_about_char() {
    let mut inputs = example();
    let carries = |inputs: &StatementInputs| {
        let cautions = stated(inputs).cautions;
        cautions.iter().any(|text| text.contains("rekindles"))
    };
    assert!(carries(&inputs));
    inputs.char_lots.clear();
    assert!(!carries(&inputs));
}
