//! Particulate, its black and organic carbon, CO, NMVOC, SO2: masses beside the CO2e.

use super::co2e::GASES;
use super::draft::Draft;
use super::fuel::{BurntFuel, Kitchens};
use super::lookup::{Found, Need};
use super::masses::{Scale, SpeciesMass, Wanted, over_groups, slug};
use crate::accounting::factor::{Factor, Quantity};
use crate::accounting::trace::{Heading, NodeRef, Sign, Term};
use crate::statistics::distribution::Shape;
use rust_decimal::Decimal;

/// Species that may be stated as masses; the greenhouse gases have their own account.
pub(in crate::accounting) const STATED_SPECIES: [&str; 6] =
    ["PM2.5", "BC", "OC", "CO", "NMVOC", "SO2"];

/// Where nothing is known of a device's black carbon share, it may lie anywhere in here.
///
/// Wide on purpose: published ranges for household devices run from about 0.02 to 0.39 of
/// PM2.5 (EMEP/EEA guidebook 1.A.4, MEMORY), up to 0.5 for batch gasifiers (MEMORY, weak).
const UNKNOWN_SHARE: (Decimal, Decimal) = (
    Decimal::from_parts(2, 0, 0, false, 2),
    Decimal::from_parts(50, 0, 0, false, 2),
);

/// `E = sum over fuel and device of dry mass * EF`, baseline, project and the difference.
pub(super) fn species_mass(
    draft: &mut Draft,
    name: &str,
    groups: [&Kitchens; 2],
    days_in_use: NodeRef,
) -> Option<SpeciesMass> {
    if !STATED_SPECIES.contains(&name) {
        let known = STATED_SPECIES.join(", ");
        let sentence = if GASES.contains(&name) {
            format!("{name} is stated by the account of CO2e itself; beside it can stand: {known}.")
        } else {
            format!("{name} cannot be stated as a mass beside the CO2e; these can: {known}.")
        };
        draft.gap("species-unknown", sentence);
        return None;
    }
    let slug = slug(name);
    // Both groups are tried before giving up, so that all gaps are named at once.
    let per_day = groups.map(|group| group_per_day(draft, name, &slug, group));
    let wanted = Wanted {
        name,
        slug: &slug,
        qualifier: "",
        scale: Scale::Kilograms,
    };
    over_groups(draft, &wanted, [per_day[0]?, per_day[1]?], days_in_use)
}

fn group_per_day(draft: &mut Draft, name: &str, slug: &str, group: &Kitchens) -> Option<NodeRef> {
    let emitted: Vec<Option<NodeRef>> = group
        .burns
        .iter()
        .map(|burnt| emitted(draft, name, slug, burnt))
        .collect();
    let emitted: Vec<NodeRef> = emitted.into_iter().collect::<Option<_>>()?;
    let terms: Vec<Term> = emitted
        .into_iter()
        .map(|node| Term(Sign::Plus, node))
        .collect();
    let heading = Heading::new(
        format!("{slug}/{}_per_household_day", group.arm.id()),
        format!("{name} per household-day, {}", group.arm.id()),
        "mass-emitted-per-household-day",
        "kg/household-day",
    );
    let sum = draft.ledger.sum(heading, &terms);
    draft.keep(sum)
}

/// kg of a species per household-day from one fuel in one device.
fn emitted(draft: &mut Draft, name: &str, slug: &str, burnt: &BurntFuel) -> Option<NodeRef> {
    let factors = if name == "BC" {
        black_carbon(draft, burnt)?
    } else {
        let factor = emission_factor(draft, name, burnt)?;
        emission_factors(draft, burnt, factor)?
    };
    let heading = Heading::new(
        burnt.id(slug),
        format!("{name} per household-day from {}", burnt.words()),
        if name == "BC" {
            "black-carbon-emitted"
        } else {
            "species-emitted"
        },
        "kg/household-day",
    );
    let product = draft.ledger.product(heading, &factors);
    draft.keep(product)
}

