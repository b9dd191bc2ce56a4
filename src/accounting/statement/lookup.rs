//! Finding the one factor that answers a need, and reading its unit.

use super::draft::Draft;
use crate::accounting::factor::{Factor, Quantity};
use crate::accounting::trace::NodeRef;
use rust_decimal::Decimal;
use std::collections::BTreeSet;
use std::fmt;

/// What a formula asks the factor list for.
#[derive(Debug, Clone, Copy)]
pub(in crate::accounting) struct Need<'n> {
    pub quantity: Quantity,
    pub species: Option<&'n str>,
    pub device: Option<&'n str>,
    /// Fuel class, or char class where the quantity is about char.
    pub fuel: Option<&'n str>,
}

impl fmt::Display for Need<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.quantity.words())?;
        let parts = [
            ("species", self.species),
            ("device", self.device),
            ("fuel", self.fuel),
        ];
        let mut link = " (";
        for (name, value) in parts
            .iter()
            .filter_map(|(name, value)| Some((name, (*value)?)))
        {
            write!(f, "{link}{name} {value}")?;
            link = ", ";
        }
        if link == ", " {
            f.write_str(")")
        } else {
            Ok(())
        }
    }
}

pub(super) enum Found<'a> {
    One(&'a Factor),
    None,
    /// A gap has been recorded.
    Several,
}

/// How closely a factor is made for the need: device and fuel, fuel, device, any.
fn closeness(factor: &Factor) -> u8 {
    2 * u8::from(factor.fuel.is_some()) + u8::from(factor.device.is_some())
}

fn answers(factor: &Factor, need: &Need) -> bool {
    let fits = |of_factor: &Option<String>, wanted: Option<&str>| {
        of_factor.as_deref().is_none_or(|own| Some(own) == wanted)
    };
    factor.quantity == need.quantity
        && factor.species.as_deref() == need.species
        && fits(&factor.device, need.device)
        && fits(&factor.fuel, need.fuel)
}

/// The closest of the `listed` factors for a need; several where they are equally close.
pub(in crate::accounting) fn closest<'a>(
    listed: impl Iterator<Item = &'a Factor>,
    need: &Need,
    also: impl Fn(&Factor) -> bool,
) -> Vec<&'a Factor> {
    let mut matching: Vec<&'a Factor> = Vec::new();
    for factor in listed.filter(|factor| answers(factor, need) && also(factor)) {
        if !matching.iter().any(|other| other.id() == factor.id()) {
            matching.push(factor);
        }
    }
    let closest = matching.iter().map(|factor| closeness(factor)).max();
    matching.retain(|factor| Some(closeness(factor)) == closest);
    matching
}

/// Why the formulas cannot take a factor.
pub(in crate::accounting) struct Unusable {
    pub code: &'static str,
    pub sentence: String,
}

/// The unit in which the formulas take a factor, or why they cannot.
pub(in crate::accounting) fn usable_unit(factor: &Factor) -> Result<&'static str, Unusable> {
    let (quantity, id) = (factor.quantity, factor.id());
    let Some(unit) = formula_unit(quantity, &factor.unit) else {
        return Err(Unusable {
            code: "unit-unusable",
            sentence: format!(
                "The {} {id} is given in {}, which cannot be used here; {} would be.",
                quantity.words(),
                factor.unit,
                wanted_units(quantity)
            ),
        });
    };
    let most = is_fraction(quantity).then_some(Decimal::ONE);
    if (factor.value < Decimal::ZERO && !may_be_negative(factor))
        || most.is_some_and(|most| factor.value > most)
    {
        let range = if most.is_some() {
            "0 to 1"
        } else {
            "0 or more"
        };
        return Err(Unusable {
            code: "factor-out-of-range",
            sentence: format!(
                "The {} {id} is {}, but must be {range}.",
                quantity.words(),
                factor.value
            ),
        });
    }
    Ok(unit)
}

/// A line may fall, and aerosols that scatter light cool.
fn may_be_negative(factor: &Factor) -> bool {
    match factor.quantity {
        Quantity::PermanenceSlope => true,
        Quantity::GlobalWarmingPotential => {
            matches!(factor.species.as_deref(), Some("OC" | "SO2"))
        }
        _ => false,
    }
}

