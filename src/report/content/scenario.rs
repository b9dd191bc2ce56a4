//! The baseline scenario, sources, sinks and reservoirs, and the methodology.

use super::Writer;
use crate::accounting::inputs::EvidenceRole;
use crate::accounting::methodology::{
    Approach, BaselineFuel, CharCarbon, CharPlace, CookingShare, Design, Fallback, FuelMethod,
    FuelPer, Leakage, Methodology, NonRenewableOn, Permanence, Sides,
};
use crate::accounting::trace::Source;
use crate::report::block::{Block, Row, plain};
use crate::report::words;
use std::collections::BTreeSet;

pub(super) fn write(writer: &mut Writer<'_>) {
    baseline(writer);
    boundary(writer);
    methodology(writer);
}

/// Devices and fuels that the evidence of a role names.
fn burnt(writer: &Writer<'_>, roles: &[EvidenceRole]) -> String {
    let mut found: BTreeSet<String> = BTreeSet::new();
    for node in &writer.source.statement.trace.nodes {
        if let Source::Evidence { role, at, .. } = &node.source
            && roles.contains(role)
            && let (Some(device), Some(fuel)) = (at.get("device"), at.get("fuel"))
        {
            found.insert(format!(
                "{} in a {}",
                words::spaced(fuel),
                words::spaced(device)
            ));
        }
    }
    let found: Vec<String> = found.into_iter().collect();
    found.join(", ")
}

fn baseline(writer: &mut Writer<'_>) {
    writer.section("Baseline scenario");
    let methodology = &writer.source.methodology;
    let from = match &methodology.displacement {
        None => "weighed in kitchen tests of households without a stove of the programme",
        Some(rule) => match &rule.baseline_fuel {
            BaselineFuel::KitchenTest => "weighed in baseline kitchen tests",
            BaselineFuel::Survey => "told in a baseline survey",
            BaselineFuel::Cited(_) => "taken from cited defaults",
        },
    };
    writer.say(format!(
        "Without the project the households would have gone on cooking on the devices and with the \
         fuels that they used before. That use is {from}, and is taken as the baseline for every \
         household-day in use."
    ));
    let roles = [EvidenceRole::BaselineKitchens, EvidenceRole::BaselineSurvey];
    let burnt = burnt(writer, &roles);
    if !burnt.is_empty() {
        writer.say(format!("Burnt in the baseline: {burnt}."));
    }
    let figures = writer.named(&[
        "fuel_per_household_day_baseline",
        "fuel_per_adult_day_baseline",
        "co2e_baseline",
    ]);
    writer.figures("The baseline in figures", &figures);
}

fn boundary(writer: &mut Writer<'_>) {
    writer.section("Sources, sinks and reservoirs");
    let methodology = &writer.source.methodology;
    let gases: Vec<&str> = [
        ("co2_avoided", "CO2"),
        ("ch4_avoided", "CH4"),
        ("n2o_avoided", "N2O"),
    ]
    .into_iter()
    .filter(|(id, _)| writer.figure(id).is_some())
    .map(|(_, gas)| gas)
    .collect();
    let gases = gases.join(", ");
    let mut rows = vec![
        [
            "Burning of fuel in the baseline",
            "source",
            &gases,
            "counted",
        ],
        [
            "Burning of fuel in project households, in old and new devices",
            "source",
            &gases,
            "counted",
        ],
    ];
    if methodology
        .fuels
        .iter()
        .any(|fuel| fuel.made_from.is_some())
    {
        rows.push(["Making of charcoal in kilns", "source", &gases, "counted"]);
    }
    let leakage = match &methodology.leakage {
        Leakage::Multiplier(_) => "counted by a default multiplier",
        Leakage::Items(_) => "counted item by item",
    };
    rows.push([
        "Emissions moved elsewhere (leakage)",
        "source",
        "CO2e",
        leakage,
    ]);
    let char = match methodology.char_rule.counted_in {
        CharPlace::SoilSink => "counted once, as a removal, apart from reductions",
        CharPlace::CarbonBalance => "counted once, in the project's CO2, and not as a removal",
        CharPlace::EnergyCredit => "counted once, as energy, and not as a removal",
        CharPlace::Nowhere => "not counted",
    };
    rows.push(["Carbon of char put to a durable use", "sink", "CO2", char]);
    rows.push([
        "Particulate matter, CO and other short-lived species",
        "source",
        "as masses",
        "beside the account: never claimed as CO2e",
    ]);
    rows.push([
        "Making, carrying and disposing of the stoves",
        "source",
        "CO2",
        "not counted",
    ]);
    let rows = rows
        .into_iter()
        .map(|cells| Row::new(cells.into_iter().map(plain).collect()))
        .collect();
    writer.table(
        "What is inside the account and what is not",
        &[
            ("Source, sink or reservoir", 3.4, false),
            ("Kind", 0.8, false),
            ("Gases", 1.3, false),
            ("In the account", 2.8, false),
        ],
        rows,
    );
}

fn methodology(writer: &mut Writer<'_>) {
    writer.section("Methodology");
    let methodology = &writer.source.methodology;
    writer.say(format!(
        "{}, version {} ({}): every choice is data, kept in the trail with the statement.",
        methodology.title,
        methodology.version,
        methodology.id()
    ));
    let rows = choices(methodology)
        .into_iter()
        .map(|(name, value)| (name, plain(value)))
        .collect();
    writer.facts("Choices of the methodology", rows);
    writer.under("Works that it follows");
    let citations = methodology.citations.iter();
    writer.put(Block::Items(citations.map(plain).collect()));
}

