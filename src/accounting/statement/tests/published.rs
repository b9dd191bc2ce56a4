//! Published factors through the whole statement.

use super::example::*;
use crate::accounting::factor::Quantity::*;
use crate::accounting::inputs::StatementInputs;
use crate::accounting::inputs::UsageCount;

/// One tonne of wood saved: 1 kg per household-day over 1 000 days, all of it non-renewable,
/// no leakage, nothing else burnt.
fn one_tonne_of_wood() -> StatementInputs {
    let mut inputs = example();
    inputs.cohorts.truncate(1);
    inputs.cohorts[0].stove_days = 1000;
    inputs.usage = vec![UsageCount {
        age_band: 0,
        in_use: 100,
        not_in_use: 0,
        not_found: 0,
        refused: 0,
        ..UsageCount::default()
    }];
    inputs.baseline_kitchens = ["b1", "b2"]
        .map(|b| kitchen(b, &[("three_stone_fire", "3")]))
        .into();
    inputs.project_kitchens = ["p1", "p2"]
        .map(|p| kitchen(p, &[("gasifier", "0")]))
        .into();
    inputs.char_lots.clear();
    set(&mut inputs, "fnrb-wood", "1");
    set(&mut inputs, "leakage", "1");
    inputs
}

/// IPCC 2006 Vol 2 Tables 1.2, 1.4 and 2.5: wood 15.6 TJ/Gg, 112 000, 300 and 4 kg/TJ (SEEN-2ND):
/// CO2 1.7472 t/t; non-CO2 with AR5 28/265: 9.460 tCO2e/TJ, 0.147576 t/t (COMPUTED).
#[test]
fn ipcc_wood() {
    let mut inputs = one_tonne_of_wood();
    set(&mut inputs, "ncv-wood", "15.6");
    set(&mut inputs, "co2-wood", "112000");
    let statement = stated(&inputs);
    assert_eq!(figure(&statement, "fuel_saved"), decimal("1"));
    assert_eq!(figure(&statement, "co2_avoided"), decimal("1.7472"));
    assert_eq!(figure(&statement, "ch4_avoided"), decimal("4.68"));
    assert_eq!(figure(&statement, "n2o_avoided"), decimal("0.0624"));
    let all = node(&statement, "co2e/reductions");
    let non_co2 = all - decimal("1.7472");
    assert_eq!(non_co2, decimal("0.147576"));
    assert_eq!((non_co2 / decimal("0.0156")).round_dp(3), decimal("9.460"));
}

/// GHG Protocol GWP values, AR6 non-fossil CH4 27.0 and N2O 273 (SEEN-2ND): wood non-CO2
/// 9.192 tCO2e/TJ (COMPUTED).
#[test]
fn ipcc_wood_under_another_gwp_set() {
    let mut inputs = one_tonne_of_wood();
    set(&mut inputs, "ncv-wood", "15.6");
    set(&mut inputs, "gwp-ch4", "27.0");
    set(&mut inputs, "gwp-n2o", "273");
    set(&mut inputs, "fnrb-wood", "0");
    inputs.methodology.gwp_set = "AR6 GWP100".into();
    for factor in inputs
        .factors
        .iter_mut()
        .filter(|f| f.quantity == GlobalWarmingPotential)
    {
        factor.gwp_set = Some("AR6 GWP100".into());
    }
    let non_co2 = node(&stated(&inputs), "co2e/reductions");
    assert_eq!((non_co2 / decimal("0.0156")).round_dp(3), decimal("9.192"));
}

/// EMEP/EEA guidebook 1.A.4, conventional stove: PM2.5 740 g/GJ (= kg/TJ), BC 10 % of it
/// (MEMORY); at 18.5 MJ/kg 13.69 and 1.369 g/kg (COMPUTED).
#[test]
fn emep_energy_based_factors_become_mass() {
    let mut inputs = one_tonne_of_wood();
    set(&mut inputs, "ncv-wood", "18.5");
    for factor in inputs
        .factors
        .iter_mut()
        .filter(|factor| factor.code == "pm-fire")
    {
        factor.value = decimal("740");
        factor.unit = "kg/TJ".into();
    }
    let statement = stated(&inputs);
    assert_eq!(figure(&statement, "pm25_baseline"), decimal("13.69"));
    assert_eq!(figure(&statement, "bc_baseline"), decimal("1.369"));
}

/// IPCC 2019 Refinement Vol 4 Ch 2 Appendix 4 (SEEN-2ND): one tonne of char of wood 0.77 at
/// permanence 0.80 stores 2.2587 tCO2, at the unmonitored 0.56 1.5811; rice 0.49 at 0.80
/// 1.4373; a gasification char of wood 0.52 at 0.89 1.6969 (COMPUTED).
#[test]
fn ipcc_char() {
    for (carbon, permanence, stored) in [
        ("0.77", "0.80", "2.2587"),
        ("0.77", "0.56", "1.5811"),
        ("0.49", "0.80", "1.4373"),
        ("0.52", "0.89", "1.6969"),
    ] {
        let mut inputs = example();
        inputs.char_lots = vec![lot("wood", "soil", "1000")];
        set(&mut inputs, "carbon-wood-char", carbon);
        set(&mut inputs, "permanence", permanence);
        set(&mut inputs, "fnrb-wood", "0");
        let removed = node(&stated(&inputs), "char/removals");
        assert_eq!(
            removed.round_dp(4),
            decimal(stored),
            "{carbon} {permanence}"
        );
    }
}

/// Of a feedstock that does not all grow back only the renewable share stores: half of 2.2587.
#[test]
fn char_of_non_renewable_wood_stores_its_renewable_share() {
    let mut inputs = example();
    inputs.char_lots = vec![lot("wood", "soil", "1000")];
    let removed = node(&stated(&inputs), "char/removals");
    assert_eq!(removed.round_dp(5), decimal("1.12933"));
}

/// Usage survey of 100 with 80 in use: 90 % half-width 0.0658 with the normal quantile; the
/// statement uses Student's t with 99 degrees (1.6604, printed table), so 0.0664.
#[test]
fn usage_survey_of_one_hundred() {
    let statement = stated(&example());
    let rate = statement.trace.node("use/rate/band/0").unwrap();
    assert_eq!(rate.standard_error, decimal("0.04"));
    assert_eq!((rate.value - rate.lower).round_dp(4), decimal("0.0664"));
}
