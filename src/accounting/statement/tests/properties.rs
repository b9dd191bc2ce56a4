//! Laws that every statement keeps, over many invented programmes.

use super::example::*;
use crate::accounting::evidence::*;
use crate::accounting::gather::*;
use crate::accounting::inputs::StatementInputs;
use crate::accounting::statement::Statement;
use chrono::{Days, NaiveDate};
use proptest::prelude::*;
use rust_decimal::Decimal;

fn close(found: Decimal, expected: Decimal) -> bool {
    (found - expected).abs() <= expected.abs() * decimal("0.000001") + decimal("0.000001")
}

fn households_of(inputs: &mut StatementInputs, times: Decimal) {
    for kitchen in inputs
        .baseline_kitchens
        .iter_mut()
        .chain(&mut inputs.project_kitchens)
    {
        kitchen.dry_kg.values_mut().for_each(|kg| *kg *= times);
    }
    for lot in &mut inputs.char_lots {
        lot.dry_kg *= times;
    }
}

fn never_above(statement: &Statement) -> bool {
    let reductions = Decimal::from(statement.claims.reductions.tonnes.tonnes());
    let removals = Decimal::from(statement.claims.removals.tonnes.tonnes());
    reductions <= node(statement, "co2e/reductions").max(Decimal::ZERO)
        && removals <= node(statement, "char/removals").max(Decimal::ZERO)
}

/// A field season: ten households, each with a stove, answers, kitchen days and char.
#[derive(Debug, Clone)]
struct Season {
    households: Vec<Household>,
    deployments: Vec<Deployment>,
    answers: Vec<UsageAnswer>,
    baseline: Vec<KitchenDay>,
    project: Vec<KitchenDay>,
    weighings: Vec<CharWeighing>,
}

fn day(offset: u64) -> NaiveDate {
    "2025-03-01".parse::<NaiveDate>().unwrap() + Days::new(offset)
}

fn kitchen_days(household: &str, device: &str, kg: &[u16; 3]) -> Vec<KitchenDay> {
    let row = |(at, grams): (u64, &u16)| KitchenDay {
        household_code: household.into(),
        measured_on: day(at),
        device: device.into(),
        fuel: "wood".into(),
        stock_start_wet_kg: decimal("20"),
        added_wet_kg: Decimal::from(*grams),
        stock_end_wet_kg: decimal("20"),
        moisture_wb: decimal("0.137"),
        people: People {
            children_0_14: 3,
            women_over_14: 1,
            men_15_59: 1,
            men_over_59: 0,
        },
    };
    (0u64..).zip(kg).map(row).collect()
}

fn season() -> impl Strategy<Value = Season> {
    let household = (
        any::<[u16; 3]>(),
        any::<[u16; 3]>(),
        0u64..900,
        0u8..4,
        1u16..500,
    );
    proptest::collection::vec(household, 4..10).prop_map(|rows| {
        let mut season = Season {
            households: vec![],
            deployments: vec![],
            answers: vec![],
            baseline: vec![],
            project: vec![],
            weighings: vec![],
        };
        for (at, (before, after, age, outcome, char_kg)) in rows.into_iter().enumerate() {
            let code = format!("h{at}");
            season.households.push(Household {
                household_code: code.clone(),
                site_code: format!("s{}", at % 3),
                people: People::default(),
            });
            season.deployments.push(Deployment {
                serial: format!("st{at}"),
                model_code: "drum".into(),
                model_version: 1,
                household_code: code.clone(),
                installed_on: day(0) - Days::new(age),
                ended_on: None,
                end_reason: None,
                second_stove: false,
            });
            season.answers.push(UsageAnswer {
                household_code: code.clone(),
                serial: format!("st{at}"),
                surveyed_on: day(10),
                outcome: [
                    UsageOutcome::InUse,
                    UsageOutcome::NotInUse,
                    UsageOutcome::NotFound,
                    UsageOutcome::Refused,
                ][usize::from(outcome)],
                days_used_last_week: None,
                share_of_meals: None,
            });
            season
                .baseline
                .extend(kitchen_days(&code, "three_stone_fire", &before));
            season
                .project
                .extend(kitchen_days(&code, "gasifier", &after));
            season.weighings.push(CharWeighing {
                household_code: code,
                weighed_on: day(20),
                feedstock: if at % 2 == 0 { "wood" } else { "coconut_husk" }.into(),
                fuel_burnt_wet_kg: Some(decimal("900")),
                fuel_moisture_wb: Some(decimal("0.1")),
                char_wet_kg: Decimal::from(char_kg),
                char_moisture_wb: decimal("0.2"),
                fate: if at % 3 == 0 { "unknown" } else { "soil" }.into(),
            });
        }
        season
    })
}