impl<'a> Draft<'a> {
    /// The closest factor of the methodology's list for a need; `also` narrows the choice.
    pub fn look_up(&mut self, need: &Need, also: impl Fn(&Factor) -> bool) -> Found<'a> {
        let inputs = self.inputs;
        let ids: BTreeSet<_> = inputs.methodology.factors.iter().collect();
        let listed = inputs.factors.iter();
        let listed = listed.filter(|factor| ids.contains(&factor.id()));
        let found = closest(listed, need, also);
        match found.as_slice() {
            [] => Found::None,
            [one] => Found::One(one),
            several => {
                let names: Vec<String> = several.iter().map(|f| f.id().to_string()).collect();
                let sentence = format!(
                    "More than one factor answers the need for {need}: {}.",
                    names.join(", ")
                );
                self.gap("factor-ambiguous", sentence);
                Found::Several
            }
        }
    }

    /// As [`Draft::look_up`], where a statement cannot be made without the factor.
    pub fn require(&mut self, need: &Need) -> Option<&'a Factor> {
        match self.look_up(need, |_| true) {
            Found::One(factor) => Some(factor),
            Found::Several => None,
            Found::None => {
                self.gap(
                    "factor-missing",
                    format!("No factor of the methodology answers the need for {need}."),
                );
                None
            }
        }
    }

    /// The factor's entry in the ledger; a gap when its unit or its value cannot be used.
    pub fn enter(&mut self, factor: &Factor) -> Option<NodeRef> {
        let unit = self.usable(factor)?;
        let node = self.ledger.factor(factor, unit);
        self.keep(node)
    }

    /// As [`Draft::enter`], for a factor that each thing draws anew; `of` names the thing.
    pub fn enter_apart(&mut self, factor: &Factor, of: &str) -> Option<NodeRef> {
        let unit = self.usable(factor)?;
        let node = self.ledger.factor_apart(factor, unit, of);
        self.keep(node)
    }

    /// The unit that the formulas read the factor in; a gap where it cannot be used.
    fn usable(&mut self, factor: &Factor) -> Option<&'static str> {
        match usable_unit(factor) {
            Ok(unit) => Some(unit),
            Err(Unusable { code, sentence }) => {
                self.gap(code, sentence);
                None
            }
        }
    }

    pub fn required(&mut self, need: &Need) -> Option<NodeRef> {
        let factor = self.require(need)?;
        self.enter(factor)
    }
}

fn is_fraction(quantity: Quantity) -> bool {
    use Quantity::*;
    matches!(
        quantity,
        NonRenewableFraction
            | LeakageMultiplier
            | CharCarbonFraction
            | CharPermanence
            | CharYieldBound
            | BlackCarbonShare
            | ThermalEfficiency
            | AnnualEfficiencyLoss
            | CookingShare
            | LeakageShare
    )
}

/// The unit that the formulas read a factor in, where its own text can be read so.
///
/// A calorific value `as received` has none: it must never meet a dry mass.
fn formula_unit(quantity: Quantity, text: &str) -> Option<&'static str> {
    use Quantity::*;
    let plain = [
        "1",
        "fraction",
        "share",
        "multiplier",
        "ratio",
        "dimensionless",
    ]
    .contains(&text)
        // "fraction of PM2.5" says what the whole is; the quantity says so already.
        || text.starts_with("fraction of ")
        // An efficiency that credits the energy of char would say so in its char treatment.
        || text == "fraction, without the char's energy";
    let one_of = |words: &[&str]| plain || words.contains(&text);
    match quantity {
        NetCalorificValue => (text == "MJ/kg dry fuel").then_some("MJ/kg dry fuel"),
        EmissionFactor => match text {
            "g/kg dry fuel" => Some("g/kg dry fuel"),
            "kg/TJ" => Some("kg/TJ"),
            _ => None,
        },
        GlobalWarmingPotential => (text == "kg CO2e/kg").then_some("kg CO2e/kg"),
        NonRenewableFraction | LeakageMultiplier | CharPermanence | ThermalEfficiency => {
            one_of(&["kg/kg", "MJ/MJ", "kg C/kg C"]).then_some("1")
        }
        BlackCarbonShare => {
            one_of(&["kg/kg", "g/g", "kg BC/kg PM2.5", "g BC/g PM2.5"]).then_some("1")
        }
        CharCarbonFraction => one_of(&[
            "kg/kg",
            "kg C/kg",
            "kg C/kg dry char",
            "kg carbon/kg dry char",
        ])
        .then_some("kg C/kg dry char"),
        CharYieldBound => one_of(&["kg/kg", "kg char/kg fuel", "kg dry char/kg dry fuel"])
            .then_some("kg dry char/kg dry fuel"),
        BaselineFuel => {
            (text == "kg dry fuel/household-day").then_some("kg dry fuel/household-day")
        }
        AnnualEfficiencyLoss | CookingShare | LeakageShare | PermanenceIntercept
        | PermanenceSlope | PermanenceResidual => plain.then_some("1"),
        CharcoalConversion => {
            (text == "kg wood/kg charcoal").then_some("kg as received/kg dry fuel")
        }
    }
}

fn wanted_units(quantity: Quantity) -> &'static str {
    match quantity {
        Quantity::NetCalorificValue => "MJ/kg dry fuel",
        Quantity::EmissionFactor => "g/kg dry fuel or kg/TJ",
        Quantity::GlobalWarmingPotential => "kg CO2e/kg",
        Quantity::CharCarbonFraction => "kg C/kg dry char",
        Quantity::CharYieldBound => "kg dry char/kg dry fuel",
        Quantity::BaselineFuel => "kg dry fuel/household-day",
        Quantity::CharcoalConversion => "kg wood/kg charcoal",
        _ => "a fraction",
    }
}
