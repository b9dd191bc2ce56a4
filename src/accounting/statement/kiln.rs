//! Fuels made in a kiln: the wood that went into it, and the gases that left it.
//!
//! The carbon of the wood leaves partly at the kiln and partly at the stove. Both parts are
//! counted at once, as the CO2 of the wood, and the fuel's own CO2 factor is not asked for.

use super::draft::Draft;
use super::fuel::BurntFuel;
use super::lookup::{Found, Need};
use crate::accounting::factor::{Factor, Quantity};
use crate::accounting::methodology::KilnRule;
use crate::accounting::trace::NodeRef;

/// Device code of the factors of kilns, per kg of the fuel made.
pub(in crate::accounting) const KILN: &str = "charcoal_kiln";

/// The need for the CO2 factor of the wood.
pub(in crate::accounting) fn wood_need(kiln: &KilnRule) -> Need<'_> {
    Need {
        quantity: Quantity::EmissionFactor,
        species: Some("CO2"),
        device: Some(KILN),
        fuel: Some(&kiln.class),
    }
}

/// The factors whose product is the CO2 of the wood: `fuel * conversion * NCV * EF_CO2`.
pub(super) fn wood_co2<'a>(
    draft: &mut Draft<'a>,
    burnt: &BurntFuel<'a>,
    kiln: &KilnRule,
) -> Option<(&'a Factor, Vec<NodeRef>)> {
    let conversion = conversion(draft, kiln);
    let calorific = calorific_value(draft, kiln);
    let factor = draft.require(&wood_need(kiln))?;
    if factor.unit != "kg/TJ" {
        draft.gap(
            "unit-unusable",
            format!(
                "The CO2 of the wood that {} was made from is taken per energy, but {} is given in \
                 {}; kg/TJ would be right.",
                burnt.burn.fuel,
                factor.id(),
                factor.unit
            ),
        );
        return None;
    }
    let emission = draft.enter(factor)?;
    let energy = draft.terajoule_per_megajoule()?;
    let factors = vec![burnt.per_day, conversion?, calorific?, energy, emission];
    Some((factor, factors))
}

fn conversion(draft: &mut Draft, kiln: &KilnRule) -> Option<NodeRef> {
    let factor = draft.named_factor(&kiln.conversion, "wood that one kilogram was made from")?;
    super::co2e::of_quantity(draft, factor, Quantity::CharcoalConversion)
}

/// The wood is weighed as it goes into the kiln, so its calorific value is as received.
fn calorific_value(draft: &mut Draft, kiln: &KilnRule) -> Option<NodeRef> {
    let factor = draft.named_factor(&kiln.calorific_value, "calorific value of the kiln's wood")?;
    if let Some(problem) = calorific_value_problem(factor) {
        draft.gap("unit-unusable", problem);
        return None;
    }
    let node = draft.ledger.factor(factor, "MJ/kg as received");
    draft.keep(node)
}

/// Why a factor cannot be the calorific value of the wood put into a kiln. It is one of the
/// kiln alone, so that no dry fuel of a stove can meet it.
pub(in crate::accounting) fn calorific_value_problem(factor: &Factor) -> Option<String> {
    let fits = factor.quantity == Quantity::NetCalorificValue
        && of_kiln(factor)
        && factor.unit == "MJ/kg as received"
        && factor.value > rust_decimal::Decimal::ZERO;
    (!fits).then(|| {
        format!(
            "The wood put into a kiln needs a net calorific value of the device {KILN}, above 0 and \
             in MJ/kg as received; {} is a {} of {} {}, device {}.",
            factor.id(),
            factor.quantity.words(),
            factor.value,
            factor.unit,
            factor.device.as_deref().unwrap_or("any")
        )
    })
}

/// What the kiln gave off of CH4 or N2O: `fuel * EF`, per kg of the fuel made.
pub(super) fn kiln_gas(draft: &mut Draft, gas: &str, burnt: &BurntFuel) -> Option<Vec<NodeRef>> {
    let need = Need {
        quantity: Quantity::EmissionFactor,
        species: Some(gas),
        device: Some(KILN),
        fuel: Some(&burnt.rule.class),
    };
    match draft.look_up(&need, of_kiln) {
        Found::One(factor) => super::species::emission_factors(draft, burnt, factor),
        Found::Several => None,
        Found::None => {
            draft.gap(
                "factor-missing",
                format!(
                    "{} is made in a kiln, but no listed factor says how much {gas} a kiln gives \
                     off for each kilogram ({need}).",
                    burnt.burn.fuel
                ),
            );
            None
        }
    }
}

/// A factor of the stove must not stand in for one of the kiln.
pub(in crate::accounting) fn of_kiln(factor: &Factor) -> bool {
    factor.device.as_deref() == Some(KILN)
}