fn choices(methodology: &Methodology) -> Vec<(&'static str, String)> {
    let mut rows = vec![
        ("Fuel saved", fuel_method(methodology)),
        (
            "Samples",
            format!(
                "kitchens: {}; use: {}; at least {} answers in an age band",
                design(methodology.designs.kitchens),
                design(methodology.designs.usage),
                methodology.minimum_answers_per_age_band
            ),
        ),
        (
            "Days of grace after installation",
            methodology.grace_days.to_string(),
        ),
        ("Warming potentials", methodology.gwp_set.clone()),
        (
            "Non-renewable fraction",
            match methodology.non_renewable_on {
                NonRenewableOn::Co2 => "multiplies CO2 alone".to_owned(),
                NonRenewableOn::AllGases => "multiplies every gas".to_owned(),
            },
        ),
        ("Leakage", leakage(&methodology.leakage)),
        ("Char", char_rule(methodology)),
        ("Uncertainty", uncertainty(methodology)),
        ("Claim", claim(methodology)),
    ];
    if let Some(rule) = &methodology.displacement {
        let share = match &rule.cooking_share {
            CookingShare::UsageSurvey => "as users told the usage survey".to_owned(),
            CookingShare::Cited(id) => format!("the factor {id}"),
        };
        rows.insert(1, ("Share of the cooking moved", share));
    }
    rows
}

fn fuel_method(methodology: &Methodology) -> String {
    let method = match methodology.fuel_method {
        FuelMethod::KitchenTestIndependent => {
            "kitchen performance tests, baseline and project households as independent groups"
        }
        FuelMethod::KitchenTestPaired => {
            "kitchen performance tests, the same kitchens before and after"
        }
        FuelMethod::CookingTest => "controlled cooking tests, dish by dish",
        FuelMethod::ThermalEfficiency => "ratio of thermal efficiencies",
    };
    let per = match methodology.fuel_per {
        FuelPer::Household => "per household and day",
        FuelPer::StandardAdult => "per standard adult and day",
    };
    format!("{method}; {per}")
}

fn design(design: Design) -> &'static str {
    match design {
        Design::SimpleRandom => "simple random sample",
        Design::StratifiedBySite => "stratified by site",
        Design::PostStratifiedBySite => {
            "simple random sample, weighed afterwards by site (post-stratified)"
        }
        Design::ClusteredBySite => "clustered by site",
    }
}

fn leakage(leakage: &Leakage) -> String {
    match leakage {
        Leakage::Multiplier(id) => format!("multiplier {id} on the gross reduction"),
        Leakage::Items(items) => {
            let items: Vec<String> = items
                .iter()
                .map(|item| format!("{} ({})", item.title, item.share))
                .collect();
            format!("item by item: {}", items.join("; "))
        }
    }
}

fn char_rule(methodology: &Methodology) -> String {
    let rule = &methodology.char_rule;
    let counted = match rule.counted_in {
        CharPlace::SoilSink => "counted in the soil sink alone",
        CharPlace::CarbonBalance => "counted in the project's carbon balance alone",
        CharPlace::EnergyCredit => "counted as energy alone",
        CharPlace::Nowhere => return "counted nowhere".to_owned(),
    };
    let carbon = match rule.carbon {
        CharCarbon::Cited => "carbon from a cited default",
        CharCarbon::LaboratoryElseCited => "carbon from the laboratory, else from a cited default",
    };
    let permanence = match &rule.permanence {
        Permanence::Factor(id) => format!("permanence {id}"),
        Permanence::HydrogenToCarbon(line) => format!(
            "permanence from H/C_org ({} and {}; unmeasured: {})",
            line.intercept, line.slope, line.unmeasured
        ),
    };
    format!(
        "{counted}; durable fates: {}; {carbon}; {permanence}; yield bound {}",
        rule.durable_fates.join(", "),
        rule.yield_bound
    )
}

fn uncertainty(methodology: &Methodology) -> String {
    let rule = &methodology.uncertainty;
    let from = match rule.claim_from {
        Approach::Analytic => "propagation of errors",
        Approach::MonteCarlo => "simulation",
    };
    format!(
        "both approaches are stated; the claim rests on {from}; {} draws; a note where the two \
         part by more than {} of the value",
        words::count(rule.draws),
        words::percent(rule.agreement)
    )
}

fn claim(methodology: &Methodology) -> String {
    let rule = &methodology.claim;
    let sides = match rule.sides {
        Sides::One => "one-sided",
        Sides::Two => "two-sided",
    };
    let fallback = match rule.fallback {
        Fallback::LowerBound => format!(
            "the lower bound of the {sides} {} interval",
            words::percent(rule.confidence)
        ),
        Fallback::Nothing => "nothing".to_owned(),
    };
    let mut text = match rule.precision {
        Some(precision) => format!(
            "the point estimate where the half-width is within {} of it, else {fallback}",
            words::percent(precision)
        ),
        None => format!("always {fallback}"),
    };
    if let Some(floor) = rule.floor_t {
        text.push_str(&format!("; nothing below {} t", words::whole(floor)));
    }
    text.push_str("; never above the point estimate; whole tonnes, rounded down");
    text
}
