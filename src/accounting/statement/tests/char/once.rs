//! One batch of char may use one place: every two of the three are refused, both nodes named.

use super::*;
use crate::accounting::claim::Basis;
use crate::accounting::methodology::FuelMethod;
use crate::accounting::methodology::{
    Ageing, BaselineFuel, CharPlace, CookingShare, DisplacementRule, EfficiencyRule,
    ProjectEfficiency,
};
use crate::accounting::statement::char::once::open_sink;
use crate::accounting::statement::draft::Draft;

const SINK: &str = "char/coconut_husk/soil/stored";
const BALANCE: &str = "factor/co2-wood@1";
const ENERGY: &str = "factor/efficiency@1";

fn by_balance(inputs: &mut StatementInputs) {
    let found = inputs.factors.iter_mut().find(|f| f.code == "co2-wood");
    found.unwrap().char_treatment = Some(CharPlace::CarbonBalance);
}

fn by_energy(inputs: &mut StatementInputs) {
    let mut efficiency = factor("efficiency", ThermalEfficiency, "0.35", "fraction");
    efficiency.char_treatment = Some(CharPlace::EnergyCredit);
    add(inputs, efficiency);
}

#[test]
fn every_two_places_are_refused_and_both_are_named() {
    let mut soil_and_balance = example();
    by_balance(&mut soil_and_balance);
    let mut soil_and_energy = example();
    by_energy(&mut soil_and_energy);
    let mut balance_and_energy = example();
    balance_and_energy.methodology.char_rule.counted_in = CharPlace::CarbonBalance;
    by_balance(&mut balance_and_energy);
    by_energy(&mut balance_and_energy);
    let twice = "char-counted-twice";
    one_gap(&soil_and_balance, twice, &[SINK, BALANCE]);
    one_gap(&soil_and_energy, twice, &[SINK, ENERGY]);
    one_gap(&balance_and_energy, twice, &[BALANCE, ENERGY]);
}

#[test]
fn all_three_at_once_give_a_sentence_for_each_pair() {
    let mut inputs = example();
    by_balance(&mut inputs);
    by_energy(&mut inputs);
    let gaps = state(&inputs).unwrap_err();
    assert_eq!(gaps.len(), 3, "{gaps:?}");
    for (one, other) in [(SINK, BALANCE), (SINK, ENERGY), (BALANCE, ENERGY)] {
        let named = |sentence: &String| sentence.contains(one) && sentence.contains(other);
        let pairs = gaps.iter().filter(|gap| named(&gap.sentence));
        assert_eq!(pairs.count(), 1, "{one} and {other} in {gaps:?}");
    }
}

fn displacement(project: ProjectEfficiency) -> DisplacementRule {
    DisplacementRule {
        baseline_fuel: BaselineFuel::KitchenTest,
        cooking_share: CookingShare::UsageSurvey,
        project_device: "gasifier".into(),
        project_fuel: "wood".into(),
        efficiency: Some(EfficiencyRule {
            baseline: id("other"),
            project,
            ageing: Ageing::MeasuredByAge,
        }),
    }
}

/// An efficiency that the displacement rule names is in use, listed or not.
#[test]
fn an_efficiency_named_by_the_displacement_rule_is_seen() {
    let mut inputs = example();
    by_energy(&mut inputs);
    inputs
        .methodology
        .factors
        .retain(|id| id.code != "efficiency");
    assert!(state(&inputs).is_ok());
    let cited = ProjectEfficiency::Cited(id("efficiency"));
    inputs.methodology.fuel_method = FuelMethod::ThermalEfficiency;
    inputs.methodology.displacement = Some(displacement(cited));
    let mut draft = Draft::open(&inputs).unwrap();
    assert!(open_sink(&mut draft, inputs.char_lots.last(), &[]).is_none());
    let [gap] = draft.gaps.as_slice() else {
        panic!("one gap, not {:?}", draft.gaps);
    };
    assert_eq!(gap.code, "char-counted-twice");
    for node in [SINK, ENERGY] {
        assert!(gap.sentence.contains(node), "{node} in {}", gap.sentence);
    }
}

#[test]
fn one_place_alone_is_stated_and_opens_no_other() {
    for (place, prepare) in [
        (
            CharPlace::CarbonBalance,
            by_balance as fn(&mut StatementInputs),
        ),
        (CharPlace::EnergyCredit, by_energy),
        (CharPlace::Nowhere, |_| ()),
    ] {
        let mut inputs = example();
        inputs.methodology.char_rule.counted_in = place;
        prepare(&mut inputs);
        let statement = stated(&inputs);
        assert_eq!(figure(&statement, "removals_co2"), Decimal::ZERO);
        let claim = &statement.claims.removals;
        assert_eq!((claim.tonnes.tonnes(), claim.basis), (0, Basis::Refused));
        assert_eq!(codes(&statement), ["char-not-counted-in-soil"]);
    }
}

/// Tests credit the char left over only where the methodology counts char as energy; then the
/// saving that rests on them takes the char, and no CO2 factor may.
#[test]
fn tests_that_credit_the_energy_of_char_take_it_too() {
    let methods = [
        (
            FuelMethod::CookingTest,
            ProjectEfficiency::Cited(id("other")),
            true,
        ),
        (
            FuelMethod::ThermalEfficiency,
            ProjectEfficiency::StoveTests,
            true,
        ),
        (
            FuelMethod::ThermalEfficiency,
            ProjectEfficiency::Cited(id("other")),
            false,
        ),
        (
            FuelMethod::KitchenTestPaired,
            ProjectEfficiency::StoveTests,
            false,
        ),
    ];
    for (method, project, takes) in methods {
        let mut inputs = example();
        by_balance(&mut inputs);
        inputs.methodology.fuel_method = method;
        inputs.methodology.displacement = Some(displacement(project));
        for place in [CharPlace::EnergyCredit, CharPlace::CarbonBalance] {
            inputs.methodology.char_rule.counted_in = place;
            let twice = takes && place == CharPlace::EnergyCredit;
            let in_use = inputs.factors.iter().filter(|f| f.code == "co2-wood");
            let in_use: Vec<_> = in_use.collect();
            let mut draft = Draft::open(&inputs).unwrap();
            let opened = open_sink(&mut draft, inputs.char_lots.last(), &in_use);
            assert_eq!(opened.is_none(), twice, "{method:?} {place:?}");
            assert!(!matches!(opened, Some(Some(_))), "no sink may open");
            let named =
                |sentence: &str| sentence.contains(BALANCE) && sentence.contains("fuel/saved");
            assert_eq!(draft.gaps.iter().any(|gap| named(&gap.sentence)), twice);
        }
    }
}
