//! Rules and sizes of households and deployments.

use super::{Row, committed, date, programme, rows};
use crate::seed::Seed;
use chrono::NaiveDate;
use std::collections::{BTreeMap, BTreeSet};

/// A deployment with the end that either file gives it.
pub(super) struct Known {
    pub(super) serial: String,
    pub(super) household: String,
    pub(super) installed_on: NaiveDate,
    pub(super) ended_on: Option<NaiveDate>,
    pub(super) reason: String,
    pub(super) second: bool,
}

impl Known {
    pub(super) fn is_there_on(&self, day: NaiveDate) -> bool {
        self.installed_on <= day && self.ended_on.is_none_or(|end| day < end)
    }
}

pub(super) fn deployments(seed: &Seed) -> Vec<Known> {
    let mut ends: BTreeMap<(String, NaiveDate), Row> = rows(seed, "deployment-ends.csv")
        .into_iter()
        .map(|row| ((row["serial"].clone(), date(&row, "installed_on")), row))
        .collect();
    let known = rows(seed, "deployments.csv")
        .into_iter()
        .map(|row| {
            let installed_on = date(&row, "installed_on");
            let open = row["ended_on"].is_empty();
            assert_eq!(open, row["end_reason"].is_empty(), "{row:?}");
            let later = ends.remove(&(row["serial"].clone(), installed_on));
            assert!(open || later.is_none(), "{} ends twice", row["serial"]);
            let end = if open { later } else { Some(row.clone()) };
            Known {
                serial: row["serial"].clone(),
                household: row["household_code"].clone(),
                installed_on,
                ended_on: end.as_ref().map(|end| date(end, "ended_on")),
                reason: end.map(|end| end["end_reason"].clone()).unwrap_or_default(),
                second: row["second_stove"] == "yes",
            }
        })
        .collect();
    assert!(ends.is_empty(), "ends of unknown deployments: {ends:?}");
    known
}

pub(super) fn assert_rules(seed: &Seed) {
    let programme = programme(seed);
    let sites: BTreeSet<&String> = programme.sites.iter().map(|site| &site.code).collect();
    let households = rows(seed, "households.csv");
    let codes: BTreeSet<&String> = households
        .iter()
        .map(|row| &row["household_code"])
        .collect();
    assert_eq!(
        codes.len(),
        households.len(),
        "a household code stands twice"
    );
    assert!(
        households
            .iter()
            .all(|row| sites.contains(&row["site_code"]))
    );
    let known = deployments(seed);
    let serials: BTreeSet<&String> = known.iter().map(|known| &known.serial).collect();
    assert_eq!(
        serials.len(),
        known.len(),
        "a serial stands twice, so it could overlap"
    );
    let mut by_household: BTreeMap<&String, Vec<&Known>> = BTreeMap::new();
    for deployment in &known {
        assert!(
            codes.contains(&deployment.household),
            "{}",
            deployment.serial
        );
        assert!(deployment.installed_on < programme.period.ends_on);
        if let Some(ended_on) = deployment.ended_on {
            assert!(deployment.installed_on < ended_on, "{}", deployment.serial);
            assert!(ended_on < programme.period.ends_on, "{}", deployment.serial);
        }
        by_household
            .entry(&deployment.household)
            .or_default()
            .push(deployment);
    }
    for stays in by_household.values_mut() {
        stays.retain(|stay| !stay.second);
        stays.sort_by_key(|stay| stay.installed_on);
        for pair in stays.windows(2) {
            let ended_on = pair[0].ended_on.expect("the earlier stove has ended");
            assert!(
                ended_on <= pair[1].installed_on,
                "{} overlaps",
                pair[1].serial
            );
        }
    }
}

#[test]
fn the_register_keeps_its_rules() {
    assert_rules(&committed());
}

#[test]
fn the_register_has_the_promised_sizes() {
    let seed = committed();
    assert_eq!(rows(&seed, "households.csv").len(), 1060);
    let known = deployments(&seed);
    assert_eq!(known.len(), 1200);
    assert_eq!(known.iter().filter(|known| known.second).count(), 20);
    let installed = |year: &str| {
        known
            .iter()
            .filter(|known| known.installed_on.to_string().starts_with(year))
            .count()
    };
    for year in ["2023", "2024", "2025"] {
        assert!(installed(year) > 300, "{year}");
    }
    let later = rows(&seed, "deployment-ends.csv");
    let ended = known
        .iter()
        .filter(|known| known.ended_on.is_some())
        .count();
    assert!(
        later.len() > 30 && ended - later.len() > 30 + 120,
        "ends come by both files"
    );
    let versions: BTreeSet<String> = rows(&seed, "deployments.csv")
        .into_iter()
        .map(|row| row["model_version"].clone())
        .collect();
    assert_eq!(versions, BTreeSet::from(["1".to_owned(), "2".to_owned()]));
}

#[test]
fn a_replaced_stove_is_followed_on_the_same_day_in_the_same_household() {
    let known = deployments(&committed());
    let replaced: Vec<&Known> = known
        .iter()
        .filter(|known| known.reason == "replaced")
        .collect();
    assert_eq!(replaced.len(), 120);
    for stove in replaced {
        assert!(
            known.iter().any(|next| {
                next.household == stove.household
                    && Some(next.installed_on) == stove.ended_on
                    && next.serial != stove.serial
            }),
            "{}",
            stove.serial
        );
    }
}

#[test]
fn a_second_stove_stands_beside_a_first_one() {
    let known = deployments(&committed());
    for second in known.iter().filter(|known| known.second) {
        assert!(
            known.iter().any(|first| {
                !first.second
                    && first.household == second.household
                    && first.is_there_on(second.installed_on)
            }),
            "{}",
            second.serial
        );
    }
}
