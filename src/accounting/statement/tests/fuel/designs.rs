//! Samples drawn by site: sites as strata, sites as clusters.

use super::*;
use crate::accounting::inputs::{CohortDays, UsageCount};
use crate::accounting::inputs::{EvidenceRole, RegisterCount};
use crate::accounting::methodology::FinitePopulation;

fn cohort(site: &str, stove_days: u64) -> CohortDays {
    CohortDays {
        model_code: "drum".into(),
        model_version: 1,
        site_code: site.into(),
        age_band: 0,
        stove_days,
        stoves: 100,
    }
}

/// Three quarters of the stove days in the north, a quarter in the south.
fn two_sites() -> StatementInputs {
    let mut inputs = example();
    inputs.cohorts = vec![cohort("north", 90_000), cohort("south", 30_000)];
    let count = |site: &str, in_use: u64, not_in_use: u64| UsageCount {
        site_code: site.into(),
        in_use,
        not_in_use,
        ..UsageCount::default()
    };
    inputs.usage = vec![count("north", 80, 20), count("south", 10, 40)];
    inputs.usage[0].meal_share = sums(&["0.5", "0.7", "0.9"]);
    inputs.usage[1].meal_share = sums(&["0.2", "0.4"]);
    let kitchens = |prefix: &str, device: &str, kg: [&str; 4]| -> Vec<KitchenHousehold> {
        kg.iter()
            .enumerate()
            .map(|(at, kg)| {
                let site = if at < 2 { "north" } else { "south" };
                kitchen_at(&format!("{prefix}{at}"), site, device, kg)
            })
            .collect()
    };
    inputs.baseline_kitchens = kitchens("b", "three_stone_fire", ["4", "6", "2", "4"]);
    inputs.project_kitchens = kitchens("p", "gasifier", ["2", "3", "1", "1"]);
    inputs
}

/// By hand: baseline 0.75 * 5 + 0.25 * 3 = 4.5, variance 0.75^2 * 1 + 0.25^2 * 1 = 0.625, 4 - 2
/// degrees; project 0.75 * 2.5 + 0.25 * 1 = 2.125. Unweighted they would be 4 and 1.75.
#[test]
fn kitchens_of_strata_weigh_by_stove_days() {
    let mut inputs = two_sites();
    assert_eq!(node(&stated(&inputs), "fuel/baseline"), decimal("4"));
    inputs.methodology.designs.kitchens = Design::StratifiedBySite;
    let statement = stated(&inputs);
    let baseline = whole_node(&statement, "fuel/baseline");
    assert_eq!(baseline.value, decimal("4.5"));
    close(baseline.standard_error, 0.625f64.sqrt(), 1e-7);
    assert_eq!(baseline.degrees_of_freedom, Some(decimal("2")));
    assert_eq!(node(&statement, "fuel/project"), decimal("2.125"));
}

#[test]
fn a_site_without_kitchens_is_named_and_its_weight_spread() {
    let mut inputs = two_sites();
    inputs.methodology.designs.kitchens = Design::StratifiedBySite;
    inputs.cohorts.insert(0, cohort("east", 60_000));
    inputs
        .baseline_kitchens
        .push(kitchen_at("b8", "west", "three_stone_fire", "50"));
    inputs
        .baseline_kitchens
        .push(kitchen_at("b9", "west", "three_stone_fire", "60"));
    let statement = stated(&inputs);
    assert_eq!(node(&statement, "fuel/baseline"), decimal("4.5"));
    let notes = noted(&statement, "site-not-sampled");
    assert_eq!(notes.len(), 2, "{notes:?}");
    assert!(notes[0].contains("east"), "{}", notes[0]);
    let idle = noted(&statement, "site-without-stove-days");
    assert!(idle.len() == 1 && idle[0].contains("west"), "{idle:?}");
}

#[test]
fn a_stratum_of_one_is_a_gap() {
    let mut inputs = two_sites();
    inputs.methodology.designs.kitchens = Design::StratifiedBySite;
    inputs.project_kitchens.pop();
    one_gap(&inputs, "stratum-of-one-kitchen", &["project", "south"]);
    let mut inputs = two_sites();
    inputs.methodology.designs.usage = Design::StratifiedBySite;
    inputs.usage[1].in_use = 1;
    inputs.usage[1].not_in_use = 0;
    one_gap(&inputs, "stratum-of-one-answer", &["age band 0", "south"]);
}

/// By hand: totals 10, 6 and 3 of 2, 2 and 1 kitchens, ratio 19/5 = 3.8; residuals 2.4, -1.6 and
/// -0.8, variance 3/2 * 8.96 / 25 = 0.5376, two degrees.
#[test]
fn kitchens_of_clusters_have_the_doubt_of_their_sites() {
    let mut inputs = two_sites();
    inputs.methodology.designs.kitchens = Design::ClusteredBySite;
    inputs
        .baseline_kitchens
        .push(kitchen_at("b9", "west", "three_stone_fire", "3"));
    let statement = stated(&inputs);
    let baseline = whole_node(&statement, "fuel/baseline");
    assert_eq!(baseline.value, decimal("3.8"));
    close(baseline.standard_error, 0.5376f64.sqrt(), 1e-7);
    assert_eq!(baseline.degrees_of_freedom, Some(decimal("2")));
    for kitchen in &mut inputs.project_kitchens {
        kitchen.site = "north".into();
    }
    one_gap(&inputs, "too-few-clusters", &["project", "1 site"]);
}

