//! Carbon dioxide equivalents: the non-renewable CO2, CH4 and N2O of both groups.

use super::draft::Draft;
use super::for_information::ForInformation;
use super::fuel::{BurntFuel, Kitchens};
use super::kiln;
use super::leakage::{AfterLeakage, after_leakage};
use super::lookup::Need;
use super::masses::{Scale, SpeciesMass, Wanted, over_groups, slug};
use super::species::{emission_factors, emission_need};
use crate::accounting::factor::{Factor, FactorId, Quantity};
use crate::accounting::methodology::NonRenewableOn;
use crate::accounting::trace::{Heading, NodeRef, Sign, Term};
use rust_decimal::Decimal;

/// The gases of the account. Of CO2 only the non-renewable share counts.
pub(in crate::accounting) const GASES: [&str; 3] = ["CO2", "CH4", "N2O"];

/// What was avoided, in the ledger.
pub(super) struct Avoided<'a> {
    /// tCO2e after leakage.
    pub reductions: NodeRef,
    /// tCO2e, all leakage.
    pub leaked: NodeRef,
    /// tCO2e by the code of the item.
    pub leakage_items: Vec<(String, NodeRef)>,
    /// tCO2e of both groups, before leakage.
    pub co2e: SpeciesMass,
    /// Each gas as a mass, before leakage.
    pub gases: Vec<SpeciesMass>,
    /// All CO2, of renewable fuel too.
    pub all_co2: Vec<ForInformation>,
    /// The CO2 factors that the account rests on, each once.
    pub co2_factors: Vec<&'a Factor>,
}

/// Nodes per household-day of one fuel, or of one group.
struct GroupGases {
    /// kg of each gas, in the order of `GASES`.
    gases: [NodeRef; 3],
    /// kg CO2, of renewable fuel too.
    all_co2: NodeRef,
    /// kg CO2e in all.
    co2e: NodeRef,
}

/// `co2e-avoided`: per household-day, times days in use, less leakage.
pub(super) fn avoided<'a>(
    draft: &mut Draft<'a>,
    baseline: &Kitchens<'a>,
    project: &Kitchens<'a>,
    days_in_use: NodeRef,
) -> Option<Avoided<'a>> {
    let mut co2_factors = Vec::new();
    let before = group(draft, baseline, &mut co2_factors);
    let after = group(draft, project, &mut co2_factors);
    let both = before.zip(after);
    let co2e = both.as_ref().and_then(|(before, after)| {
        let pair = [before.co2e, after.co2e];
        stated(draft, "CO2e", "co2e", Scale::TonnesCo2e, pair, days_in_use)
    });
    let leakage = after_leakage(draft, co2e.as_ref().map(|mass| mass.avoided));
    let ((before, after), co2e) = (both?, co2e?);
    let AfterLeakage {
        reductions,
        leaked,
        items,
    } = leakage?;
    let mut gases = Vec::new();
    for ((gas, before), after) in GASES.iter().zip(before.gases).zip(after.gases) {
        let scale = if *gas == "CO2" {
            Scale::Tonnes
        } else {
            Scale::Kilograms
        };
        let pair = [before, after];
        let words = gas_words(gas);
        gases.push(stated(draft, &words, &slug(gas), scale, pair, days_in_use)?);
    }
    let pair = [before.all_co2, after.all_co2];
    let words = "CO2 (renewable share included, for information)";
    let all_co2 = stated(draft, words, "co2_all", Scale::Tonnes, pair, days_in_use)?;
    Some(Avoided {
        reductions,
        leaked,
        leakage_items: items,
        co2e,
        gases,
        all_co2: ForInformation::of_mass(&all_co2),
        co2_factors,
    })
}

fn stated(
    draft: &mut Draft,
    name: &str,
    slug: &str,
    scale: Scale,
    per_day: [NodeRef; 2],
    days_in_use: NodeRef,
) -> Option<SpeciesMass> {
    let wanted = Wanted {
        name,
        slug,
        qualifier: ", before leakage",
        scale,
    };
    over_groups(draft, &wanted, per_day, days_in_use)
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
        let heading = Heading::new(
            format!("{}/{arm}_per_household_day", slug(gas)),
            format!("{} per household-day, {arm}", gas_words(gas)),
            "gas-emitted-per-household-day",
            "kg/household-day",
        );
        let of_burns = per_burn.iter().filter_map(|burn| burn.gases.get(place));
        gases.push(total(draft, heading, of_burns)?);
    }
    let heading = Heading::new(
        format!("co2_all/{arm}_per_household_day"),
        format!("CO2 per household-day, renewable share included, {arm}"),
        "gas-emitted-per-household-day",
        "kg/household-day",
    );
    let all_co2 = total(draft, heading, per_burn.iter().map(|burn| &burn.all_co2))?;
    let heading = Heading::new(
        format!("co2e/{arm}_per_household_day"),
        format!("CO2e per household-day, {arm}"),
        "co2e-emitted-per-household-day",
        "kg CO2e/household-day",
    );
    let co2e = total(draft, heading, per_burn.iter().map(|burn| &burn.co2e))?;
    Some(GroupGases {
        gases: <[NodeRef; 3]>::try_from(gases).ok()?,
        all_co2,
        co2e,
    })
}

