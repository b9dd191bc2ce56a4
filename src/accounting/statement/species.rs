//! Particulate, its black and organic carbon, carbon monoxide: masses beside the CO2e.

use super::draft::Draft;
use super::fuel::{Arm, BurntFuel, Kitchens};
use super::lookup::{Found, Need};
use crate::accounting::factor::{Factor, Quantity};
use crate::accounting::trace::{Heading, NodeRef, Sign, Term};
use crate::statistics::distribution::Shape;
use rust_decimal::Decimal;

/// Species that may be stated as masses; the greenhouse gases have their own account.
const STATED_SPECIES: [&str; 6] = ["PM2.5", "BC", "OC", "CO", "NMVOC", "SO2"];

/// Where nothing is known of a device's black carbon share, it may lie anywhere in here.
///
/// Wide on purpose: published ranges for household devices run from about 0.02 to 0.39 of
/// PM2.5 (EMEP/EEA guidebook 1.A.4, MEMORY), up to 0.5 for batch gasifiers (MEMORY, weak).
const UNKNOWN_SHARE: (Decimal, Decimal) = (
    Decimal::from_parts(2, 0, 0, false, 2),
    Decimal::from_parts(50, 0, 0, false, 2),
);

/// One species over both groups, in kg of the period.
pub(super) struct SpeciesMass {
    /// `pm25`
    pub slug: String,
    pub baseline: NodeRef,
    pub project: NodeRef,
    pub avoided: NodeRef,
    /// Of the baseline; none where the baseline emits nothing.
    pub percent: Option<NodeRef>,
}

pub(super) fn slug(species: &str) -> String {
    species
        .chars()
        .filter(char::is_ascii_alphanumeric)
        .collect::<String>()
        .to_lowercase()
}

/// `E = sum over fuel and device of dry mass * EF`, baseline, project and the difference.
pub(super) fn species_mass(
    draft: &mut Draft,
    name: &str,
    groups: [&Kitchens; 2],
    days_in_use: NodeRef,
) -> Option<SpeciesMass> {
    if !STATED_SPECIES.contains(&name) {
        let known = STATED_SPECIES.join(", ");
        draft.gap(
            "species-unknown",
            format!("{name} cannot be stated as a mass beside the CO2e; these can: {known}."),
        );
        return None;
    }
    let slug = slug(name);
    // Both groups are tried before giving up, so that all gaps are named at once.
    let per_day = groups.map(|group| group_per_day(draft, name, &slug, group));
    let [baseline_day, project_day] = [per_day[0]?, per_day[1]?];
    let baseline = over_period(draft, name, &slug, Arm::Baseline, baseline_day, days_in_use)?;
    let project = over_period(draft, name, &slug, Arm::Project, project_day, days_in_use)?;
    let heading = Heading::new(
        format!("{slug}/avoided"),
        format!("{name} avoided"),
        "mass-avoided",
        "kg",
    );
    let avoided = draft.ledger.difference(heading, baseline, project);
    let avoided = draft.keep(avoided)?;
    let percent = percent(draft, name, &slug, baseline_day, project_day)?;
    Some(SpeciesMass {
        slug,
        baseline,
        project,
        avoided,
        percent,
    })
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

fn over_period(
    draft: &mut Draft,
    name: &str,
    slug: &str,
    arm: Arm,
    per_day: NodeRef,
    days_in_use: NodeRef,
) -> Option<NodeRef> {
    let heading = Heading::new(
        format!("{slug}/{}", arm.id()),
        format!("{name} emitted, {}", arm.id()),
        "mass-emitted",
        "kg",
    );
    let mass = draft.ledger.product(heading, &[per_day, days_in_use]);
    draft.keep(mass)
}

/// Outer `None`: a gap. Inner `None`: the baseline emits nothing, so there is no percentage.
fn percent(
    draft: &mut Draft,
    name: &str,
    slug: &str,
    baseline: NodeRef,
    project: NodeRef,
) -> Option<Option<NodeRef>> {
    if draft.ledger.value(baseline).is_zero() {
        draft.note(
            "no-percentage",
            format!("The baseline emits no {name}, so its reduction has no percentage."),
        );
        return Some(None);
    }
    let heading = Heading::new(
        format!("{slug}/avoided_per_household_day"),
        format!("{name} avoided per household-day"),
        "mass-avoided-per-household-day",
        "kg/household-day",
    );
    let avoided = draft.ledger.difference(heading, baseline, project);
    let avoided = draft.keep(avoided)?;
    let heading = Heading::new(
        format!("{slug}/avoided_share"),
        format!("share of {name} avoided"),
        "share-avoided",
        "1",
    );
    let share = draft.ledger.quotient(heading, avoided, baseline);
    let share = draft.keep(share)?;
    let hundred = draft.convention(
        "percent",
        "hundredths in a whole",
        "%",
        Decimal::ONE_HUNDRED,
    )?;
    let heading = Heading::new(
        format!("{slug}/percent"),
        format!("{name} avoided, percent of the baseline mass"),
        "percent-avoided",
        "%",
    );
    let percent = draft.ledger.product(heading, &[share, hundred]);
    Some(Some(draft.keep(percent)?))
}

/// kg of a species per household-day from one fuel in one device.
fn emitted(draft: &mut Draft, name: &str, slug: &str, burnt: &BurntFuel) -> Option<NodeRef> {
    let factors = if name == "BC" {
        black_carbon(draft, burnt)?
    } else {
        let factor = draft.require(&emission_need(name, burnt))?;
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
    let particulate = draft.require(&emission_need("PM2.5", burnt))?;
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
