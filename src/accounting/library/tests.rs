//! The shipped data against the tables it cites, and against the needs of a statement.

use super::{published_factors, supplied_methodologies};
use crate::accounting::factor::{Factor, FactorId, Quantity, SourceMark, Spread};
use crate::accounting::methodology::{CharPlace, Methodology, Sides};
use rust_decimal::Decimal;
use std::collections::{BTreeMap, BTreeSet};

const DEVICES: [&str; 2] = ["three_stone_fire", "gasifier"];

fn by_id() -> BTreeMap<FactorId, Factor> {
    published_factors()
        .expect("the table is sound")
        .into_iter()
        .map(|factor| (factor.id(), factor))
        .collect()
}

fn factor(code: &str) -> Factor {
    published_factors()
        .expect("the table is sound")
        .into_iter()
        .find(|factor| factor.code == code)
        .unwrap_or_else(|| panic!("no factor {code}"))
}

fn decimal(text: &str) -> Decimal {
    text.parse().expect("a decimal")
}

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

fn written_bounds(factor: &Factor) -> Option<(Decimal, Decimal)> {
    match factor.spread {
        Spread::Exact | Spread::Normal { .. } => None,
        Spread::Lognormal { lower, upper, .. }
        | Spread::Triangular { lower, upper }
        | Spread::Uniform { lower, upper } => Some((lower, upper)),
    }
}

/// The factors of a methodology that answer one need, the most specific only.
fn answers<'a>(
    listed: &'a [Factor],
    quantity: Quantity,
    species: Option<&str>,
    device: &str,
    fuel_class: &str,
) -> Vec<&'a Factor> {
    let specificity = |factor: &Factor| {
        let fuel = factor.fuel.as_deref().map(|fuel| fuel == fuel_class);
        let device = factor.device.as_deref().map(|named| named == device);
        match (device, fuel) {
            (Some(false), _) | (_, Some(false)) => None,
            (Some(true), Some(true)) => Some(3),
            (None, Some(true)) => Some(2),
            (Some(true), None) => Some(1),
            (None, None) => Some(0),
        }
    };
    let fitting: Vec<(u8, &Factor)> = listed
        .iter()
        .filter(|factor| factor.quantity == quantity && factor.species.as_deref() == species)
        .filter_map(|factor| Some((specificity(factor)?, factor)))
        .collect();
    let best = fitting.iter().map(|(specificity, _)| *specificity).max();
    fitting
        .into_iter()
        .filter(|(s, _)| Some(*s) == best)
        .map(|(_, factor)| factor)
        .collect()
}

fn listed_factors(methodology: &Methodology) -> Vec<Factor> {
    let published = by_id();
    methodology
        .factors
        .iter()
        .map(|id| {
            published
                .get(id)
                .unwrap_or_else(|| panic!("{id} is not published"))
                .clone()
        })
        .collect()
}

#[test]
fn every_factor_is_cited_and_no_code_stands_twice() {
    let factors = published_factors().expect("the table is sound");
    assert!(factors.len() > 150, "{}", factors.len());
    let mut codes = BTreeSet::new();
    for factor in &factors {
        assert!(
            codes.insert((&factor.code, factor.version)),
            "{} stands twice",
            factor.code
        );
        assert!(factor.source.len() > 10, "{} has no citation", factor.code);
        assert!(factor.version >= 1);
        assert!(!factor.unit.is_empty(), "{} has no unit", factor.code);
    }
}

#[test]
fn a_value_from_memory_or_worked_out_says_so_in_its_note() {
    for factor in published_factors().expect("the table is sound") {
        let note = factor.note.as_deref().unwrap_or_default();
        match factor.mark {
            SourceMark::Memory | SourceMark::Computed => {
                assert!(!note.is_empty(), "{} needs a note", factor.code);
            }
            SourceMark::Seen | SourceMark::SeenSecondHand => {
                assert!(
                    !note.contains("a judgement") && !factor.source.contains("recalled"),
                    "{} is marked stronger than its note",
                    factor.code
                );
            }
        }
    }
}

