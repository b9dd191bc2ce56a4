//! Fuel displaced by a stove that was tested: baseline fuel, the share of cooking that moved,
//! and the fuel that the project stove burns for the same cooking.
//!
//! Per household-day in use, for each baseline burn b and age band a:
//! `project fuel = B_b * moved_a * ratio_ab`; what did not move stays in the old devices.
//! As the bands are weighed by their days in use, one pair of groups serves all of them.

mod baseline;
mod cooking;
mod efficiency;
mod moisture;

use super::{Arm, BurntFuel, Groups, Kitchens, all_fuels, rule_of};
use crate::accounting::factor::Quantity;
use crate::accounting::inputs::Burn;
use crate::accounting::methodology::{DisplacementRule, FuelMethod, FuelPer, FuelRule};
use crate::accounting::statement::draft::Draft;
use crate::accounting::statement::lookup::Need;
use crate::accounting::statement::use_rate::{CookingMoved, Use, cooking_moved};
use crate::accounting::trace::{Heading, NodeRef, Sign, Term};
use rust_decimal::Decimal;
use std::collections::BTreeMap;

/// The project stove and what it burns.
pub(super) struct ProjectStove<'a> {
    burn: Burn,
    rule: &'a FuelRule,
}

type RatioByBand = BTreeMap<u32, NodeRef>;

/// Both groups of a cooking test or thermal efficiency methodology.
pub(super) fn groups<'a>(
    draft: &mut Draft<'a>,
    rule: &'a DisplacementRule,
    days: Option<&Use>,
) -> Option<Groups<'a>> {
    if draft.inputs.methodology.fuel_per == FuelPer::StandardAdult {
        draft.gap(
            "per-adult-without-project-kitchens",
            "Fuel per standard adult needs the people of project kitchens; tests of stoves know \
             none."
                .to_owned(),
        );
        return None;
    }
    moisture::note_wet_fuel(draft, &rule.project_device);
    let (device, fuel) = (rule.project_device.clone(), rule.project_fuel.clone());
    let stove = rule_of(draft, Arm::Project, &device, &fuel).map(|rule| ProjectStove {
        burn: Burn { device, fuel },
        rule,
    });
    let baseline = baseline::group(draft, &rule.baseline_fuel);
    let moved = days.and_then(|days| cooking_moved(draft, days, &rule.cooking_share));
    let (stove, baseline) = (stove?, baseline?);
    if baseline.burns.iter().any(|burnt| burnt.burn == stove.burn) {
        draft.gap(
            "project-stove-in-baseline",
            format!(
                "The baseline already burns {} in {}, which is the project stove: it cannot \
                 displace itself.",
                stove.burn.fuel, stove.burn.device
            ),
        );
        return None;
    }
    let bands: Vec<u32> = days
        .map(|days| days.bands_in_use(draft))
        .unwrap_or_default()
        .into_iter()
        .map(|(band, _)| band)
        .collect();
    // All burns are tried before giving up, so that all gaps are named at once.
    let ratios: Vec<Option<RatioByBand>> = baseline
        .burns
        .iter()
        .map(|burnt| fuel_ratios(draft, rule, &stove, burnt, &bands))
        .collect();
    let ratios: Vec<RatioByBand> = ratios.into_iter().collect::<Option<_>>()?;
    let moved = moved?;
    let project = project(draft, &stove, &baseline, &ratios, &moved)?;
    Some(Groups {
        baseline,
        project,
        cooking_moved: Some(moved.share),
    })
}

/// kg dry fuel of the project stove per kg dry fuel of one baseline burn, for each age band.
fn fuel_ratios<'a>(
    draft: &mut Draft<'a>,
    rule: &'a DisplacementRule,
    stove: &ProjectStove<'a>,
    burnt: &BurntFuel<'a>,
    bands: &[u32],
) -> Option<RatioByBand> {
    if draft.inputs.methodology.fuel_method == FuelMethod::CookingTest {
        let ratio = cooking::fuel_ratio(draft, stove, burnt)?;
        return Some(bands.iter().map(|band| (*band, ratio)).collect());
    }
    let ratios: Vec<Option<(u32, NodeRef)>> = bands
        .iter()
        .map(|band| {
            let ratio = efficiency::fuel_ratio(draft, rule, stove, burnt, *band)?;
            Some((*band, ratio))
        })
        .collect();
    ratios.into_iter().collect()
}

