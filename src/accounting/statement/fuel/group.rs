//! One group of weighed or surveyed kitchens: what can be missing in it, its daily averages.

use super::{Arm, rule_of};
use crate::accounting::inputs::{Burn, EvidenceRole, KitchenHousehold};
use crate::accounting::methodology::FuelRule;
use crate::accounting::rounding::to_statistic;
use crate::accounting::statement::draft::Draft;
use crate::accounting::trace::{Heading, LedgerError};
use rust_decimal::Decimal;
use std::collections::{BTreeMap, BTreeSet};

/// Days that a kitchen test should last (kitchen performance test protocol; MEMORY).
const WANTED_TEST_DAYS: u32 = 3;

/// A group that can be averaged.
pub(super) struct Group<'a> {
    pub arm: Arm,
    pub role: EvidenceRole,
    /// In order of code.
    pub households: Vec<&'a KitchenHousehold>,
    pub burns: Vec<(&'a Burn, &'a FuelRule)>,
    /// Daily averages of each household: a column for each burn, the last of standard adults.
    pub columns: Vec<Vec<Decimal>>,
}

impl<'a> Group<'a> {
    /// Checks the households; a gap for each thing that is missing.
    pub fn read(
        draft: &mut Draft<'a>,
        arm: Arm,
        role: EvidenceRole,
        mut households: Vec<&'a KitchenHousehold>,
    ) -> Option<Self> {
        // A database may sort codes by other rules than ours; the last bits of a sum must not tell.
        households.sort_by_key(|kitchen| &kitchen.household);
        let burns: BTreeSet<&'a Burn> = households.iter().flat_map(|h| h.dry_kg.keys()).collect();
        usable(draft, arm, role, &households, &burns)?;
        let rules: Vec<Option<&FuelRule>> = burns
            .iter()
            .map(|burn| rule_of(draft, arm, &burn.device, &burn.fuel))
            .collect();
        let rules = rules.into_iter().collect::<Option<Vec<_>>>()?;
        let mut columns: Vec<Vec<Decimal>> = Vec::new();
        for burn in &burns {
            let dry = |h: &KitchenHousehold| h.dry_kg.get(*burn).copied().unwrap_or_default();
            columns.push(daily(draft, &households, dry)?);
        }
        columns.push(daily(draft, &households, |h| h.adult_days)?);
        Some(Group {
            arm,
            role,
            households,
            burns: burns.into_iter().zip(rules).collect(),
            columns,
        })
    }

    /// Dry kg of all fuels a day, household by household.
    pub fn fuel_a_day(&self) -> impl Iterator<Item = f64> + '_ {
        let fuels = self.columns.get(..self.burns.len()).unwrap_or_default();
        (0..self.households.len()).map(move |row| {
            let of = |column: &Vec<Decimal>| column.get(row).copied().map_or(0.0, to_statistic);
            fuels.iter().map(of).sum()
        })
    }

    /// Heading and place of each column's mean.
    pub fn headings(&self) -> Vec<(Heading, BTreeMap<String, String>)> {
        let group = self.arm.id();
        let mut headings = Vec::new();
        for (Burn { device, fuel }, _) in &self.burns {
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
        headings
    }
}

fn usable(
    draft: &mut Draft,
    arm: Arm,
    role: EvidenceRole,
    households: &[&KitchenHousehold],
    burns: &BTreeSet<&Burn>,
) -> Option<()> {
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
    // A survey asks once; only a weighing lasts.
    if short > 0 && role != EvidenceRole::BaselineSurvey {
        draft.note(
            "short-kitchen-tests",
            format!(
                "{short} of {} {group} kitchens were weighed on fewer than {WANTED_TEST_DAYS} \
                 days.",
                households.len()
            ),
        );
    }
    Some(())
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