/// The emission factor of one species; where there is none, words that name device and fuel.
fn emission_factor<'a>(
    draft: &mut Draft<'a>,
    species: &str,
    burnt: &BurntFuel,
) -> Option<&'a Factor> {
    let need = emission_need(species, burnt);
    match draft.look_up(&need, |_| true) {
        Found::One(factor) => Some(factor),
        Found::Several => None,
        Found::None => {
            let sentence = format!(
                "No factor of the methodology answers the need for {need}: {} was burnt in {}, {}.",
                burnt.burn.fuel,
                burnt.burn.device,
                burnt.arm.id()
            );
            draft.gap("factor-missing", sentence);
            None
        }
    }
}

pub(super) fn emission_need<'n>(species: &'n str, burnt: &'n BurntFuel) -> Need<'n> {
    Need {
        quantity: Quantity::EmissionFactor,
        species: Some(species),
        device: Some(&burnt.burn.device),
        fuel: Some(&burnt.rule.class),
    }
}

/// The factors whose product is the mass emitted: `dry fuel * EF`, or
/// `dry fuel * NCV * EF` where the emission factor is per energy.
pub(super) fn emission_factors(
    draft: &mut Draft,
    burnt: &BurntFuel,
    factor: &Factor,
) -> Option<Vec<NodeRef>> {
    let emission = draft.enter(factor)?;
    if factor.unit != "kg/TJ" {
        return Some(vec![burnt.per_day, emission, draft.kg_per_g()?]);
    }
    let calorific = draft.required(&Need {
        quantity: Quantity::NetCalorificValue,
        species: None,
        device: Some(&burnt.burn.device),
        fuel: Some(&burnt.rule.class),
    })?;
    Some(vec![
        burnt.per_day,
        calorific,
        draft.terajoule_per_megajoule()?,
        emission,
    ])
}

/// Black carbon: a factor of this very device, else PM2.5 times the share of this very device.
///
/// A share that is stated for any device is not taken: it would say that two devices
/// blacken alike, which a cleaner device need not do.
fn black_carbon(draft: &mut Draft, burnt: &BurntFuel) -> Option<Vec<NodeRef>> {
    let of_device = |factor: &Factor| factor.device.is_some();
    match draft.look_up(&emission_need("BC", burnt), of_device) {
        Found::One(factor) => return emission_factors(draft, burnt, factor),
        Found::Several => return None,
        Found::None => {}
    }
    let particulate = emission_factor(draft, "PM2.5", burnt)?;
    let mut factors = emission_factors(draft, burnt, particulate)?;
    let of_share = |species| Need {
        quantity: Quantity::BlackCarbonShare,
        species,
        device: Some(&burnt.burn.device),
        fuel: Some(&burnt.rule.class),
    };
    for species in [None, Some("BC")] {
        match draft.look_up(&of_share(species), of_device) {
            Found::One(factor) => {
                factors.push(draft.enter(factor)?);
                return Some(factors);
            }
            Found::Several => return None,
            Found::None => {}
        }
    }
    factors.push(unknown_share(draft, burnt)?);
    Some(factors)
}

/// One assumption for each device and group: never the same for both groups.
fn unknown_share(draft: &mut Draft, burnt: &BurntFuel) -> Option<NodeRef> {
    let (device, group) = (&burnt.burn.device, burnt.arm.id());
    let id = format!("assumed/black_carbon_share/{group}/{device}");
    if let Some(known) = draft.ledger.find(&id) {
        return Some(known);
    }
    let (lowest, highest) = UNKNOWN_SHARE;
    draft.note(
        "black-carbon-share-unknown",
        format!(
            "No black carbon share is known for {device} ({group}): it may lie anywhere from \
             {lowest} to {highest} of PM2.5, apart from every other device, so the interval of \
             black carbon is wide."
        ),
    );
    let heading = Heading::new(
        id,
        format!("black carbon share of PM2.5 of {device}, {group}: unknown"),
        "unknown-black-carbon-share",
        "1",
    );
    let shape = Shape::Uniform {
        lower: crate::accounting::rounding::to_statistic(lowest),
        upper: crate::accounting::rounding::to_statistic(highest),
    };
    let node = draft
        .ledger
        .assumption(heading, (lowest + highest) / Decimal::TWO, shape);
    draft.keep(node)
}
