//! Spot checks of the factors against the tables they cite.

use super::{decimal, factor, written_bounds};
use crate::accounting::factor::{SourceMark, Spread};
use rust_decimal::Decimal;

/// Code, value and bounds as the cited table prints them.
fn assert_printed(code: &str, value: &str, bounds: Option<(&str, &str)>) {
    let factor = factor(code);
    assert_eq!(factor.value, decimal(value), "{code}");
    if let Some((low, high)) = bounds {
        assert_eq!(
            written_bounds(&factor),
            Some((decimal(low), decimal(high))),
            "{code}"
        );
    }
}

// IPCC 2006 Guidelines, Volume 2, Tables 1.2, 1.4 and 2.5 (defaults SEEN-2ND or MEMORY, bounds MEMORY).
#[test]
fn ipcc_2006_combustion_defaults_are_as_tabled() {
    assert_printed("ncv-ipcc-wood-as-received", "15.6", Some(("7.9", "31.0")));
    assert_printed(
        "ncv-ipcc-charcoal-as-received",
        "29.5",
        Some(("14.9", "58.0")),
    );
    assert_printed("ef-ipcc-wood-co2", "112000", Some(("95000", "132000")));
    assert_printed("ef-ipcc-wood-ch4", "300", Some(("100", "900")));
    assert_printed("ef-ipcc-wood-n2o", "4", Some(("1.5", "15")));
    assert_printed(
        "ef-ipcc-crop-residue-co2",
        "100000",
        Some(("84700", "117000")),
    );
    assert_printed("ef-ipcc-charcoal-ch4", "200", Some(("70", "600")));
    assert_printed("ef-ipcc-lpg-co2", "63100", Some(("61600", "65600")));
    assert_printed("ef-ipcc-kerosene-n2o", "0.6", Some(("0.2", "2")));
}

// Non-CO2 CO2e per TJ worked out from the same tables: wood 9.460 (AR5), 8.692 (AR4), 9.192 (AR6
// non-fossil) and charcoal 5.865 (AR5) tCO2e/TJ.
#[test]
fn wood_and_charcoal_non_co2_per_energy_agree_with_the_worked_figures() {
    let per_terajoule = |fuel: &str, set: &str| {
        let emission = |gas: &str| factor(&format!("ef-ipcc-{fuel}-{gas}")).value;
        let potential = |gas: &str| factor(&format!("gwp-{set}-100-{gas}")).value;
        (emission("ch4") * potential("ch4") + emission("n2o") * potential("n2o")) / decimal("1000")
    };
    assert_eq!(per_terajoule("wood", "ar4"), decimal("8.692"));
    assert_eq!(per_terajoule("wood", "ar5"), decimal("9.460"));
    assert_eq!(per_terajoule("wood", "ar6"), decimal("9.192"));
    assert_eq!(per_terajoule("charcoal", "ar5"), decimal("5.865"));
}

// IPCC AR4 Table 2.14, AR5 Tables 8.A.1 and 8.7, AR6 Table 7.15 (100 years SEEN; AR6 CH4 SEEN-2ND).
#[test]
fn warming_potentials_are_as_tabled_and_methane_is_not_the_fossil_one() {
    for (code, value) in [
        ("gwp-ar4-100-ch4", "25"),
        ("gwp-ar4-100-n2o", "298"),
        ("gwp-ar5-100-ch4", "28"),
        ("gwp-ar5-100-n2o", "265"),
        ("gwp-ar5-feedback-100-ch4", "34"),
        ("gwp-ar6-100-ch4", "27.0"),
        ("gwp-ar6-100-n2o", "273"),
        ("gwp-ar6-20-ch4", "79.7"),
    ] {
        assert_printed(code, value, None);
    }
}

