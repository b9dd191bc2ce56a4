//! A mass over both groups: of the period, avoided, and in percent of the baseline.

use super::draft::Draft;
use super::fuel::Arm;
use crate::accounting::trace::{Heading, NodeRef};
use rust_decimal::Decimal;

/// One species over both groups, of the period.
pub(super) struct SpeciesMass {
    /// `PM2.5`
    pub name: String,
    /// `pm25`
    pub slug: String,
    pub baseline: NodeRef,
    pub project: NodeRef,
    pub avoided: NodeRef,
    /// Of the baseline; none where the baseline emits nothing.
    pub percent: Option<NodeRef>,
}

/// What a mass is called and the unit it is stated in.
pub(super) struct Wanted<'w> {
    pub name: &'w str,
    pub slug: &'w str,
    /// Follows the words of what was avoided, e.g. `, before leakage`.
    pub qualifier: &'static str,
    pub scale: Scale,
}

/// From kg per household-day to the unit of the period.
#[derive(Clone, Copy)]
pub(super) enum Scale {
    Kilograms,
    Tonnes,
    TonnesCo2e,
}

impl Scale {
    fn per_day(self) -> &'static str {
        match self {
            Scale::Kilograms | Scale::Tonnes => "kg/household-day",
            Scale::TonnesCo2e => "kg CO2e/household-day",
        }
    }

    fn unit(self) -> &'static str {
        match self {
            Scale::Kilograms => "kg",
            Scale::Tonnes => "t",
            Scale::TonnesCo2e => "tCO2e",
        }
    }

    /// Outer `None`: a gap. Inner `None`: nothing to convert.
    fn conversion(self, draft: &mut Draft) -> Option<Option<NodeRef>> {
        match self {
            Scale::Kilograms => Some(None),
            Scale::Tonnes => draft.tonne_per_kg("mass", "t/kg").map(Some),
            Scale::TonnesCo2e => draft.tonne_per_kg("co2e", "tCO2e/kg CO2e").map(Some),
        }
    }
}

pub(super) fn slug(species: &str) -> String {
    species
        .chars()
        .filter(char::is_ascii_alphanumeric)
        .collect::<String>()
        .to_lowercase()
}

/// From the daily masses of both groups to those of the period, their difference and percent.
pub(super) fn over_groups(
    draft: &mut Draft,
    wanted: &Wanted,
    [baseline_day, project_day]: [NodeRef; 2],
    days_in_use: NodeRef,
) -> Option<SpeciesMass> {
    let Wanted {
        name,
        slug,
        qualifier,
        scale,
    } = *wanted;
    let baseline = over_period(draft, wanted, Arm::Baseline, baseline_day, days_in_use)?;
    let project = over_period(draft, wanted, Arm::Project, project_day, days_in_use)?;
    let heading = Heading::new(
        format!("{slug}/avoided"),
        format!("{name} avoided{qualifier}"),
        "mass-avoided",
        scale.unit(),
    );
    let avoided = draft.ledger.difference(heading, baseline, project);
    let avoided = draft.keep(avoided)?;
    let percent = percent(draft, wanted, baseline_day, project_day)?;
    Some(SpeciesMass {
        name: name.to_owned(),
        slug: slug.to_owned(),
        baseline,
        project,
        avoided,
        percent,
    })
}

fn over_period(
    draft: &mut Draft,
    wanted: &Wanted,
    arm: Arm,
    per_day: NodeRef,
    days_in_use: NodeRef,
) -> Option<NodeRef> {
    let mut factors = vec![per_day, days_in_use];
    factors.extend(wanted.scale.conversion(draft)?);
    let heading = Heading::new(
        format!("{}/{}", wanted.slug, arm.id()),
        format!("{} emitted, {}", wanted.name, arm.id()),
        "mass-emitted",
        wanted.scale.unit(),
    );
    let mass = draft.ledger.product(heading, &factors);
    draft.keep(mass)
}

/// Outer `None`: a gap. Inner `None`: the baseline emits nothing, so there is no percentage.
fn percent(
    draft: &mut Draft,
    wanted: &Wanted,
    baseline: NodeRef,
    project: NodeRef,
) -> Option<Option<NodeRef>> {
    let Wanted { name, slug, .. } = *wanted;
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
        wanted.scale.per_day(),
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