fn gathered(season: &Season) -> StatementInputs {
    let mut inputs = example();
    let Season {
        households,
        deployments,
        answers,
        baseline,
        project,
        weighings,
    } = season;
    inputs.cohorts = cohorts(
        households,
        deployments,
        &[] as &[DeploymentEnd],
        &inputs.period,
        7,
    )
    .unwrap();
    inputs.usage = usage_counts(answers, deployments, households, &inputs.period).unwrap();
    inputs.baseline_kitchens = kitchen_households(baseline, households).unwrap();
    inputs.project_kitchens = kitchen_households(project, households).unwrap();
    inputs.char_lots = char_lots(weighings, &inputs.period, decimal("0.30")).unwrap();
    inputs
}

fn shuffled(season: Season) -> impl Strategy<Value = (Season, Season)> {
    let parts = (
        Just(season.households.clone()).prop_shuffle(),
        Just(season.deployments.clone()).prop_shuffle(),
        Just(season.answers.clone()).prop_shuffle(),
        Just(season.baseline.clone()).prop_shuffle(),
        Just(season.project.clone()).prop_shuffle(),
        Just(season.weighings.clone()).prop_shuffle(),
    );
    parts.prop_map(
        move |(households, deployments, answers, baseline, project, weighings)| {
            let other = Season {
                households,
                deployments,
                answers,
                baseline,
                project,
                weighings,
            };
            (season.clone(), other)
        },
    )
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]

    #[test]
    fn the_order_of_the_rows_changes_no_byte((one, other) in season().prop_flat_map(shuffled)) {
        let (one, other) = (stated(&gathered(&one)), stated(&gathered(&other)));
        prop_assert_eq!(
            serde_json::to_string(&one).unwrap(),
            serde_json::to_string(&other).unwrap()
        );
        prop_assert!(never_above(&one));
    }

    #[test]
    fn masses_times_k_are_tonnes_times_k(thousandths in 1u32..100_000) {
        let times = Decimal::new(i64::from(thousandths), 3);
        let mut scaled = example();
        households_of(&mut scaled, times);
        let (one, other) = (stated(&example()), stated(&scaled));
        for id in ["co2e/reductions", "char/removals", "pm25/avoided", "bc/avoided", "fuel/saved"] {
            prop_assert!(close(node(&other, id), node(&one, id) * times), "{}", id);
        }
        for id in ["pm25/percent", "use/rate"] {
            prop_assert!(close(node(&other, id), node(&one, id)), "{}", id);
        }
    }

    #[test]
    fn more_use_never_avoids_less(in_use in 0u64..100) {
        let with = |in_use: u64| {
            let mut inputs = example();
            inputs.usage[0].in_use = in_use;
            inputs.usage[0].not_in_use = 100 - in_use;
            (inputs.usage[0].not_found, inputs.usage[0].refused) = (0, 0);
            stated(&inputs)
        };
        let (less, more) = (with(in_use), with(in_use + 1));
        for id in ["co2e/reductions", "pm25/avoided", "use/rate"] {
            prop_assert!(node(&less, id) < node(&more, id), "{}", id);
        }
    }
}

#[test]
fn another_sorting_of_the_inputs_changes_no_byte() {
    let mut sorted = example();
    sorted.char_lots.push(lot("wood", "soil", "100"));
    for (at, grams) in [1717, 2903, 3141, 2718].into_iter().enumerate() {
        let kg = Decimal::new(grams, 3).to_string();
        sorted
            .baseline_kitchens
            .push(kitchen(&format!("b9{at}"), &[("three_stone_fire", &kg)]));
        sorted
            .project_kitchens
            .push(kitchen(&format!("p9{at}"), &[("gasifier", &kg)]));
    }
    let mut turned = sorted.clone();
    turned.cohorts.reverse();
    turned.usage.reverse();
    turned.baseline_kitchens.reverse();
    turned.project_kitchens.reverse();
    turned.char_lots.reverse();
    turned.factors.reverse();
    let json = |inputs| serde_json::to_string(&stated(inputs)).unwrap();
    assert_eq!(json(&sorted), json(&turned));
}

#[test]
fn no_stoves_avoid_nothing() {
    let mut inputs = example();
    inputs.cohorts.clear();
    let statement = stated(&inputs);
    for id in [
        "reductions_co2e",
        "fuel_saved",
        "pm25_avoided",
        "use_rate",
        "co2_avoided",
    ] {
        assert_eq!(figure(&statement, id), Decimal::ZERO, "{id}");
    }
    assert_eq!(statement.claims.reductions.tonnes.tonnes(), 0);
    assert_eq!(statement.claims.removals.tonnes.tonnes(), 0);
}