fn total<'n>(
    draft: &mut Draft,
    heading: Heading,
    nodes: impl Iterator<Item = &'n NodeRef>,
) -> Option<NodeRef> {
    let terms: Vec<Term> = nodes.map(|node| Term(Sign::Plus, *node)).collect();
    let sum = draft.ledger.sum(heading, &terms);
    draft.keep(sum)
}

/// `dry fuel * NCV * (fNRB * EF_CO2 + GWP_CH4 * EF_CH4 + GWP_N2O * EF_N2O)`, term by term;
/// where the methodology says so, fNRB multiplies all three.
fn burn_gases<'a>(
    draft: &mut Draft<'a>,
    burnt: &BurntFuel<'a>,
    co2_factors: &mut Vec<&'a Factor>,
) -> Option<GroupGases> {
    let all_co2 = all_co2(draft, burnt, co2_factors);
    let others = ["CH4", "N2O"].map(|gas| gas_mass(draft, gas, burnt));
    let potentials = GASES.map(|gas| potential(draft, gas));
    let fraction = non_renewable(draft, &burnt.rule.non_renewable_fraction);
    let (all_co2, fraction) = (all_co2?, fraction?);
    let heading = Heading::new(
        burnt.id("co2"),
        format!(
            "{} per household-day from {}",
            gas_words("CO2"),
            burnt.words()
        ),
        "non-renewable-co2-emitted",
        "kg/household-day",
    );
    let co2 = draft.ledger.product(heading, &[all_co2, fraction]);
    let gases = [draft.keep(co2)?, others[0]?, others[1]?];
    let on_all = draft.inputs.methodology.non_renewable_on == NonRenewableOn::AllGases;
    if on_all && draft.ledger.value(fraction).is_zero() {
        draft.note(
            "gases-of-renewable-fuel",
            format!(
                "The methodology multiplies every gas by the non-renewable fraction, which is 0 for \
                 {}: its CH4 and N2O count as nothing in CO2e, in the project too.",
                burnt.burn.fuel
            ),
        );
    }
    let mut terms = Vec::new();
    for ((gas, mass), potential) in GASES.iter().zip(gases).zip(potentials) {
        let heading = Heading::new(
            format!("{}/{}", burnt.id("co2e"), slug(gas)),
            format!("CO2e of {gas} per household-day from {}", burnt.words()),
            "gas-as-co2e",
            "kg CO2e/household-day",
        );
        let mut factors = vec![mass, potential?];
        if on_all && *gas != "CO2" {
            factors.push(fraction);
        }
        let weighted = draft.ledger.product(heading, &factors);
        terms.push(draft.keep(weighted)?);
    }
    let heading = Heading::new(
        burnt.id("co2e"),
        format!("CO2e per household-day from {}", burnt.words()),
        "co2e-of-fuel",
        "kg CO2e/household-day",
    );
    let co2e = total(draft, heading, terms.iter())?;
    Some(GroupGases {
        gases,
        all_co2,
        co2e,
    })
}

/// CO2 of one fuel, renewable or not: of the wood it was made from, where it was made in a kiln.
fn all_co2<'a>(
    draft: &mut Draft<'a>,
    burnt: &BurntFuel<'a>,
    co2_factors: &mut Vec<&'a Factor>,
) -> Option<NodeRef> {
    let (factor, factors, formula) = match &burnt.rule.made_from {
        Some(kiln) => {
            let (factor, factors) = kiln::wood_co2(draft, burnt, kiln)?;
            (factor, factors, "co2-of-kiln-wood")
        }
        None => {
            let factor = draft.require(&emission_need("CO2", burnt))?;
            let factors = emission_factors(draft, burnt, factor)?;
            (factor, factors, "gas-emitted")
        }
    };
    if !co2_factors.iter().any(|known| known.id() == factor.id()) {
        co2_factors.push(factor);
    }
    let heading = Heading::new(
        burnt.id("co2_all"),
        format!(
            "CO2 per household-day, renewable share included, from {}",
            burnt.words()
        ),
        formula,
        "kg/household-day",
    );
    let product = draft.ledger.product(heading, &factors);
    draft.keep(product)
}

/// CH4 or N2O of one fuel; with what the kiln gave off, where it was made in one.
fn gas_mass(draft: &mut Draft, gas: &str, burnt: &BurntFuel) -> Option<NodeRef> {
    let at_stove = draft
        .require(&emission_need(gas, burnt))
        .and_then(|factor| emission_factors(draft, burnt, factor));
    let words = format!("{gas} per household-day from {}", burnt.words());
    let id = burnt.id(&slug(gas));
    let unit = "kg/household-day";
    if burnt.rule.made_from.is_none() {
        let heading = Heading::new(id, words, "gas-emitted", unit);
        let product = draft.ledger.product(heading, &at_stove?);
        return draft.keep(product);
    }
    let at_kiln = kiln::kiln_gas(draft, gas, burnt);
    let mut parts = Vec::new();
    for (place, factors) in [("stove", at_stove?), ("kiln", at_kiln?)] {
        let label = format!("{words}: at the {place}");
        let heading = Heading::new(format!("{id}/{place}"), label, "gas-emitted", unit);
        let product = draft.ledger.product(heading, &factors);
        parts.push(draft.keep(product)?);
    }
    let heading = Heading::new(id, words, "gas-emitted-in-all", unit);
    total(draft, heading, parts.iter())
}

/// fNRB of a fuel.
pub(super) fn non_renewable(draft: &mut Draft, id: &FactorId) -> Option<NodeRef> {
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
