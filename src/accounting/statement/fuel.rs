//! Fuel: what the kitchen tests of both groups weighed, and the saving between them.

use super::draft::Draft;
use crate::accounting::inputs::{Burn, EvidenceRole, KitchenHousehold};
use crate::accounting::methodology::FuelRule;
use crate::accounting::rounding::to_statistic;
use crate::accounting::trace::{
    Estimate, Family, Heading, LedgerError, NodeRef, Sign, Survey, Term,
};
use crate::statistics::estimate::mean_vector;
use rust_decimal::Decimal;
use std::collections::{BTreeMap, BTreeSet};

/// Days that a kitchen test should last (kitchen performance test protocol; MEMORY).
const WANTED_TEST_DAYS: u32 = 3;

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
    pub burn: &'a Burn,
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

/// Mean dry fuel per household-day of one group, by device and fuel.
///
/// The households are a simple random sample: each brings its own daily average, and
/// the means of all fuels and of the standard adults vary together between households.
pub(super) fn kitchens<'a>(draft: &mut Draft<'a>, arm: Arm) -> Option<Kitchens<'a>> {
    let inputs = draft.inputs;
    let mut households: Vec<&'a KitchenHousehold> = match arm {
        Arm::Baseline => inputs.baseline_kitchens.iter().collect(),
        Arm::Project => inputs.project_kitchens.iter().collect(),
    };
    // A database may sort codes by other rules than ours; the last bits of a sum must not tell.
    households.sort_by_key(|kitchen| &kitchen.household);
    let burns: BTreeSet<&'a Burn> = households.iter().flat_map(|h| h.dry_kg.keys()).collect();
    let rules = usable(draft, arm, &households, &burns)?;
    let mut columns: Vec<Vec<Decimal>> = Vec::new();
    for burn in &burns {
        let dry = |h: &KitchenHousehold| h.dry_kg.get(*burn).copied().unwrap_or_default();
        columns.push(daily(draft, &households, dry)?);
    }
    columns.push(daily(draft, &households, |h| h.adult_days)?);
    let estimates = estimates(draft, arm, &burns, &columns)?;
    let nodes = enter(draft, arm, households.len(), estimates, &columns)?;
    let (adults, per_burn) = nodes.split_last()?;
    let burns: Vec<BurntFuel> = burns
        .into_iter()
        .zip(rules)
        .zip(per_burn)
        .map(|((burn, rule), per_day)| BurntFuel {
            arm,
            burn,
            rule,
            per_day: *per_day,
        })
        .collect();
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
    let per_day = draft.ledger.sum(heading, &terms);
    let per_day = draft.keep(per_day)?;
    let per_adult_day = per_adult_day(draft, arm, per_day, *adults)?;
    Some(Kitchens {
        arm,
        burns,
        per_day,
        per_adult_day,
    })
}

/// Checks what can be missing in a group; the rule of each burn's fuel.
fn usable<'a>(
    draft: &mut Draft<'a>,
    arm: Arm,
    households: &[&KitchenHousehold],
    burns: &BTreeSet<&'a Burn>,
) -> Option<Vec<&'a FuelRule>> {
    let group = arm.id();
    if households.len() < 2 {
        draft.gap(
            "too-few-kitchens",
            format!(
                "The {group} group has {} kitchens; two at least are needed to know a spread.",
                households.len()
            ),
        );
        return None;
    }
    if burns.is_empty() {
        draft.gap(
            "no-fuel-weighed",
            format!("No fuel was weighed in the {group} group."),
        );
        return None;
    }
    let empty: Vec<&str> = households
        .iter()
        .filter(|h| h.days == 0)
        .map(|h| h.household.as_str())
        .collect();
    if !empty.is_empty() {
        let sentence = format!(
            "These {group} kitchens have no measured day: {}.",
            empty.join(", ")
        );
        draft.gap("kitchen-without-days", sentence);
        return None;
    }
    let short = households
        .iter()
        .filter(|h| h.days < WANTED_TEST_DAYS)
        .count();
    if short > 0 {
        draft.note(
            "short-kitchen-tests",
            format!(
                "{short} of {} {group} kitchens were weighed on fewer than {WANTED_TEST_DAYS} \
                 days.",
                households.len()
            ),
        );
    }
    let fuels = &draft.inputs.methodology.fuels;
    let mut rules = Vec::with_capacity(burns.len());
    for burn in burns {
        match fuels.iter().find(|rule| rule.code == burn.fuel) {
            Some(rule) => rules.push(rule),
            None => draft.gap(
                "fuel-without-rule",
                format!(
                    "The methodology has no rule for the fuel {}, which the {group} group burnt in \
                     {}.",
                    burn.fuel, burn.device
                ),
            ),
        }
    }
    (rules.len() == burns.len()).then_some(rules)
}

