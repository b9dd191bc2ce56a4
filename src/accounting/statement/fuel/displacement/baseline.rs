//! Baseline fuel per household-day: weighed, asked for, or cited.

use crate::accounting::factor::Quantity;
use crate::accounting::inputs::{Burn, EvidenceRole};
use crate::accounting::methodology::{BaselineFuel, CitedFuel};
use crate::accounting::statement::co2e::of_quantity;
use crate::accounting::statement::draft::Draft;
use crate::accounting::statement::fuel::group::Group;
use crate::accounting::statement::fuel::kitchen_test::{Means, per_household};
use crate::accounting::statement::fuel::{Arm, BurntFuel, Kitchens, all_fuels, rule_of, sample};
use crate::accounting::trace::Heading;

pub(super) fn group<'a>(draft: &mut Draft<'a>, rule: &'a BaselineFuel) -> Option<Kitchens<'a>> {
    let inputs = draft.inputs;
    let (role, households, name) = match rule {
        BaselineFuel::KitchenTest => (
            EvidenceRole::BaselineKitchens,
            &inputs.baseline_kitchens,
            "baseline kitchen tests",
        ),
        BaselineFuel::Survey => (
            EvidenceRole::BaselineSurvey,
            &inputs.baseline_survey,
            "baseline survey",
        ),
        BaselineFuel::Cited(cited) => return cited_group(draft, cited),
    };
    let group = Group::read(draft, Arm::Baseline, role, households.iter().collect())?;
    let nodes = sample::kitchens(draft, name, &[&group])?;
    let means = Means::new(group, nodes.first()?)?;
    per_household(draft, means)
}

fn cited_group<'a>(draft: &mut Draft<'a>, cited: &'a [CitedFuel]) -> Option<Kitchens<'a>> {
    if cited.is_empty() {
        draft.gap(
            "no-baseline-fuel",
            "The methodology cites its baseline fuel, but names none.".to_owned(),
        );
        return None;
    }
    let burns: Vec<Option<BurntFuel>> = cited.iter().map(|fuel| cited_burn(draft, fuel)).collect();
    let burns: Vec<BurntFuel> = burns.into_iter().collect::<Option<_>>()?;
    Some(Kitchens {
        arm: Arm::Baseline,
        per_day: all_fuels(draft, Arm::Baseline, &burns)?,
        burns,
        per_adult_day: None,
    })
}

fn cited_burn<'a>(draft: &mut Draft<'a>, cited: &'a CitedFuel) -> Option<BurntFuel<'a>> {
    let CitedFuel {
        device,
        fuel,
        per_household_day,
    } = cited;
    let rule = rule_of(draft, Arm::Baseline, device, fuel);
    let factor = draft.named_factor(per_household_day, "baseline fuel per household-day")?;
    let value = of_quantity(draft, factor, Quantity::BaselineFuel)?;
    let heading = Heading::new(
        format!("fuel/baseline/{device}/{fuel}"),
        format!("dry {fuel} in {device} per household-day, baseline, as cited"),
        "cited-baseline-fuel",
        "kg dry fuel/household-day",
    );
    let node = draft.ledger.product(heading, &[value]);
    Some(BurntFuel {
        arm: Arm::Baseline,
        burn: Burn {
            device: device.clone(),
            fuel: fuel.clone(),
        },
        rule: rule?,
        per_day: draft.keep(node)?,
    })
}
