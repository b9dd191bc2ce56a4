//! Each shortcoming is found where it lies and named in words; a supplied methodology has none.

use super::{Shortcoming, validate};
use crate::accounting::factor::{Factor, FactorId, Quantity, Spread};
use crate::accounting::library::{published_factors, supplied_methodologies};
use crate::accounting::methodology::*;
use rust_decimal::Decimal;

type Bend = fn(&mut Methodology, &mut Vec<Factor>);

fn decimal(text: &str) -> Decimal {
    text.parse().unwrap()
}

fn id(text: &str) -> FactorId {
    text.parse().unwrap()
}

fn supplied(code: &str) -> Methodology {
    supplied_methodologies()
        .unwrap()
        .into_iter()
        .find(|methodology| methodology.code == code)
        .unwrap()
}

fn bent(code: &str, bend: Bend) -> Vec<Shortcoming> {
    let (mut methodology, mut factors) = (supplied(code), published_factors().unwrap());
    bend(&mut methodology, &mut factors);
    validate(&methodology, &factors)
}

/// Bending `code` gives this one shortcoming: at this place, with these words.
fn only(code: &str, place: &str, words: &[&str], bend: Bend) {
    let found = bent(code, bend);
    assert_eq!(found.len(), 1, "{place} {words:?}: {found:?}");
    says(&found, place, words);
}

fn says(found: &[Shortcoming], place: &str, words: &[&str]) {
    let fits = |each: &&Shortcoming| {
        each.place == place && words.iter().all(|word| each.sentence.contains(word))
    };
    assert!(
        found.iter().any(|each| fits(&each)),
        "{place} {words:?}: {found:?}"
    );
}

fn factor<'f>(factors: &'f mut [Factor], code: &str) -> &'f mut Factor {
    factors
        .iter_mut()
        .find(|factor| factor.code == code)
        .unwrap()
}

fn drop(methodology: &mut Methodology, code: &str) {
    let before = methodology.factors.len();
    methodology.factors.retain(|id| id.code != code);
    assert_eq!(methodology.factors.len() + 1, before, "{code}");
}

const PLAIN: &str = "kitchen-test-households";
const LINE: &str = "household-energy";
const BESIDE: &str = "black-carbon-beside";
const EFFICIENCY: &str = "stove-efficiency";
const COOKING: &str = "cooking-test";

#[test]
fn supplied_methodologies_lack_nothing() {
    let factors = published_factors().unwrap();
    let supplied = supplied_methodologies().unwrap();
    assert_eq!(supplied.len(), 8);
    for methodology in supplied {
        let found = validate(&methodology, &factors);
        assert!(found.is_empty(), "{}: {found:#?}", methodology.code);
    }
}

#[test]
fn plain_choices_are_looked_at() {
    only(PLAIN, "citations", &["cites"], |m, _| m.citations.clear());
    only(PLAIN, "citations", &["cites"], |m, _| {
        m.citations[0] = " ".into()
    });
    let place = "minimum_answers_per_age_band";
    only(PLAIN, place, &["At least one"], |m, _| {
        m.minimum_answers_per_age_band = 0;
    });
    only(PLAIN, "species", &["NOx cannot be stated"], |m, _| {
        m.species.push("NOx".into())
    });
    only(PLAIN, "species", &["CO is listed twice"], |m, _| {
        m.species.push("CO".into())
    });
    only(PLAIN, "fuels", &["wood has two rules"], |m, _| {
        let again = m.fuels[0].clone();
        m.fuels.push(again);
    });
    only(PLAIN, "fuels", &["no rule for any fuel"], |m, _| {
        m.fuels.clear()
    });
    let place = "designs.finite_population";
    only(PLAIN, place, &["Sites drawn as clusters"], |m, _| {
        m.designs = SampleDesigns {
            kitchens: Design::ClusteredBySite,
            usage: Design::ClusteredBySite,
            finite_population: FinitePopulation::Register,
        };
    });
    for design in [Design::SimpleRandom, Design::PostStratifiedBySite] {
        let mut counted = supplied(PLAIN);
        counted.designs.kitchens = design;
        counted.designs.finite_population = FinitePopulation::Register;
        assert_eq!(validate(&counted, &published_factors().unwrap()), []);
    }
    let place = "fuels.wood.char_class";
    let found = bent(PLAIN, |m, _| m.fuels[0].char_class = String::new());
    says(&found, place, &["cannot be empty"]);
}

