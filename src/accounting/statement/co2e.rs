//! Carbon dioxide equivalents: the non-renewable CO2, CH4 and N2O of both groups.

use super::draft::Draft;
use super::fuel::{BurntFuel, Kitchens};
use super::lookup::Need;
use super::species::{emission_factors, emission_need};
use crate::accounting::factor::{Factor, Quantity};
use crate::accounting::methodology::Leakage;
use crate::accounting::trace::{Heading, NodeRef, Sign, Term};
use rust_decimal::Decimal;

/// The gases of the account. Of CO2 only the non-renewable share counts.
const GASES: [&str; 3] = ["CO2", "CH4", "N2O"];

/// What was avoided, in the ledger.
pub(super) struct Avoided<'a> {
    /// tCO2e after leakage.
    pub reductions: NodeRef,
    /// t before leakage.
    pub co2: NodeRef,
    /// kg before leakage.
    pub ch4: NodeRef,
    /// kg before leakage.
    pub n2o: NodeRef,
    /// The CO2 factors that the account rests on, each once.
    pub co2_factors: Vec<&'a Factor>,
}

/// Per household-day: kg of each gas, in the order of `GASES`, and kg CO2e in all.
struct GroupGases {
    gases: [NodeRef; 3],
    co2e: NodeRef,
}

/// `co2e-avoided`: per household-day, times days in use, times leakage.
pub(super) fn avoided<'a>(
    draft: &mut Draft<'a>,
    baseline: &Kitchens<'a>,
    project: &Kitchens<'a>,
    days_in_use: NodeRef,
) -> Option<Avoided<'a>> {
    let mut co2_factors = Vec::new();
    let before = group(draft, baseline, &mut co2_factors);
    let after = group(draft, project, &mut co2_factors);
    let inputs = draft.inputs;
    let Leakage::Multiplier(leakage) = &inputs.methodology.leakage else {
        draft.gap(
            "leakage-itemised",
            "Leakage by items cannot be computed.".to_owned(),
        );
        return None;
    };
    let leakage = draft.named_factor(leakage, "leakage multiplier");
    let leakage =
        leakage.and_then(|factor| of_quantity(draft, factor, Quantity::LeakageMultiplier));
    let (before, after) = (before?, after?);
    let reductions = reductions(draft, before.co2e, after.co2e, days_in_use, leakage?)?;
    let pairs = before.gases.iter().zip(after.gases).zip(GASES);
    let mut masses = Vec::new();
    for ((before, after), gas) in pairs {
        masses.push(gas_avoided(draft, gas, *before, after, days_in_use)?);
    }
    let [co2, ch4, n2o] = <[NodeRef; 3]>::try_from(masses).ok()?;
    Some(Avoided {
        reductions,
        co2,
        ch4,
        n2o,
        co2_factors,
    })
}

/// Refuses a factor that the methodology names for what it is not.
pub(super) fn of_quantity(draft: &mut Draft, factor: &Factor, wanted: Quantity) -> Option<NodeRef> {
    if factor.quantity != wanted {
        draft.gap(
            "factor-of-other-quantity",
            format!(
                "The methodology names {} as the {}, but it is a {}.",
                factor.id(),
                wanted.words(),
                factor.quantity.words()
            ),
        );
        return None;
    }
    draft.enter(factor)
}

fn reductions(
    draft: &mut Draft,
    before: NodeRef,
    after: NodeRef,
    days_in_use: NodeRef,
    leakage: NodeRef,
) -> Option<NodeRef> {
    let heading = Heading::new(
        "co2e/avoided_per_household_day",
        "CO2e avoided per household-day, before leakage",
        "co2e-avoided-per-household-day",
        "kg CO2e/household-day",
    );
    let per_day = draft.ledger.difference(heading, before, after);
    let per_day = draft.keep(per_day)?;
    let tonne = draft.tonne_per_kg("co2e", "tCO2e/kg CO2e")?;
    let heading = Heading::new(
        "co2e/avoided_before_leakage",
        "CO2e avoided, before leakage",
        "co2e-avoided-in-period",
        "tCO2e",
    );
    let gross = draft
        .ledger
        .product(heading, &[per_day, days_in_use, tonne]);
    let gross = draft.keep(gross)?;
    let heading = Heading::new(
        "co2e/reductions",
        "emission reductions, after leakage",
        "co2e-reductions",
        "tCO2e",
    );
    let net = draft.ledger.product(heading, &[gross, leakage]);
    draft.keep(net)
}

fn gas_avoided(
    draft: &mut Draft,
    gas: &str,
    before: NodeRef,
    after: NodeRef,
    days_in_use: NodeRef,
) -> Option<NodeRef> {
    let slug = super::species::slug(gas);
    let heading = Heading::new(
        format!("{slug}/avoided_per_household_day"),
        format!("{} avoided per household-day", gas_words(gas)),
        "gas-avoided-per-household-day",
        "kg/household-day",
    );
    let per_day = draft.ledger.difference(heading, before, after);
    let per_day = draft.keep(per_day)?;
    let mut factors = vec![per_day, days_in_use];
    let unit = if gas == "CO2" {
        factors.push(draft.tonne_per_kg("mass", "t/kg")?);
        "t"
    } else {
        "kg"
    };
    let heading = Heading::new(
        format!("{slug}/avoided"),
        format!("{} avoided, before leakage", gas_words(gas)),
        "gas-avoided",
        unit,
    );
    let mass = draft.ledger.product(heading, &factors);
    draft.keep(mass)
}

