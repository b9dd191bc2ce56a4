//! What is missing is said in words; what is doubtful is noted.

use super::example::*;
use crate::accounting::claim::Basis;
use crate::accounting::factor::Quantity::*;
use crate::accounting::inputs::StatementInputs;
use crate::accounting::methodology::CharPlace;
use crate::accounting::statement::{Statement, state};

fn gaps(inputs: &StatementInputs) -> Vec<String> {
    let gaps = state(inputs).unwrap_err();
    gaps.into_iter()
        .map(|gap| format!("{}: {}", gap.code, gap.sentence))
        .collect()
}

fn one_gap(inputs: &StatementInputs, code: &str, says: &[&str]) {
    let found = gaps(inputs);
    assert_eq!(found.len(), 1, "{found:?}");
    assert!(found[0].starts_with(&format!("{code}: ")), "{}", found[0]);
    for word in says {
        assert!(found[0].contains(word), "{word:?} is not in {}", found[0]);
    }
}

/// Codes of the notes, without the one on intensity of use that every statement has.
fn notes(statement: &Statement) -> Vec<&str> {
    statement
        .notes
        .iter()
        .map(|note| note.code.as_str())
        .filter(|code| *code != "intensity-of-use")
        .collect()
}

#[test]
fn an_age_band_without_answers_counts_as_not_in_use() {
    let mut inputs = example();
    inputs.usage.pop();
    let statement = stated(&inputs);
    assert_eq!(
        figure(&statement, "household_days_in_use"),
        decimal("80000")
    );
    assert_eq!(notes(&statement), ["no-usage-answers"]);
}

#[test]
fn few_answers_are_noted() {
    let mut inputs = example();
    inputs.usage[1].in_use = 9;
    assert_eq!(notes(&stated(&inputs)), ["few-usage-answers"]);
}

#[test]
fn open_flags_on_the_rows_are_counted_and_change_no_figure() {
    let mut inputs = example();
    let plain = stated(&inputs);
    inputs.open_flags = [("near_twins", 2), ("beyond_limits", 1)]
        .map(|(screen, flags)| (screen.to_owned(), flags))
        .into();
    let flagged = stated(&inputs);
    assert_eq!(notes(&flagged), ["open-flags"]);
    let note = flagged.notes.iter().find(|note| note.code == "open-flags");
    let sentence = &note.unwrap().sentence;
    assert!(sentence.contains("3 of them had not been answered: beyond_limits 1, near_twins 2."));
    assert_eq!(flagged.figures, plain.figures);
    assert_eq!(flagged.trace, plain.trace);
}

#[test]
fn one_kitchen_has_no_spread() {
    let mut inputs = example();
    inputs.project_kitchens.pop();
    one_gap(&inputs, "too-few-kitchens", &["project", "1 kitchens"]);
}

#[test]
fn a_missing_factor_is_named_by_its_need() {
    let mut inputs = example();
    without(&mut inputs, "pm-gasifier");
    one_gap(
        &inputs,
        "factor-missing",
        &["emission factor", "PM2.5", "gasifier", "wood"],
    );
}

#[test]
fn several_gaps_are_named_at_once() {
    let mut inputs = example();
    without(&mut inputs, "ncv-wood");
    without(&mut inputs, "carbon-shell-char");
    without(&mut inputs, "gwp-n2o");
    without(&mut inputs, "pm-gasifier");
    let found = gaps(&inputs);
    for word in [
        "net calorific",
        "carbon fraction",
        "species N2O",
        "species PM2.5",
    ] {
        assert!(
            found.iter().any(|gap| gap.contains(word)),
            "{word} is not in {found:?}"
        );
    }
}

#[test]
fn two_equally_close_factors_are_refused() {
    let mut inputs = example();
    let second = factor("ncv-wood-too", NetCalorificValue, "18", "MJ/kg dry fuel");
    add(&mut inputs, for_fuel("wood", second));
    let found = gaps(&inputs);
    assert_eq!(found.len(), 2, "{found:?}");
    for (gap, device) in found.iter().zip(["three_stone_fire", "gasifier"]) {
        for word in [
            "factor-ambiguous",
            "net calorific",
            "ncv-wood@1, ncv-wood-too@1",
            device,
        ] {
            assert!(gap.contains(word), "{word} is not in {gap}");
        }
    }
}