#[test]
fn claim_and_draws_keep_their_ranges() {
    for confidence in ["0", "1", "90", "-0.5"] {
        let mut methodology = supplied(PLAIN);
        methodology.claim.confidence = decimal(confidence);
        let found = validate(&methodology, &published_factors().unwrap());
        says(&found, "claim.confidence", &[confidence, "between 0 and 1"]);
    }
    only(PLAIN, "claim.precision", &["precision of 0"], |m, _| {
        m.claim.precision = Some(Decimal::ZERO);
    });
    only(PLAIN, "claim.precision", &["precision of 30"], |m, _| {
        m.claim.precision = Some(decimal("30"));
    });
    only(
        PLAIN,
        "claim.precision",
        &["no claim could ever be made"],
        |m, _| {
            (m.claim.precision, m.claim.fallback) = (None, Fallback::Nothing);
        },
    );
    only(PLAIN, "claim.floor_t", &["-1 t"], |m, _| {
        m.claim.floor_t = Some(decimal("-1"));
    });
    only(PLAIN, "uncertainty.draws", &["999 draws"], |m, _| {
        m.uncertainty.draws = 999
    });
    only(PLAIN, "uncertainty.draws", &["10000001 draws"], |m, _| {
        m.uncertainty.draws = 10_000_001;
    });
    only(
        PLAIN,
        "uncertainty.agreement",
        &["agreement of 0"],
        |m, _| {
            m.uncertainty.agreement = Decimal::ZERO;
        },
    );
}

#[test]
fn every_need_has_one_usable_answer() {
    only(PLAIN, "factors", &["twice", "ncv-dry-wood@1"], |m, _| {
        m.factors.push(id("ncv-dry-wood@1"));
    });
    let found = bent(PLAIN, |m, _| m.factors.push(id("invented@7")));
    says(&found, "factors", &["There is no factor invented@7"]);
    let found = bent(PLAIN, |m, _| drop(m, "ncv-dry-wood"));
    says(
        &found,
        "factors",
        &["net calorific value", "gasifier", "wood"],
    );
    only(PLAIN, "factors", &["warming potential", "CH4"], |m, _| {
        drop(m, "gwp-ar5-100-ch4")
    });
    only(
        PLAIN,
        "factors",
        &["carbon fraction of char", "herbaceous"],
        |m, _| {
            drop(m, "char-carbon-ipcc-herbaceous-pyrolysis");
        },
    );
    let found = bent(PLAIN, |m, _| drop(m, "ef-gasifier-pm25"));
    says(
        &found,
        "factors",
        &["species PM2.5, device gasifier, fuel wood"],
    );
    let found = bent(PLAIN, |m, _| m.factors.push(id("ef-biofuel-2001-co@1")));
    says(
        &found,
        "factors",
        &[
            "More than one",
            "ef-open-cooking-co@1, ef-biofuel-2001-co@1",
        ],
    );
    let found = bent(PLAIN, |m, _| m.species.push("NMVOC".into()));
    says(
        &found,
        "factors",
        &["species NMVOC, device gasifier, fuel wood"],
    );
    only(
        PLAIN,
        "factors",
        &["ncv-dry-wood@1", "as received"],
        |_, f| {
            factor(f, "ncv-dry-wood").unit = "MJ/kg as received".into();
        },
    );
    only(
        PLAIN,
        "factors",
        &["ef-gasifier-co@1", "0 or more"],
        |_, f| {
            factor(f, "ef-gasifier-co").value = decimal("-1");
        },
    );
    let found = bent(PLAIN, |m, _| m.factors.clear());
    says(&found, "factors", &["lists no factor"]);
}