/// Pairs keep what before and after share, whatever the design: differences 2, 3, 1 and 3, the
/// strata's means 2.5 and 2: 0.75 * 2.5 + 0.25 * 2 = 2.375, variances of the means 0.25 and 1:
/// 0.5625 * 0.25 + 0.0625 * 1 = 0.203125.
#[test]
fn pairs_may_be_stratified() {
    let mut inputs = two_sites();
    inputs.methodology.fuel_method = FuelMethod::KitchenTestPaired;
    inputs.methodology.designs.kitchens = Design::StratifiedBySite;
    for kitchen in &mut inputs.project_kitchens {
        kitchen.household = kitchen.household.replace('p', "b");
    }
    let statement = stated(&inputs);
    let saved = whole_node(&statement, "fuel/saved_per_household_day");
    assert_eq!(saved.value, decimal("2.375"));
    close(saved.standard_error, 0.203125f64.sqrt(), 1e-7);
}

/// By hand: 0.75 * 0.8 + 0.25 * 0.2 = 0.65, variance 0.5625 * 0.16/100 + 0.0625 * 0.16/50 = 0.0011,
/// 148 degrees. As clusters 90/150 = 0.6, residuals 20 and -20: 2 * 800 / 22 500 = 0.0711111.
#[test]
fn the_use_rate_follows_its_design() {
    let mut inputs = two_sites();
    let rate = |inputs: &StatementInputs| whole_node(&stated(inputs), "use/rate/band/0").clone();
    assert_eq!(rate(&inputs).value, decimal("0.6"));
    inputs.methodology.designs.usage = Design::StratifiedBySite;
    let stratified = rate(&inputs);
    assert_eq!(stratified.value, decimal("0.65"));
    close(stratified.standard_error, 0.0011f64.sqrt(), 1e-8);
    assert_eq!(stratified.degrees_of_freedom, Some(decimal("148")));
    inputs.methodology.designs.usage = Design::ClusteredBySite;
    let clustered = rate(&inputs);
    assert_eq!(clustered.value, decimal("0.6"));
    close(clustered.standard_error, 0.0711111f64.sqrt(), 1e-6);
    assert_eq!(clustered.degrees_of_freedom, Some(decimal("1")));
    inputs.usage.pop();
    one_gap(&inputs, "too-few-clusters", &["age band 0"]);
}

/// By hand: 0.75 * 0.7 + 0.25 * 0.3 = 0.6, variance 0.5625 * 0.04/3 + 0.0625 * 0.01 = 0.008125, three
/// degrees. As clusters 2.7/5 = 0.54, residuals 0.48 and -0.48: 2 * 0.4608 / 25 = 0.036864.
#[test]
fn the_share_of_meals_follows_the_design_of_the_usage_survey() {
    for (design, value, variance, df) in [
        (Design::SimpleRandom, "0.54", 0.0146, "4"),
        (Design::StratifiedBySite, "0.6", 0.008125, "3"),
        // As strata, but sums of squares over 3 and 2, and 5/4 over all: 0.0053125 * 5 / 4.
        (Design::PostStratifiedBySite, "0.6", 0.006640625, "4"),
        (Design::ClusteredBySite, "0.54", 0.036864, "1"),
    ] {
        let mut inputs = by_cooking_tests();
        let sites = two_sites();
        (inputs.cohorts, inputs.usage) = (sites.cohorts, sites.usage);
        inputs.methodology.designs.usage = design;
        let statement = stated(&inputs);
        let share = whole_node(&statement, "use/cooking_share/band/0");
        assert_eq!(share.value, decimal(value), "{design:?}");
        close(share.standard_error, f64::sqrt(variance), 1e-7);
        assert_eq!(share.degrees_of_freedom, Some(decimal(df)));
    }
}

#[test]
fn sites_that_all_answer_alike_still_leave_doubt() {
    let mut inputs = two_sites();
    inputs.methodology.designs.usage = Design::ClusteredBySite;
    for count in &mut inputs.usage {
        count.not_in_use = 0;
    }
    let error = whole_node(&stated(&inputs), "use/rate/band/0").standard_error;
    assert!(error > Decimal::ZERO);
}