#[test]
fn every_value_lies_inside_its_bounds() {
    for factor in published_factors().expect("the table is sound") {
        if let Some((lower, upper)) = written_bounds(&factor) {
            assert!(
                lower < factor.value && factor.value < upper,
                "{}",
                factor.code
            );
        }
        match &factor.spread {
            Spread::Lognormal {
                lower, confidence, ..
            } => {
                assert!(*lower > Decimal::ZERO, "{}", factor.code);
                assert!(*confidence > Decimal::ZERO && *confidence < Decimal::ONE);
            }
            Spread::Normal { standard_deviation } => {
                assert!(*standard_deviation > Decimal::ZERO, "{}", factor.code);
            }
            Spread::Exact | Spread::Triangular { .. } | Spread::Uniform { .. } => {}
        }
    }
}

#[test]
fn units_fit_the_quantity() {
    for factor in published_factors().expect("the table is sound") {
        let allowed: &[&str] = match factor.quantity {
            Quantity::NetCalorificValue => &["MJ/kg dry fuel", "MJ/kg as received"],
            Quantity::EmissionFactor => &["g/kg dry fuel", "kg/TJ"],
            Quantity::GlobalWarmingPotential => &["kg CO2e/kg"],
            Quantity::NonRenewableFraction => &["fraction"],
            Quantity::LeakageMultiplier => &["multiplier"],
            Quantity::CharCarbonFraction => &["kg carbon/kg dry char"],
            Quantity::CharPermanence => &["fraction of char carbon after 100 years"],
            Quantity::CharYieldBound => &["kg dry char/kg dry fuel"],
            Quantity::BlackCarbonShare => &["fraction of PM2.5"],
            Quantity::ThermalEfficiency => &["fraction, without the char's energy"],
            Quantity::CharcoalConversion => &["kg wood/kg charcoal"],
        };
        assert!(
            allowed.contains(&factor.unit.as_str()),
            "{}: {}",
            factor.code,
            factor.unit
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

#[test]
fn each_methodology_lists_every_factor_it_names_once() {
    for methodology in supplied_methodologies().expect("the files are sound") {
        let listed: BTreeSet<&FactorId> = methodology.factors.iter().collect();
        assert_eq!(
            listed.len(),
            methodology.factors.len(),
            "{}",
            methodology.code
        );
        let published = by_id();
        let rule = &methodology.char_rule;
        let named = methodology
            .fuels
            .iter()
            .map(|fuel| (&fuel.non_renewable_fraction, Quantity::NonRenewableFraction));
        let named = named.chain([
            (&methodology.leakage, Quantity::LeakageMultiplier),
            (&rule.permanence, Quantity::CharPermanence),
            (&rule.yield_bound, Quantity::CharYieldBound),
        ]);
        for (id, quantity) in named {
            assert!(listed.contains(id), "{} leaves out {id}", methodology.code);
            assert_eq!(
                published.get(id).map(|factor| factor.quantity),
                Some(quantity),
                "{id}"
            );
        }
    }
}

#[test]
fn exactly_one_factor_answers_each_need_of_each_methodology() {
    for methodology in supplied_methodologies().expect("the files are sound") {
        let listed = listed_factors(&methodology);
        let mut used: BTreeSet<FactorId> = BTreeSet::new();
        let mut single = |quantity, species: Option<&str>, device: &str, fuel: &str| {
            let found = answers(&listed, quantity, species, device, fuel);
            assert_eq!(
                found.len(),
                1,
                "{}: {quantity:?} {species:?} {device} {fuel}",
                methodology.code
            );
            used.extend(found.iter().map(|factor| factor.id()));
            found[0].unit.clone()
        };
        for device in DEVICES {
            for fuel in &methodology.fuels {
                let class = fuel.class.as_str();
                let unit = single(Quantity::NetCalorificValue, None, device, class);
                assert_eq!(unit, "MJ/kg dry fuel");
                for gas in ["CO2", "CH4", "N2O"] {
                    let unit = single(Quantity::EmissionFactor, Some(gas), device, class);
                    assert_eq!(unit, "kg/TJ");
                }
                for species in methodology
                    .species
                    .iter()
                    .filter(|species| *species != "BC")
                {
                    let unit = single(Quantity::EmissionFactor, Some(species), device, class);
                    assert_eq!(unit, "g/kg dry fuel");
                }
                single(Quantity::CharCarbonFraction, None, device, &fuel.char_class);
                // Black carbon: its own factor where one fits, else a share of the particulate.
                let own = answers(&listed, Quantity::EmissionFactor, Some("BC"), device, class);
                if own.is_empty() {
                    single(Quantity::BlackCarbonShare, None, device, class);
                } else {
                    single(Quantity::EmissionFactor, Some("BC"), device, class);
                }
            }
        }
        for gas in ["CH4", "N2O"] {
            single(Quantity::GlobalWarmingPotential, Some(gas), "", "");
        }
        let rule = &methodology.char_rule;
        used.extend([&methodology.leakage, &rule.permanence, &rule.yield_bound].map(Clone::clone));
        used.extend(
            methodology
                .fuels
                .iter()
                .map(|fuel| fuel.non_renewable_fraction.clone()),
        );
        let listed: BTreeSet<FactorId> = methodology.factors.iter().cloned().collect();
        assert_eq!(
            used, listed,
            "{} lists a factor it never needs",
            methodology.code
        );
    }
}

#[test]
fn residues_are_renewable_and_only_char_in_soil_counts() {
    for methodology in supplied_methodologies().expect("the files are sound") {
        let fraction = |code: &str| {
            let fuel = methodology
                .fuels
                .iter()
                .find(|fuel| fuel.code == code)
                .expect("a fuel");
            by_id()[&fuel.non_renewable_fraction].value
        };
        assert_eq!(fraction("coconut_husk"), Decimal::ZERO);
        assert_eq!(fraction("pigeon_pea_stalk"), Decimal::ZERO);
        assert_eq!(fraction("wood"), decimal("0.30"));
        assert_eq!(methodology.char_rule.counted_in, CharPlace::SoilSink);
        assert_eq!(methodology.char_rule.durable_fates, ["soil"]);
    }
}

#[test]
fn the_two_methodologies_differ_in_claim_and_warming_potentials() {
    let methodologies = supplied_methodologies().expect("the files are sound");
    let find = |code: &str| {
        methodologies
            .iter()
            .find(|methodology| methodology.code == code)
            .expect("supplied")
    };
    let bound = find("kitchen-test-households");
    assert_eq!((bound.version, bound.gwp_set.as_str()), (1, "AR5 GWP100"));
    assert_eq!(bound.claim.confidence, decimal("0.90"));
    assert_eq!(
        (bound.claim.sides, bound.claim.precision),
        (Sides::Two, None)
    );
    assert_eq!(by_id()[&bound.char_rule.permanence].value, decimal("0.56"));
    let precise = find("kitchen-test-precision");
    assert_eq!(precise.gwp_set, "AR6 GWP100");
    assert_eq!(
        (precise.claim.sides, precise.claim.precision),
        (Sides::One, Some(decimal("0.30")))
    );
}

#[test]
fn the_factor_set_of_a_methodology_is_the_one_it_states() {
    for methodology in supplied_methodologies().expect("the files are sound") {
        let prefix = format!(
            "gwp-{}-100-",
            methodology
                .gwp_set
                .split(' ')
                .next()
                .unwrap_or_default()
                .to_lowercase()
        );
        let potentials = listed_factors(&methodology)
            .into_iter()
            .filter(|factor| factor.quantity == Quantity::GlobalWarmingPotential);
        for potential in potentials {
            assert!(potential.code.starts_with(&prefix), "{}", potential.code);
        }
    }
}