/// Only a wide interval follows from an unknown share, so it is no shortcoming.
#[test]
fn an_unknown_black_carbon_share_is_allowed_and_two_shares_are_not() {
    assert!(bent(PLAIN, |m, _| drop(m, "bc-share-gasifier")).is_empty());
    let found = bent(PLAIN, |m, f| {
        let mut again = factor(f, "bc-share-gasifier").clone();
        again.code = "bc-share-gasifier-too".into();
        m.factors.push(again.id());
        f.push(again);
    });
    says(
        &found,
        "factors",
        &["More than one", "bc-share-gasifier-too@1"],
    );
}

#[test]
fn named_factors_are_listed_and_of_their_quantity() {
    only(
        PLAIN,
        "leakage",
        &["leakage-default@1", "list of factors"],
        |m, _| {
            drop(m, "leakage-default");
        },
    );
    only(
        PLAIN,
        "char_rule.yield_bound",
        &["leakage multiplier"],
        |m, _| {
            m.char_rule.yield_bound = id("leakage-default@1");
        },
    );
    let place = "fuels.wood.non_renewable_fraction";
    only(PLAIN, place, &["char yield bound"], |m, _| {
        m.fuels[0].non_renewable_fraction = id("char-yield-bound@1");
    });
    only(PLAIN, "leakage", &["0 to 1"], |_, f| {
        factor(f, "leakage-default").value = decimal("1.05");
    });
    only(
        LINE,
        "char_rule.permanence.slope",
        &["below zero"],
        |_, f| {
            factor(f, "permanence-woolf-20c-100-slope").value = decimal("0.6");
        },
    );
    only(
        LINE,
        "char_rule.permanence.residual",
        &["must be zero"],
        |_, f| {
            factor(f, "permanence-woolf-20c-100-residual").value = decimal("0.2");
        },
    );
    let place = "fuels.charcoal.made_from.calorific_value";
    only(LINE, place, &["MJ/kg as received"], |m, _| {
        let kiln = m.fuels[3].made_from.as_mut().unwrap();
        kiln.calorific_value = id("ncv-dry-wood@1");
    });
    let found = bent(LINE, |m, _| drop(m, "ef-charcoal-kiln-ch4"));
    says(
        &found,
        "factors",
        &["CH4, device charcoal_kiln, fuel charcoal"],
    );
    assert_eq!(found.len(), 1, "{found:?}");
}

#[test]
fn sets_of_warming_potentials_are_never_mixed() {
    let found = bent(PLAIN, |m, _| {
        drop(m, "gwp-ar5-100-n2o");
        m.factors.push(id("gwp-ar6-100-n2o@1"));
    });
    assert_eq!(found.len(), 1, "{found:?}");
    says(
        &found,
        "gwp_set",
        &["gwp-ar6-100-n2o@1 is of AR6 GWP100", "not AR5 GWP100"],
    );
    let found = bent(BESIDE, |m, _| m.short_lived_sets.truncate(2));
    says(
        &found,
        "gwp_set",
        &["metric-bond-2013-20-bc@1", "none of the sets"],
    );
    only(BESIDE, "short_lived_sets", &["stands twice"], |m, _| {
        m.short_lived_sets.push("AR5 GWP20 short-lived".into());
    });
    only(BESIDE, "short_lived_sets", &["invented set"], |m, _| {
        m.short_lived_sets.push("invented set".into());
    });
}