/// By hand: the means of the strata, 4.5 and 0.65; 4 / 3 * (0.75^2 * 2 / 4 + 0.25^2 * 2 / 4) =
/// 0.4166667 for kitchens with residuals of one, 150 / 149 times the strata's 0.0011 for answers.
#[test]
fn sites_weighed_after_the_draw_share_the_doubt_of_one_sample() {
    let mut inputs = two_sites();
    inputs.methodology.designs.kitchens = Design::PostStratifiedBySite;
    inputs.methodology.designs.usage = Design::PostStratifiedBySite;
    let statement = stated(&inputs);
    for (id, value, variance, df) in [
        ("fuel/baseline", "4.5", 1.25 / 3.0, "3"),
        ("use/rate/band/0", "0.65", 0.0011 * 150.0 / 149.0, "149"),
    ] {
        let found = whole_node(&statement, id);
        assert_eq!(found.value, decimal(value), "{id}");
        close(found.standard_error, f64::sqrt(variance), 1e-7);
        assert_eq!(found.degrees_of_freedom, Some(decimal(df)), "{id}");
    }
    inputs.baseline_kitchens.pop();
    one_gap(&inputs, "stratum-of-one-kitchen", &["baseline", "south"]);
}

/// 400 and 100 stoves, 20 and 4 households.
fn counted() -> StatementInputs {
    let mut inputs = two_sites();
    inputs.methodology.designs.finite_population = FinitePopulation::Register;
    let count = |role, age_band, site: &str, units| RegisterCount {
        role,
        age_band,
        site_code: site.into(),
        units,
    };
    inputs.to_draw_from = vec![
        count(EvidenceRole::Usage, Some(0), "north", 400),
        count(EvidenceRole::Usage, Some(0), "south", 100),
        count(EvidenceRole::BaselineKitchens, None, "north", 20),
        count(EvidenceRole::BaselineKitchens, None, "south", 4),
        count(EvidenceRole::ProjectKitchens, None, "north", 20),
        count(EvidenceRole::ProjectKitchens, None, "south", 4),
    ];
    inputs
}

/// By hand. Kitchens 4, 6, 2, 4: 8/3 / 4 * (1 - 4/24) = 0.5555556; as strata 0.75^2 * 0.9 +
/// 0.25^2 * 0.5 = 0.5375; after the draw 1.25 / 3 * 20/24. Answers 0.24/150 * (1 - 150/500); as
/// strata 0.0009 * 0.75 + 0.0002 * 0.5; after the draw 0.0011 * 150/149 * 0.7. Clusters stay.
#[test]
fn a_finite_population_leaves_less_doubt() {
    for (design, kitchens, answers) in [
        (Design::SimpleRandom, 2.0 / 3.0 * 20.0 / 24.0, 0.0016 * 0.7),
        (Design::StratifiedBySite, 0.5375, 0.000775),
        (
            Design::PostStratifiedBySite,
            1.25 / 3.0 * 20.0 / 24.0,
            0.0011 * 150.0 / 149.0 * 0.7,
        ),
    ] {
        let mut inputs = counted();
        inputs.methodology.designs.kitchens = design;
        inputs.methodology.designs.usage = design;
        let statement = stated(&inputs);
        let error = |id: &str| whole_node(&statement, id).standard_error;
        close(error("fuel/baseline"), f64::sqrt(kitchens), 1e-7);
        close(error("use/rate/band/0"), f64::sqrt(answers), 1e-8);
    }
    let mut inputs = counted();
    inputs.methodology.designs.usage = Design::ClusteredBySite;
    let error = whole_node(&stated(&inputs), "use/rate/band/0").standard_error;
    close(error, 0.0711111f64.sqrt(), 1e-6);
    inputs.methodology.designs.finite_population = FinitePopulation::None;
    let statement = stated(&inputs);
    assert!(
        statement
            .trace
            .node("drawn_from/baseline_kitchens")
            .is_none()
    );
    assert!(noted(&statement, "finite-population").is_empty());
}

#[test]
fn the_trace_shows_population_sample_and_correction() {
    let mut inputs = counted();
    inputs.methodology.designs.kitchens = Design::StratifiedBySite;
    let statement = stated(&inputs);
    let stoves = whole_node(&statement, "drawn_from/usage/band/0");
    assert_eq!(stoves.value, decimal("500"));
    assert!(
        stoves.label.contains("150 are in the usage answers"),
        "{}",
        stoves.label
    );
    let south = whole_node(&statement, "drawn_from/project_kitchens/south");
    assert_eq!(south.value, decimal("4"));
    let notes = noted(&statement, "finite-population");
    assert_eq!(notes.len(), 5, "{notes:?}");
    assert!(
        notes
            .iter()
            .any(|note| note.contains("took 150 of 500") && note.contains("0.7"))
    );
}

#[test]
fn a_sample_larger_than_the_register_is_not_corrected_and_said_so() {
    let mut inputs = counted();
    let plain = whole_node(&stated(&two_sites()), "fuel/baseline").standard_error;
    inputs
        .to_draw_from
        .retain(|count| count.role != EvidenceRole::BaselineKitchens);
    let statement = stated(&inputs);
    assert_eq!(
        whole_node(&statement, "fuel/baseline").standard_error,
        plain
    );
    let notes = noted(&statement, "population-too-small");
    assert!(
        notes.len() == 1 && notes[0].contains("baseline"),
        "{notes:?}"
    );
}
