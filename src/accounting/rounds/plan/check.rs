//! Which plans fit which kind of round.

use super::{ExpectedStratum, GroupKey, RoundPlan, SampleDesign, SampleUnit};
use crate::accounting::records::RoundKind;
use crate::accounting::rounds::RoundError;
use std::collections::BTreeSet;

/// What may be drawn for a round of a kind, the usual one first.
///
/// Baselines ask households that need no stove yet, tests of stoves take units out of kitchens,
/// and a laboratory gets samples of char that was weighed.
pub fn units_of(kind: RoundKind) -> &'static [SampleUnit] {
    match kind {
        RoundKind::UsageSurvey => &[SampleUnit::Stove, SampleUnit::Household],
        RoundKind::KitchenProject | RoundKind::CharWeighing | RoundKind::CookingTest => {
            &[SampleUnit::Household]
        }
        RoundKind::KitchenBaseline | RoundKind::BaselineSurvey => &[
            SampleUnit::RegisteredHousehold,
            SampleUnit::HouseholdWithoutStove,
        ],
        RoundKind::Moisture => &[SampleUnit::Household, SampleUnit::RegisteredHousehold],
        RoundKind::StoveTest => &[SampleUnit::Stove],
        RoundKind::CharLab => &[SampleUnit::CharWeighing],
    }
}

/// What a round of a kind measures of each unit, with its unit of measure.
pub fn value_of(kind: RoundKind) -> &'static str {
    match kind {
        RoundKind::UsageSurvey => "share in use",
        RoundKind::KitchenBaseline | RoundKind::KitchenProject | RoundKind::BaselineSurvey => {
            "dry fuel, kg per household-day"
        }
        RoundKind::CharWeighing => "dry char of the round, kg per household",
        RoundKind::CookingTest => {
            "specific consumption on gasifiers, g equivalent dry fuel per kg food, char not credited"
        }
        RoundKind::StoveTest => "thermal efficiency without the char's energy, fraction",
        RoundKind::CharLab => "organic carbon of the dry char, mass fraction",
        RoundKind::Moisture => "moisture on wet basis, fraction",
    }
}

impl RoundPlan {
    /// Whether a round of this kind can be planned so, and whether the plan says what it must.
    pub fn check(&self, kind: RoundKind) -> Result<(), RoundError> {
        if !units_of(kind).contains(&self.unit) {
            return Err(RoundError::field("unit", unit_wanted(kind)));
        }
        let weighings = self.unit == SampleUnit::CharWeighing;
        let from = self.frame_from.is_some_and(|from| from < self.frame_on);
        if weighings != from || weighings != self.frame_from.is_some() {
            return Err(RoundError::field(
                "frame_from",
                "is a day before frame_on for weighings, and left out otherwise",
            ));
        }
        self.check_expected(kind)?;
        self.check_strata(kind)?;
        self.check_design()
    }

    fn check_expected(&self, kind: RoundKind) -> Result<(), RoundError> {
        let counts_yes = kind == RoundKind::UsageSurvey;
        let whole = ExpectedStratum {
            name: String::new(),
            expected_share: self.expected_share,
            expected_mean: self.expected_mean,
            expected_standard_deviation: self.expected_standard_deviation,
        };
        // Where strata have their own, the whole needs none.
        let may_lack = !self.strata.is_empty();
        if fits(&whole, counts_yes) || may_lack && is_empty(&whole) {
            return Ok(());
        }
        Err(if counts_yes {
            RoundError::field(
                "expected_share",
                "is what a usage survey needs: the share in use, and no mean",
            )
        } else {
            RoundError::field(
                "expected_mean",
                "and expected_standard_deviation are what this round needs, and no share",
            )
        })
    }

    fn check_strata(&self, kind: RoundKind) -> Result<(), RoundError> {
        let speaks = !self.strata.is_empty() || !self.allocation.is_default();
        if speaks && self.design != SampleDesign::Stratified {
            return Err(RoundError::field(
                "strata",
                "and allocation belong to a stratified design only",
            ));
        }
        let counts_yes = kind == RoundKind::UsageSurvey;
        let mut names = BTreeSet::new();
        for stratum in &self.strata {
            if !names.insert(stratum.name.as_str()) {
                let detail = format!("names {} twice", stratum.name);
                return Err(RoundError::field("strata", detail));
            }
            if !fits(stratum, counts_yes) {
                let needs = if counts_yes {
                    "a share and no mean"
                } else {
                    "a mean and a standard deviation, and no share"
                };
                let detail = format!("needs for {} {needs}", stratum.name);
                return Err(RoundError::field("strata", detail));
            }
        }
        Ok(())
    }

    fn check_design(&self) -> Result<(), RoundError> {
        let keys: BTreeSet<GroupKey> = self.strata_by.iter().copied().collect();
        if (self.design == SampleDesign::Stratified) == self.strata_by.is_empty()
            || keys.len() != self.strata_by.len()
        {
            return Err(RoundError::field(
                "strata_by",
                "names what strata are made of, each once, for a stratified design only",
            ));
        }
        let known = |key: &GroupKey| match key {
            GroupKey::Site => true,
            GroupKey::Model | GroupKey::AgeBand => self.unit.has_stove(),
            GroupKey::Feedstock => self.unit == SampleUnit::CharWeighing,
        };
        if !keys.iter().all(known) {
            return Err(RoundError::field(
                "strata_by",
                "names something that not every unit has: each has a site, a stove in service \
                 has model and age, a weighing has feedstock",
            ));
        }
        let in_each = self.units_in_each.is_some_and(|units| units >= 2);
        if (self.design == SampleDesign::Cluster) != in_each
            || (!in_each && self.units_in_each.is_some())
        {
            return Err(RoundError::field(
                "units_in_each",
                "is two or more for a cluster design, and left out otherwise",
            ));
        }
        Ok(())
    }
}

fn is_empty(expected: &ExpectedStratum) -> bool {
    expected.expected_share.is_none()
        && expected.expected_mean.is_none()
        && expected.expected_standard_deviation.is_none()
}

fn fits(expected: &ExpectedStratum, counts_yes: bool) -> bool {
    let share = expected.expected_share.is_some();
    let (mean, deviation) = (
        expected.expected_mean.is_some(),
        expected.expected_standard_deviation.is_some(),
    );
    if counts_yes {
        share && !mean && !deviation
    } else {
        !share && mean && deviation
    }
}

fn unit_wanted(kind: RoundKind) -> String {
    let words: Vec<&str> = units_of(kind)
        .iter()
        .map(|unit| match unit {
            SampleUnit::Stove => "stove",
            SampleUnit::Household => "household",
            SampleUnit::RegisteredHousehold => "registered_household",
            SampleUnit::HouseholdWithoutStove => "household_without_stove",
            SampleUnit::CharWeighing => "char_weighing",
        })
        .collect();
    format!("is {} for a round of this kind", words.join(" or "))
}
