//! Fuel: what both groups burn per household-day, by whichever method, and the saving.
//!
//! Every method ends in the same two groups of burns, so that what follows need not
//! know which one it was.

mod difference;
mod displacement;
mod group;
mod kitchen_test;
mod sample;

use super::draft::Draft;
use super::use_rate::Use;
use crate::accounting::inputs::{Burn, EvidenceRole};
use crate::accounting::methodology::{FuelMethod, FuelRule};
use crate::accounting::trace::{Heading, NodeRef, Sign, Term};

/// One of the two groups of kitchens.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Arm {
    Baseline,
    Project,
}

impl Arm {
    pub fn id(self) -> &'static str {
        match self {
            Arm::Baseline => "baseline",
            Arm::Project => "project",
        }
    }

    fn role(self) -> EvidenceRole {
        match self {
            Arm::Baseline => EvidenceRole::BaselineKitchens,
            Arm::Project => EvidenceRole::ProjectKitchens,
        }
    }
}

/// A fuel burnt in a device by one group, dry kg per household-day in the ledger.
pub(super) struct BurntFuel<'a> {
    pub arm: Arm,
    pub burn: Burn,
    pub rule: &'a FuelRule,
    pub per_day: NodeRef,
}

impl BurntFuel<'_> {
    /// `what/arm/device/fuel`
    pub fn id(&self, what: &str) -> String {
        format!(
            "{what}/{}/{}/{}",
            self.arm.id(),
            self.burn.device,
            self.burn.fuel
        )
    }

    /// `fuel in device, group`
    pub fn words(&self) -> String {
        format!(
            "{} in {}, {}",
            self.burn.fuel,
            self.burn.device,
            self.arm.id()
        )
    }
}

/// One group's kitchens.
pub(super) struct Kitchens<'a> {
    pub arm: Arm,
    pub burns: Vec<BurntFuel<'a>>,
    /// All fuels, dry kg per household-day.
    pub per_day: NodeRef,
    /// Dry kg per standard adult and day, where adults were counted.
    pub per_adult_day: Option<NodeRef>,
}

/// Both groups, as the days in use have them on average.
pub(super) struct Groups<'a> {
    pub baseline: Kitchens<'a>,
    pub project: Kitchens<'a>,
    /// Share of the cooking that moved to the project stove, where the method needs it.
    pub cooking_moved: Option<NodeRef>,
}

/// Both groups by the method of the methodology; `days` is needed by some methods alone.
pub(super) fn groups<'a>(draft: &mut Draft<'a>, days: Option<&Use>) -> Option<Groups<'a>> {
    let methodology = &draft.inputs.methodology;
    let rule = methodology.displacement.as_ref();
    match (methodology.fuel_method, rule) {
        (FuelMethod::KitchenTestIndependent | FuelMethod::KitchenTestPaired, Some(_)) => {
            draft.gap(
                "use-applied-twice",
                "The methodology measures fuel by kitchen tests, which hold the share of cooking \
                 on the project stove, and has a displacement rule, which multiplies by it: use \
                 would be applied twice."
                    .to_owned(),
            );
            None
        }
        (FuelMethod::KitchenTestIndependent, None) => kitchen_test::independent(draft),
        (FuelMethod::KitchenTestPaired, None) => kitchen_test::paired(draft),
        (FuelMethod::CookingTest | FuelMethod::ThermalEfficiency, None) => {
            draft.gap(
                "displacement-missing",
                "The methodology turns tests of stoves into fuel saved, but has no displacement \
                 rule that says how much baseline fuel is displaced."
                    .to_owned(),
            );
            None
        }
        (FuelMethod::CookingTest | FuelMethod::ThermalEfficiency, Some(rule)) => {
            displacement::groups(draft, rule, days)
        }
    }
}

/// The rule of a fuel, or a gap that says who burns it.
fn rule_of<'a>(draft: &mut Draft<'a>, arm: Arm, device: &str, fuel: &str) -> Option<&'a FuelRule> {
    let fuels = &draft.inputs.methodology.fuels;
    let found = fuels.iter().find(|rule| rule.code == fuel);
    if found.is_none() {
        draft.gap(
            "fuel-without-rule",
            format!(
                "The methodology has no rule for the fuel {fuel}, which the {} group burnt in \
                 {device}.",
                arm.id()
            ),
        );
    }
    found
}

/// All fuels of a group together.
fn all_fuels(draft: &mut Draft, arm: Arm, burns: &[BurntFuel]) -> Option<NodeRef> {
    let terms: Vec<Term> = burns
        .iter()
        .map(|burn| Term(Sign::Plus, burn.per_day))
        .collect();
    let heading = Heading::new(
        format!("fuel/{}", arm.id()),
        format!("dry fuel per household-day, {}", arm.id()),
        "dry-fuel-per-household-day",
        "kg dry fuel/household-day",
    );
    let sum = draft.ledger.sum(heading, &terms);
    draft.keep(sum)
}

/// The saving per household-day, and over the days in use in tonnes.
pub(super) struct Saving {
    pub per_day: NodeRef,
    pub total: NodeRef,
}

/// `dry-fuel-saved`: baseline less project, times household-days in use.
pub(super) fn saving(
    draft: &mut Draft,
    baseline: &Kitchens,
    project: &Kitchens,
    days_in_use: NodeRef,
) -> Option<Saving> {
    let heading = Heading::new(
        "fuel/saved_per_household_day",
        "dry fuel saved per household-day",
        "dry-fuel-saved",
        "kg dry fuel/household-day",
    );
    let per_day = draft
        .ledger
        .difference(heading, baseline.per_day, project.per_day);
    let per_day = draft.keep(per_day)?;
    let tonne = draft.tonne_per_kg("dry_fuel", "t dry fuel/kg dry fuel")?;
    let heading = Heading::new(
        "fuel/saved",
        "dry fuel saved",
        "dry-fuel-saved-in-period",
        "t dry fuel",
    );
    let total = draft
        .ledger
        .product(heading, &[per_day, days_in_use, tonne]);
    Some(Saving {
        per_day,
        total: draft.keep(total)?,
    })
}