#[test]
fn leakage_takes_no_more_than_the_whole() {
    only(LINE, "leakage", &["no item"], |m, _| {
        m.leakage = Leakage::Items(vec![])
    });
    let item = "leakage.default";
    only(LINE, item, &["Two items"], |m, _| {
        if let Leakage::Items(items) = &mut m.leakage {
            let again = items[0].clone();
            items.push(again);
        }
    });
    only(LINE, "leakage", &["add up to 1.2"], |m, f| {
        factor(f, "leakage-share-default").value = decimal("0.6");
        if let Leakage::Items(items) = &mut m.leakage {
            let mut again = items[0].clone();
            again.code = "second".into();
            items.push(again);
        }
    });
    only(LINE, "leakage.a/b", &["letters, digits"], |m, _| {
        if let Leakage::Items(items) = &mut m.leakage {
            items[0].code = "a/b".into();
        }
    });
}

#[test]
fn the_fuel_method_and_its_rule_fit_each_other() {
    only(PLAIN, "displacement", &["apply use twice"], |m, _| {
        m.displacement = supplied(COOKING).displacement;
    });
    only(COOKING, "displacement", &["need a rule"], |m, _| {
        m.displacement = None
    });
    only(COOKING, "displacement.efficiency", &["no place"], |m, _| {
        let rule = supplied(EFFICIENCY).displacement.unwrap();
        m.displacement.as_mut().unwrap().efficiency = rule.efficiency;
    });
    only(
        EFFICIENCY,
        "displacement.efficiency",
        &["needs the efficiencies"],
        |m, _| {
            m.displacement.as_mut().unwrap().efficiency = None;
        },
    );
    only(
        EFFICIENCY,
        "displacement.efficiency.baseline",
        &["cooks nothing"],
        |_, f| {
            factor(f, "efficiency-three-stone-fire").value = Decimal::ZERO;
        },
    );
    let found = bent(EFFICIENCY, |m, _| {
        m.displacement.as_mut().unwrap().project_fuel = "dung".into();
    });
    says(
        &found,
        "displacement.project_fuel",
        &["no rule for the fuel dung"],
    );
    let found = bent(EFFICIENCY, |m, _| {
        m.displacement.as_mut().unwrap().baseline_fuel = BaselineFuel::Cited(vec![]);
    });
    says(&found, "displacement.baseline_fuel", &["names no fuel"]);
    let found = bent(COOKING, |m, _| {
        m.displacement.as_mut().unwrap().project_device = "rocket".into();
    });
    says(
        &found,
        "factors",
        &["species PM2.5, device rocket, fuel wood"],
    );
}

#[test]
fn char_counts_in_one_place() {
    only(PLAIN, "char_rule.durable_fates", &["no fate"], |m, _| {
        m.char_rule.durable_fates.clear();
    });
    let place = "char_rule.counted_in";
    only(
        PLAIN,
        place,
        &["counted twice", "ef-ipcc-wood-co2@1", "as stored in soil"],
        |_, f| {
            factor(f, "ef-ipcc-wood-co2").char_treatment = Some(CharPlace::CarbonBalance);
        },
    );
    only(
        EFFICIENCY,
        place,
        &["efficiency-three-stone-fire@1", "as energy"],
        |_, f| {
            factor(f, "efficiency-three-stone-fire").char_treatment = Some(CharPlace::EnergyCredit);
        },
    );
}

#[test]
fn lists_that_are_far_too_long_are_not_gone_through() {
    only(PLAIN, "fuels", &["104 entries", "100"], |m, _| {
        let again = vec![m.fuels[0].clone(); 100];
        m.fuels.extend(again);
    });
    only(PLAIN, "factors", &["2000"], |m, _| {
        m.factors = vec![id("invented@1"); 2_001];
    });
}

/// What is not in the list of the methodology cannot trouble it.
#[test]
fn other_factors_of_the_programme_are_not_looked_at() {
    let found = bent(PLAIN, |_, f| {
        let mut other = f[0].clone();
        other.code = "of-another-methodology".into();
        (other.quantity, other.value) = (Quantity::LeakageMultiplier, decimal("7"));
        other.spread = Spread::Exact;
        f.push(other);
    });
    assert!(found.is_empty(), "{found:?}");
}
