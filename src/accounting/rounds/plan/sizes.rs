//! How many units a plan needs, and how they are shared out.

use super::{
    ExpectedStratum, GroupCount, GroupSize, PlanStep, PrecisionKind, RoundPlan, SampleAllocation,
    SampleDesign, Sizes,
};
use crate::accounting::rounding::{FIGURE_DIGITS, from_statistic, to_digits, to_statistic};
use crate::accounting::rounds::RoundError;
use crate::statistics::design::Margin;
use crate::statistics::sample_size::{
    Allocation, Expected, PlannedStratum, SampleSize, Step, Wanted, mean_needed, proportion_needed,
    stratified_needed,
};
use rust_decimal::Decimal;
use std::collections::BTreeMap;

impl RoundPlan {
    /// Half width that is wanted.
    pub fn margin(&self) -> Margin {
        let value = to_statistic(self.precision);
        match self.precision_is {
            PrecisionKind::Relative => Margin::Relative(value),
            PrecisionKind::Absolute => Margin::Absolute(value),
        }
    }

    fn wanted(&self) -> Wanted {
        Wanted {
            design_effect: to_statistic(self.design_effect),
            response: to_statistic(self.expected_response),
            ..Wanted::new(to_statistic(self.confidence), self.margin())
        }
    }

    fn expected(&self) -> Option<Expected> {
        expected(
            self.expected_share,
            self.expected_mean,
            self.expected_standard_deviation,
        )
    }

    /// Works out how many units to draw of groups with these units; [`RoundPlan::check`] first.
    pub fn sizes(&self, groups: &[GroupCount]) -> Result<Sizes, RoundError> {
        let units: u64 = groups.iter().map(|group| group.units).sum();
        if units < 2 {
            return Err(RoundError::field(
                "frame_on",
                "is a day on which the register has fewer than two units",
            ));
        }
        let wanted = self.wanted();
        if self.design == SampleDesign::Stratified {
            return self.in_strata(groups, &wanted);
        }
        let expected = self
            .expected()
            .ok_or_else(|| RoundError::field("expected_mean", "or expected_share is missing"))?;
        let size = match expected {
            Expected::Share(share) => proportion_needed(share, Some(units), &wanted)?,
            Expected::Mean {
                mean,
                standard_deviation,
            } => mean_needed(mean, standard_deviation, Some(units), &wanted)?,
        };
        match self.units_in_each {
            Some(in_each) => self.in_clusters(size, groups, u64::from(in_each)),
            None => {
                let sized = groups
                    .iter()
                    .map(|group| self.group(group, size.needed, size.to_visit))
                    .collect();
                Ok(told(size, None, sized))
            }
        }
    }

    /// Each stratum with what is expected of it: its own, else that of the whole.
    fn in_strata(&self, groups: &[GroupCount], wanted: &Wanted) -> Result<Sizes, RoundError> {
        let mut own: BTreeMap<&str, &ExpectedStratum> = self
            .strata
            .iter()
            .map(|stratum| (stratum.name.as_str(), stratum))
            .collect();
        let mut strata = Vec::with_capacity(groups.len());
        for group in groups {
            let expected = match own.remove(group.name.as_str()) {
                Some(stratum) => expected(
                    stratum.expected_share,
                    stratum.expected_mean,
                    stratum.expected_standard_deviation,
                ),
                None => self.expected(),
            };
            let expected = expected.ok_or_else(|| {
                let detail = format!("says nothing of {}, nor does the whole", group.name);
                RoundError::field("strata", detail)
            })?;
            strata.push(PlannedStratum {
                name: group.name.clone(),
                population: group.units,
                expected,
            });
        }
        if let Some(unknown) = own.keys().next() {
            let there: Vec<&str> = groups.iter().map(|group| group.name.as_str()).collect();
            let detail = format!(
                "names {unknown}, which the frame has not: it has {}",
                there.join("; ")
            );
            return Err(RoundError::field("strata", detail));
        }
        let allocation = match self.allocation {
            SampleAllocation::Proportional => Allocation::Proportional,
            SampleAllocation::Optimum => Allocation::Neyman,
        };
        let mut size = stratified_needed(&strata, allocation, wanted)?;
        if !self.strata.is_empty() {
            let mut steps: Vec<Step> = strata.iter().flat_map(steps_of).collect();
            steps.append(&mut size.whole.steps);
            size.whole.steps = steps;
        }
        let groups = groups
            .iter()
            .zip(&size.strata)
            .map(|(group, stratum)| self.group(group, stratum.needed, stratum.to_visit))
            .collect();
        Ok(told(size.whole, None, groups))
    }