// IPCC 2019 Refinement, Volume 4, Chapter 2, Appendix 4, Tables 4Ap.1 and 4Ap.2 (SEEN-2ND, SEEN);
// the worked products are tC per t of char.
#[test]
fn char_carbon_and_permanence_are_as_tabled() {
    for (class, pyrolysis, gasification) in [
        ("wood", "0.77", "0.52"),
        ("herbaceous", "0.65", "0.28"),
        ("rice", "0.49", "0.13"),
        ("nut-shell", "0.74", "0.40"),
        ("manure", "0.38", "0.09"),
        ("sludge", "0.35", "0.07"),
    ] {
        assert_printed(
            &format!("char-carbon-ipcc-{class}-pyrolysis"),
            pyrolysis,
            None,
        );
        assert_printed(
            &format!("char-carbon-ipcc-{class}-gasification"),
            gasification,
            None,
        );
    }
    let product = |carbon: &str, permanence: &str| factor(carbon).value * factor(permanence).value;
    let medium = product("char-carbon-ipcc-wood-pyrolysis", "permanence-ipcc-medium");
    let high = product("char-carbon-ipcc-wood-gasification", "permanence-ipcc-high");
    let unmonitored = product("char-carbon-ipcc-wood-pyrolysis", "permanence-unmonitored");
    assert_eq!(medium, decimal("0.6160"));
    assert_eq!(high, decimal("0.4628"));
    let tonnes_co2 = (unmonitored * decimal("44") / decimal("12")).round_dp(4);
    assert_eq!(tonnes_co2, decimal("1.5811"));
}

// Table 4Ap.1 half-width of wood char carbon by pyrolysis: 42 % at 95 % (MEMORY).
#[test]
fn a_published_half_width_becomes_a_standard_deviation() {
    let wood = factor("char-carbon-ipcc-wood-pyrolysis");
    let Spread::Normal { standard_deviation } = wood.spread else {
        panic!("a normal spread");
    };
    let half_width = standard_deviation * decimal("1.96") / wood.value;
    assert_eq!(half_width.round_dp(2), decimal("0.42"));
}

// Akagi et al. 2011 Table 1 (MEMORY), Shen et al. 2013 abstract (SEEN), Lam et al. 2012 Table 5 (SEEN).
#[test]
fn local_pollutants_are_as_published() {
    assert_printed("ef-open-cooking-pm25", "6.64", None);
    assert_printed("ef-open-cooking-bc", "0.83", None);
    assert_printed("ef-open-cooking-oc", "2.89", None);
    assert_printed("ef-open-cooking-co", "77", None);
    assert_printed("ef-open-fire-residue-pm25", "8.19", None);
    assert_printed("ef-open-fire-residue-bc", "1.38", None);
    assert_printed("ef-kerosene-wick-co", "17.7", None);
    let open_cooking = factor("ef-open-cooking-pm25");
    let deviation = Spread::Normal {
        standard_deviation: decimal("1.66"),
    };
    assert_eq!(open_cooking.spread, deviation);
    assert_eq!(open_cooking.mark, SourceMark::Memory);
    assert_eq!(factor("ef-open-fire-residue-bc").mark, SourceMark::Seen);
}

// EMEP/EEA guidebook 1.A.4, conventional stove: 740 g/GJ at 18.5 MJ/kg is 13.69 g/kg (EF MEMORY).
#[test]
fn energy_based_factors_are_converted_with_the_dry_calorific_value() {
    assert_printed("ef-emep-traditional-stove-pm25", "13.69", None);
    assert_printed(
        "bc-share-emep-traditional-stove",
        "0.10",
        Some(("0.02", "0.20")),
    );
}

// Gitau et al. 2019 (abstract): kitchen concentrations PM2.5 -79 %, CO -57 %.
#[test]
fn gasifier_values_follow_from_the_open_fire_and_are_flagged_as_placeholders() {
    let scaled = |code: &str, cut: &str| factor(code).value * (Decimal::ONE - decimal(cut));
    let particulate = factor("ef-gasifier-pm25").value;
    assert_eq!(
        particulate,
        scaled("ef-open-cooking-pm25", "0.79").round_dp(2)
    );
    assert_eq!(
        factor("ef-gasifier-co").value,
        scaled("ef-open-cooking-co", "0.57").round_dp(1)
    );
    let black_carbon = particulate * factor("bc-share-gasifier").value;
    let open = |code: &str| factor(&format!("ef-open-cooking-{code}")).value;
    let ratio = (open("pm25") - open("bc")) / open("oc");
    assert_eq!(
        factor("ef-gasifier-oc").value,
        ((particulate - black_carbon) / ratio).round_dp(2)
    );
    for code in [
        "ef-gasifier-pm25",
        "ef-gasifier-co",
        "ef-gasifier-oc",
        "bc-share-gasifier",
    ] {
        let factor = factor(code);
        assert_eq!(factor.mark, SourceMark::Memory, "{code}");
        assert!(
            factor
                .note
                .is_some_and(|note| note.starts_with("PLACEHOLDER")),
            "{code}"
        );
    }
}