fn group<'a>(
    draft: &mut Draft<'a>,
    kitchens: &Kitchens<'a>,
    co2_factors: &mut Vec<&'a Factor>,
) -> Option<GroupGases> {
    let per_burn: Vec<Option<GroupGases>> = kitchens
        .burns
        .iter()
        .map(|burnt| burn_gases(draft, burnt, co2_factors))
        .collect();
    let per_burn: Vec<GroupGases> = per_burn.into_iter().collect::<Option<_>>()?;
    let arm = kitchens.arm.id();
    let mut gases = Vec::new();
    for (place, gas) in GASES.iter().enumerate() {
        let terms: Vec<Term> = per_burn
            .iter()
            .filter_map(|burn| burn.gases.get(place))
            .map(|node| Term(Sign::Plus, *node))
            .collect();
        let heading = Heading::new(
            format!("{}/{arm}_per_household_day", super::species::slug(gas)),
            format!("{} per household-day, {arm}", gas_words(gas)),
            "gas-emitted-per-household-day",
            "kg/household-day",
        );
        let sum = draft.ledger.sum(heading, &terms);
        gases.push(draft.keep(sum)?);
    }
    let terms: Vec<Term> = per_burn
        .iter()
        .map(|burn| Term(Sign::Plus, burn.co2e))
        .collect();
    let heading = Heading::new(
        format!("co2e/{arm}_per_household_day"),
        format!("CO2e per household-day, {arm}"),
        "co2e-emitted-per-household-day",
        "kg CO2e/household-day",
    );
    let co2e = draft.ledger.sum(heading, &terms);
    let co2e = draft.keep(co2e)?;
    Some(GroupGases {
        gases: <[NodeRef; 3]>::try_from(gases).ok()?,
        co2e,
    })
}

/// `dry fuel * NCV * (fNRB * EF_CO2 + GWP_CH4 * EF_CH4 + GWP_N2O * EF_N2O)`, term by term.
fn burn_gases<'a>(
    draft: &mut Draft<'a>,
    burnt: &BurntFuel<'a>,
    co2_factors: &mut Vec<&'a Factor>,
) -> Option<GroupGases> {
    let masses = GASES.map(|gas| gas_mass(draft, gas, burnt, co2_factors));
    let potentials = GASES.map(|gas| potential(draft, gas));
    let mut gases = Vec::new();
    let mut terms = Vec::new();
    for ((gas, mass), potential) in GASES.iter().zip(masses).zip(potentials) {
        let (mass, potential) = (mass?, potential?);
        let slug = super::species::slug(gas);
        let heading = Heading::new(
            format!("{}/{slug}", burnt.id("co2e")),
            format!("CO2e of {gas} per household-day from {}", burnt.words()),
            "gas-as-co2e",
            "kg CO2e/household-day",
        );
        let weighted = draft.ledger.product(heading, &[mass, potential]);
        terms.push(Term(Sign::Plus, draft.keep(weighted)?));
        gases.push(mass);
    }
    let heading = Heading::new(
        burnt.id("co2e"),
        format!("CO2e per household-day from {}", burnt.words()),
        "co2e-of-fuel",
        "kg CO2e/household-day",
    );
    let co2e = draft.ledger.sum(heading, &terms);
    let co2e = draft.keep(co2e)?;
    Some(GroupGases {
        gases: <[NodeRef; 3]>::try_from(gases).ok()?,
        co2e,
    })
}

fn gas_mass<'a>(
    draft: &mut Draft<'a>,
    gas: &str,
    burnt: &BurntFuel<'a>,
    co2_factors: &mut Vec<&'a Factor>,
) -> Option<NodeRef> {
    let factor = draft.require(&emission_need(gas, burnt))?;
    let mut factors = emission_factors(draft, burnt, factor)?;
    if gas == "CO2" {
        if !co2_factors.iter().any(|known| known.id() == factor.id()) {
            co2_factors.push(factor);
        }
        factors.push(non_renewable(draft, &burnt.rule.non_renewable_fraction)?);
    }
    let heading = Heading::new(
        burnt.id(&super::species::slug(gas)),
        format!(
            "{} per household-day from {}",
            gas_words(gas),
            burnt.words()
        ),
        if gas == "CO2" {
            "non-renewable-co2-emitted"
        } else {
            "gas-emitted"
        },
        "kg/household-day",
    );
    let product = draft.ledger.product(heading, &factors);
    draft.keep(product)
}

/// fNRB of a fuel.
pub(super) fn non_renewable(
    draft: &mut Draft,
    id: &crate::accounting::factor::FactorId,
) -> Option<NodeRef> {
    let factor = draft.named_factor(id, "non-renewable fraction")?;
    of_quantity(draft, factor, Quantity::NonRenewableFraction)
}

fn gas_words(gas: &str) -> String {
    if gas == "CO2" {
        "CO2 (non-renewable share only)".to_owned()
    } else {
        gas.to_owned()
    }
}

/// The warming potential of a gas, which must belong to the methodology's set.
fn potential(draft: &mut Draft, gas: &str) -> Option<NodeRef> {
    if gas == "CO2" {
        return draft.convention(
            "gwp_co2",
            "warming potential of CO2, by definition",
            "kg CO2e/kg",
            Decimal::ONE,
        );
    }
    let need = Need {
        quantity: Quantity::GlobalWarmingPotential,
        species: Some(gas),
        device: None,
        fuel: None,
    };
    let factor = draft.require(&need)?;
    let set = &draft.inputs.methodology.gwp_set;
    if factor.gwp_set.as_ref() != Some(set) {
        let sentence = format!(
            "The methodology takes its warming potentials from {set}, but {} is of {}.",
            factor.id(),
            factor.gwp_set.as_deref().unwrap_or("no named set")
        );
        draft.gap("gwp-of-other-set", sentence);
        return None;
    }
    draft.enter(factor)
}