#[test]
fn the_closest_factor_wins() {
    let mut inputs = example();
    let co2 = |code: &str, value: &str| of("CO2", factor(code, EmissionFactor, value, "kg/TJ"));
    add(&mut inputs, co2("co2-any", "1"));
    add(&mut inputs, in_device("gasifier", co2("co2-device", "2")));
    assert_eq!(figure(&stated(&inputs), "co2_avoided"), decimal("220"));
    let both = in_device("gasifier", for_fuel("wood", co2("co2-both", "0")));
    add(&mut inputs, both);
    // The gasifier's 2 kg no longer emit: 0.5 kg of fire against 5 kg, 4.5 * 0.8 kg per day.
    assert_eq!(figure(&stated(&inputs), "co2_avoided"), decimal("396"));
}

#[test]
fn a_calorific_value_as_received_is_refused() {
    let mut inputs = example();
    for factor in inputs
        .factors
        .iter_mut()
        .filter(|factor| factor.code == "ncv-wood")
    {
        factor.unit = "MJ/kg as received".into();
    }
    one_gap(
        &inputs,
        "unit-unusable",
        &["ncv-wood@1", "as received", "MJ/kg dry fuel"],
    );
}

#[test]
fn a_warming_potential_of_another_set_is_refused() {
    let mut inputs = example();
    for factor in inputs
        .factors
        .iter_mut()
        .filter(|factor| factor.code == "gwp-ch4")
    {
        factor.gwp_set = Some("AR6 GWP100".into());
    }
    one_gap(&inputs, "gwp-of-other-set", &["AR5 GWP100", "gwp-ch4@1"]);
    inputs.methodology.gwp_set = "AR6 GWP100".into();
    one_gap(&inputs, "gwp-of-other-set", &["AR6 GWP100", "gwp-n2o@1"]);
}

#[test]
fn impossible_values_are_refused() {
    let mut inputs = example();
    set(&mut inputs, "fnrb-wood", "1.5");
    one_gap(&inputs, "factor-out-of-range", &["fnrb-wood@1", "0 to 1"]);
    let mut inputs = example();
    inputs.methodology.claim.confidence = decimal("90");
    one_gap(&inputs, "confidence-unusable", &["90"]);
    let mut inputs = example();
    inputs.methodology.fuels.remove(0);
    one_gap_of_each_arm(&inputs);
}

fn one_gap_of_each_arm(inputs: &StatementInputs) {
    let found = gaps(inputs);
    assert!(
        found
            .iter()
            .all(|gap| gap.starts_with("fuel-without-rule: ")),
        "{found:?}"
    );
    assert!(
        ["baseline", "project"]
            .iter()
            .all(|arm| found.iter().any(|gap| gap.contains(arm)))
    );
}

#[test]
fn an_unknown_black_carbon_share_widens_and_is_never_taken_as_equal() {
    let mut inputs = example();
    without(&mut inputs, "bc-share-gasifier");
    // A share for any device must not be taken for the gasifier's.
    add(
        &mut inputs,
        factor("bc-share-any", BlackCarbonShare, "0.10", "fraction"),
    );
    let statement = stated(&inputs);
    assert_eq!(notes(&statement), ["black-carbon-share-unknown"]);
    assert!(statement.notes[1].sentence.contains("gasifier"));
    let assumed = statement
        .trace
        .node("assumed/black_carbon_share/project/gasifier")
        .unwrap();
    assert_eq!(assumed.value, decimal("0.26"));
    // Uniform 0.02 to 0.5: 0.48 / sqrt(12) = 0.138564.
    assert_eq!(assumed.standard_error.round_dp(6), decimal("0.138564"));
    without(&mut inputs, "bc-share-fire");
    let statement = stated(&inputs);
    let fires = ["baseline", "project"]
        .map(|arm| format!("assumed/black_carbon_share/{arm}/three_stone_fire"));
    assert!(fires.iter().all(|id| statement.trace.node(id).is_some()));
}