/// Fuel of the project stove, and what is still burnt as before.
fn project<'a>(
    draft: &mut Draft<'a>,
    stove: &ProjectStove<'a>,
    baseline: &Kitchens<'a>,
    ratios: &[RatioByBand],
    moved: &CookingMoved,
) -> Option<Kitchens<'a>> {
    let mut terms = Vec::new();
    for (burnt, ratios) in baseline.burns.iter().zip(ratios) {
        terms.extend(fuel_for(draft, stove, burnt, ratios, moved)?);
    }
    let Burn { device, fuel } = &stove.burn;
    let heading = Heading::new(
        format!("fuel/project/{device}/{fuel}"),
        format!("dry {fuel} in {device} per household-day, project, for the cooking that moved"),
        "fuel-of-moved-cooking",
        "kg dry fuel/household-day",
    );
    let sum = draft.ledger.sum(heading, &terms);
    let mut burns = vec![BurntFuel {
        arm: Arm::Project,
        burn: stove.burn.clone(),
        rule: stove.rule,
        per_day: draft.keep(sum)?,
    }];
    let kept = kept_cooking(draft, moved.share)?;
    for burnt in &baseline.burns {
        let Burn { device, fuel } = &burnt.burn;
        let heading = Heading::new(
            format!("fuel/project/{device}/{fuel}"),
            format!(
                "dry {fuel} in {device} per household-day, project, for the cooking that did not \
                 move"
            ),
            "residual-baseline-fuel",
            "kg dry fuel/household-day",
        );
        let residual = draft.ledger.product(heading, &[burnt.per_day, kept]);
        burns.push(BurntFuel {
            arm: Arm::Project,
            burn: burnt.burn.clone(),
            rule: burnt.rule,
            per_day: draft.keep(residual)?,
        });
    }
    Some(Kitchens {
        arm: Arm::Project,
        per_day: all_fuels(draft, Arm::Project, &burns)?,
        burns,
        per_adult_day: None,
    })
}

/// `1 - share of cooking moved`.
fn kept_cooking(draft: &mut Draft, moved: NodeRef) -> Option<NodeRef> {
    let whole = draft.convention("one", "the whole", "1", Decimal::ONE)?;
    let heading = Heading::new(
        "use/cooking_kept",
        "share of cooking that stays on the baseline devices, over household-days in use",
        "cooking-kept",
        "1",
    );
    let kept = draft.ledger.difference(heading, whole, moved);
    draft.keep(kept)
}

/// The project stove's fuel for the cooking taken from one baseline burn, by age band.
fn fuel_for(
    draft: &mut Draft,
    stove: &ProjectStove,
    burnt: &BurntFuel,
    ratios: &RatioByBand,
    moved: &CookingMoved,
) -> Option<Vec<Term>> {
    let mut terms = Vec::new();
    for (band, share) in &moved.bands {
        let ratio = *ratios.get(band)?;
        let Burn { device, fuel } = &burnt.burn;
        let heading = Heading::new(
            format!("fuel/moved/{device}/{fuel}/band/{band}"),
            format!(
                "dry {} in {} per household-day for the cooking moved from {fuel} in {device}, \
                 stoves in year {}",
                stove.burn.fuel,
                stove.burn.device,
                u64::from(*band) + 1
            ),
            "fuel-of-moved-cooking",
            "kg dry fuel/household-day",
        );
        let mass = draft
            .ledger
            .product(heading, &[burnt.per_day, *share, ratio]);
        terms.push(Term(Sign::Plus, draft.keep(mass)?));
    }
    Some(terms)
}

/// Net calorific value of a fuel in a device, MJ/kg dry fuel.
fn calorific_value(draft: &mut Draft, device: &str, rule: &FuelRule) -> Option<NodeRef> {
    draft.required(&Need {
        quantity: Quantity::NetCalorificValue,
        species: None,
        device: Some(device),
        fuel: Some(&rule.class),
    })
}