/// Each household's daily average.
fn daily(
    draft: &mut Draft,
    households: &[&KitchenHousehold],
    total: impl Fn(&KitchenHousehold) -> Decimal,
) -> Option<Vec<Decimal>> {
    let average = |h: &&KitchenHousehold| {
        total(h)
            .checked_div(Decimal::from(h.days))
            .ok_or_else(|| LedgerError::TooLarge {
                id: format!("kitchen test of household {}", h.household),
            })
    };
    let averages: Result<Vec<_>, _> = households.iter().map(average).collect();
    draft.keep(averages)
}

fn estimates(
    draft: &mut Draft,
    arm: Arm,
    burns: &BTreeSet<&Burn>,
    columns: &[Vec<Decimal>],
) -> Option<Vec<Estimate>> {
    let group = arm.id();
    let mut headings = Vec::new();
    for burn in burns {
        let (device, fuel) = (&burn.device, &burn.fuel);
        let heading = Heading::new(
            format!("fuel/{group}/{device}/{fuel}"),
            format!("dry {fuel} in {device} per household-day, {group}"),
            "mean-dry-fuel",
            "kg dry fuel/household-day",
        );
        let at = [
            ("device".to_owned(), device.clone()),
            ("fuel".to_owned(), fuel.clone()),
        ];
        headings.push((heading, BTreeMap::from(at)));
    }
    let adults = Heading::new(
        format!("fuel/{group}/standard_adults"),
        format!("standard adults per household, {group}"),
        "mean-standard-adults",
        "standard adult * day/household-day",
    );
    headings.push((adults, BTreeMap::new()));
    let mut estimates = Vec::new();
    for ((heading, at), column) in headings.into_iter().zip(columns) {
        let sum = column
            .iter()
            .try_fold(Decimal::ZERO, |sum, value| sum.checked_add(*value));
        let mean = sum
            .and_then(|sum| sum.checked_div(Decimal::from(column.len())))
            .ok_or_else(|| LedgerError::TooLarge {
                id: heading.id.clone(),
            });
        estimates.push(Estimate {
            value: draft.keep(mean)?,
            heading,
            at,
        });
    }
    Some(estimates)
}

fn enter(
    draft: &mut Draft,
    arm: Arm,
    households: usize,
    estimates: Vec<Estimate>,
    columns: &[Vec<Decimal>],
) -> Option<Vec<NodeRef>> {
    let row = |household: usize| {
        let cell = |column: &Vec<Decimal>| column.get(household).copied().map_or(0.0, to_statistic);
        columns.iter().map(cell).collect::<Vec<f64>>()
    };
    let rows: Vec<Vec<f64>> = (0..households).map(row).collect();
    let spread = mean_vector(&rows).map_err(|reason| LedgerError::Statistics {
        id: format!("kitchens/{}", arm.id()),
        reason,
    });
    let spread = draft.keep(spread)?;
    let nodes = draft.ledger.survey(Survey {
        name: format!("{} kitchen tests ({households} households)", arm.id()),
        role: arm.role(),
        units: households as u64,
        degrees_of_freedom: spread.degrees_of_freedom,
        family: Family::StudentT,
        estimates,
        covariance: spread.covariance,
    });
    draft.keep(nodes)
}

/// `None` within means that no adults were counted; outside, that it cannot be computed.
fn per_adult_day(
    draft: &mut Draft,
    arm: Arm,
    per_day: NodeRef,
    adults: NodeRef,
) -> Option<Option<NodeRef>> {
    if draft.ledger.value(adults).is_zero() {
        return Some(None);
    }
    let heading = Heading::new(
        format!("fuel/{}/per_adult_day", arm.id()),
        format!("dry fuel per standard adult and day, {}", arm.id()),
        "dry-fuel-per-adult-day",
        "kg dry fuel/standard adult/day",
    );
    let ratio = draft.ledger.quotient(heading, per_day, adults);
    Some(Some(draft.keep(ratio)?))
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