#[test]
fn a_measured_black_carbon_factor_comes_first() {
    let mut inputs = example();
    let measured = factor("bc-gasifier", EmissionFactor, "0.1", "g/kg dry fuel");
    add(&mut inputs, of("BC", in_device("gasifier", measured)));
    // 2 * 0.1 + 3 * 0.1 = 0.5 g per day over 110 000 days.
    assert_eq!(figure(&stated(&inputs), "bc_project"), decimal("55"));
}

#[test]
fn char_counted_in_two_places_is_refused_naming_both() {
    let mut inputs = example();
    for factor in inputs
        .factors
        .iter_mut()
        .filter(|factor| factor.code == "co2-wood")
    {
        factor.char_treatment = Some(CharPlace::CarbonBalance);
    }
    let says = ["factor/co2-wood@1", "char/coconut_husk/soil/stored"];
    one_gap(&inputs, "char-counted-twice", &says);
    inputs.char_lots.retain(|lot| lot.fate != "soil");
    assert!(state(&inputs).is_ok());
}

#[test]
fn char_energy_credited_in_an_efficiency_is_refused_too() {
    let mut inputs = example();
    let mut efficiency = factor("efficiency", ThermalEfficiency, "0.35", "fraction");
    efficiency.char_treatment = Some(CharPlace::EnergyCredit);
    add(&mut inputs, efficiency);
    one_gap(
        &inputs,
        "char-counted-twice",
        &["factor/efficiency@1", "char/coconut_husk/soil"],
    );
    inputs.methodology.char_rule.counted_in = CharPlace::EnergyCredit;
    let statement = stated(&inputs);
    assert_eq!(figure(&statement, "removals_co2"), decimal("0"));
    assert_eq!(statement.claims.removals.basis, Basis::Refused);
    assert_eq!(notes(&statement), ["char-not-counted-in-soil"]);
}

#[test]
fn char_beyond_what_the_fuel_can_give_is_shown_but_not_claimed() {
    let mut inputs = example();
    inputs.char_lots = vec![lot("coconut_husk", "soil", "66001")];
    let statement = stated(&inputs);
    assert!(figure(&statement, "removals_co2") > decimal("145"));
    let claim = &statement.claims.removals;
    assert_eq!((claim.tonnes.tonnes(), claim.basis), (0, Basis::Refused));
    assert!(claim.rule.contains("66000"), "{}", claim.rule);
    inputs.char_lots = vec![lot("coconut_husk", "soil", "66000")];
    assert_eq!(stated(&inputs).claims.removals.tonnes.tonnes(), 145);
}

#[test]
fn weighings_over_the_bound_are_shown_and_left_out() {
    let mut inputs = example();
    inputs.char_lots[1].over_bound_weighings = 2;
    inputs.char_lots[1].over_bound_dry_kg = decimal("1000");
    let statement = stated(&inputs);
    assert_eq!(figure(&statement, "char_weighed_dry"), decimal("10500"));
    assert_eq!(figure(&statement, "char_to_soil_dry"), decimal("9000"));
    assert_eq!(figure(&statement, "removals_co2"), decimal("19.8"));
    assert_eq!(notes(&statement), ["char-over-bound"]);
}

#[test]
fn numbers_too_large_are_a_gap_and_no_panic() {
    let mut inputs = example();
    inputs.cohorts[0].stove_days = u64::MAX;
    let huge = rust_decimal::Decimal::MAX;
    for kitchen in &mut inputs.baseline_kitchens {
        kitchen.dry_kg.values_mut().for_each(|kg| *kg = huge);
    }
    assert!(
        gaps(&inputs)
            .iter()
            .any(|gap| gap.starts_with("number-too-large"))
    );
}