    /// Sites by the needed units, the design effect being in these already (common practice of
    /// survey handbooks, no source).
    fn in_clusters(
        &self,
        mut size: SampleSize,
        groups: &[GroupCount],
        in_each: u64,
    ) -> Result<Sizes, RoundError> {
        let clusters = size.needed.div_ceil(in_each.max(1)).max(2);
        let there_are = groups.len() as u64;
        if clusters > there_are {
            return Err(RoundError::field(
                "units_in_each",
                format!(
                    "asks for {clusters} sites and there are {there_are}: ask for more units in \
                     each, or for less precision"
                ),
            ));
        }
        size.steps.push(Step {
            words: "sites to draw, two at least; rounded up".into(),
            formula: format!("c = n / {in_each}"),
            value: clusters as f64,
        });
        let response = to_statistic(self.expected_response);
        let visits = ((in_each as f64 / response) - 1e-9).ceil() as u64;
        let groups = groups
            .iter()
            .map(|group| self.group(group, in_each, visits))
            .collect();
        Ok(told(size, Some(clusters), groups))
    }

    fn group(&self, group: &GroupCount, needed: u64, to_visit: u64) -> GroupSize {
        let sample = needed.min(group.units);
        let reserve = to_visit
            .saturating_sub(needed)
            .saturating_add(u64::from(self.reserve));
        GroupSize {
            name: group.name.clone(),
            units: group.units,
            sample,
            reserve: reserve.min(group.units - sample),
        }
    }
}

fn expected(
    share: Option<Decimal>,
    mean: Option<Decimal>,
    deviation: Option<Decimal>,
) -> Option<Expected> {
    match (share, mean, deviation) {
        (None, Some(mean), Some(deviation)) => Some(Expected::Mean {
            mean: to_statistic(mean),
            standard_deviation: to_statistic(deviation),
        }),
        (share, ..) => share.map(|share| Expected::Share(to_statistic(share))),
    }
}

/// Units, value and deviation that go in for one stratum.
fn steps_of(stratum: &PlannedStratum) -> [Step; 3] {
    let line = |words: &str, formula: &str, value: f64| Step {
        words: format!("{words} in {}", stratum.name),
        formula: formula.to_owned(),
        value,
    };
    let units = line("units", "N_h", stratum.population as f64);
    match stratum.expected {
        Expected::Share(share) => [
            units,
            line("share that is expected", "m_h = p_h", share),
            line(
                "standard deviation of yes and no",
                "S_h = sqrt(p_h (1 - p_h))",
                (share * (1.0 - share)).sqrt(),
            ),
        ],
        Expected::Mean {
            mean,
            standard_deviation,
        } => [
            units,
            line("mean that is expected", "m_h", mean),
            line(
                "standard deviation that is expected",
                "S_h",
                standard_deviation,
            ),
        ],
    }
}

fn told(size: SampleSize, clusters: Option<u64>, groups: Vec<GroupSize>) -> Sizes {
    let steps = size.steps.into_iter().map(|step| PlanStep {
        words: step.words,
        formula: step.formula,
        value: to_digits(
            from_statistic(step.value).unwrap_or_default(),
            FIGURE_DIGITS,
        ),
    });
    Sizes {
        steps: steps.collect(),
        needed: size.needed,
        to_visit: size.to_visit,
        clusters,
        groups,
    }
}
