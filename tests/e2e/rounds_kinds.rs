//! Rounds of every kind drawn from the frame that suits them, filled in and closed; and the bag
//! that says the same, even where the register was corrected before the frame.

use crate::corrections;
use crate::rounds::{round_of, seed};
use crate::support::seeded::seeded_programme;
use crate::support::{Client, TestProgramme};
use crate::verifier::assert_sound_export;
use serde_json::{Value, json};

/// A plan for something that is measured.
pub fn measured(unit: &str) -> Value {
    json!({
        "purpose": "How much.", "unit": unit, "frame_on": "2026-01-01",
        "design": "simple_random", "confidence": "0.90", "precision": "0.30",
        "precision_is": "relative", "expected_mean": "4", "expected_standard_deviation": "1.5",
    })
}

/// Opens and draws a round; the lines of its field list, and its frame's size.
pub async fn drawn(
    manager: &Client,
    code: &str,
    kind: &str,
    plan: &Value,
) -> (Vec<Vec<String>>, u64) {
    let mut request = round_of(code, plan);
    request["kind"] = json!(kind);
    manager.post("/rounds", &request).await.ok(201);
    let path = format!("/rounds/{code}");
    let frame = manager.post(&format!("{path}/frame"), &json!({})).await;
    let frame = frame.ok(201);
    seed(manager, &path).await;
    let list = manager.get(&format!("{path}/field-list")).await.text();
    let lines = list
        .lines()
        .skip(1)
        .map(|line| line.split(',').map(str::to_owned).collect());
    (lines.collect(), frame["units"].as_u64().expect("units"))
}

/// One kind of round: its frame, its rows, and what each row is worth.
struct Case {
    kind: &'static str,
    batch: &'static str,
    unit: &'static str,
    /// Counted in the seed's CSV files outside the program, in Python.
    frame: u64,
    header: &'static str,
    /// The row of the k-th unit, and its value by hand.
    row: fn(&[String], usize) -> (String, f64),
}

const PEOPLE: &str = "1,1,1,0";

const CASES: [Case; 6] = [
    Case {
        kind: "baseline_survey",
        batch: "baseline_survey",
        unit: "registered_household",
        frame: 1060,
        header: "household_code,surveyed_on,device,fuel,fuel_wet_kg_per_day,moisture_wb,\
                 children_0_14,women_over_14,men_15_59,men_over_59",
        row: |unit, k| {
            let wet = 3.0 + (k % 4) as f64;
            let row = format!(
                "{},2026-09-10,three_stone_fire,wood,{wet:.1},0.20,{PEOPLE}",
                unit[0]
            );
            (row, wet * 0.8)
        },
    },
    Case {
        kind: "kitchen_baseline",
        batch: "kitchen_test",
        unit: "household_without_stove",
        frame: 90,
        header: "household_code,measured_on,device,fuel,stock_start_wet_kg,added_wet_kg,\
                 stock_end_wet_kg,moisture_wb,children_0_14,women_over_14,men_15_59,men_over_59",
        row: |unit, k| {
            let used = 2.0 + (k % 3) as f64;
            // The same on each of the three days that a kitchen test needs.
            let rows = ["10", "11", "12"].map(|day| {
                format!(
                    "{},2026-09-{day},three_stone_fire,wood,{used:.2},1.00,1.00,0.10,{PEOPLE}",
                    unit[0]
                )
            });
            (rows.join("\n"), used * 0.9)
        },
    },
    Case {
        kind: "cooking_test",
        batch: "cooking_test",
        unit: "household",
        frame: 970,
        header: "test_code,cook_code,tested_on,device,dish,fuel,fuel_wet_kg,moisture_wb,\
                 char_left_dry_kg,food_kg,minutes",
        // Controlled cooking test 2.0 (MEMORY), the char not credited:
        // 1000 f (1 - 1.12 * 0.10) / 2 g/kg.
        row: |unit, k| {
            let fuel = 1.0 + (k % 3) as f64 / 10.0;
            let row = format!(
                "CTD-{k},{},2026-09-10,gasifier,rice,wood,{fuel:.1},0.10,0.10,2.000,60",
                unit[0]
            );
            (row, 1000.0 * fuel * (1.0 - 0.112) / 2.0)
        },
    },
    Case {
        kind: "stove_test",
        batch: "stove_test",
        unit: "stove",
        frame: 970,
        header: "test_code,laboratory,tested_on,device,stove_age_years,fuel,fuel_wet_kg,\
                 moisture_wb,fuel_ncv_dry_mj_per_kg,char_left_dry_kg,char_ncv_mj_per_kg,\
                 water_start_kg,water_end_kg,water_start_c,water_end_c,minutes,co_g,pm25_mg",
        // Without the char's energy: heat of 5 kg water from 20 to 100 degC by 4.186 kJ/(kg K),
        // and of what boils off by 2257 kJ/kg (as ISO 19867-1 has it; MEMORY), over 18 MJ/kg
        // times 1.0 kg dry.
        row: |unit, k| {
            let left = 4.5 - (k % 3) as f64 / 10.0;
            let row = format!(
                "{}/1,LAB-A,2026-09-10,gasifier,2,wood,1.0,0,18,0.10,28,5.0,{left:.1},20,100,40,,",
                unit[1]
            );
            (row, (4.186 * 80.0 * 5.0 + 2257.0 * (5.0 - left)) / 18_000.0)
        },
    },
    Case {
        kind: "char_lab",
        batch: "char_lab",
        unit: "char_weighing",
        frame: 300,
        header: "sample_code,laboratory,sampled_on,feedstock,carbon_total,carbon_inorganic,\
                 hydrogen,ash",
        row: |unit, k| {
            let carbon = 0.75 + (k % 4) as f64 / 100.0;
            let row = format!(
                "{},LAB-B,2026-09-10,{},{carbon:.2},0.01,0.02,",
                unit[0], unit[4]
            );
            (row, carbon - 0.01)
        },
    },
    Case {
        kind: "moisture",
        batch: "moisture_reading",
        unit: "registered_household",
        frame: 1060,
        header: "household_code,measured_on,fuel,moisture_wb",
        row: |unit, k| {
            let moisture = 0.10 + (k % 3) as f64 / 100.0;
            let row = format!("{},2026-09-10,wood,{moisture:.2}", unit[0]);
            (row, moisture)
        },
    },
];

#[tokio::test]
async fn each_kind_is_drawn_from_the_frame_that_suits_it_and_closed_with_its_own_value() {
    let programme = seeded_programme().await;
    let manager = &programme.manager;
    for case in CASES {
        let mut plan = measured(case.unit);
        if case.unit == "char_weighing" {
            plan["frame_from"] = json!("2025-01-01");
            plan["frame_on"] = json!("2025-07-01");
        }
        let code = format!("drawn-{}", case.kind.replace('_', "-"));
        let (units, frame) = drawn(manager, &code, case.kind, &plan).await;
        assert_eq!(frame, case.frame, "{code}");
        let rows: Vec<(String, f64)> = units
            .iter()
            .enumerate()
            .map(|(k, unit)| (case.row)(unit, k))
            .collect();
        let mut csv = format!("{}\n", case.header);
        for (row, _) in &rows {
            csv.push_str(row);
            csv.push('\n');
        }
        manager.upload(case.batch, Some(&code), csv).await.ok(201);
        let detail = manager.get(&format!("/rounds/{code}")).await.ok(200);
        assert_eq!(detail["progress"]["done"], rows.len(), "{detail}");
        assert_eq!(detail["progress"]["outside"], 0);
        let closed = manager
            .post(&format!("/rounds/{code}/close"), &json!({}))
            .await
            .ok(200);
        // Mean and standard error of a simple random sample without replacement, by hand.
        let n = rows.len() as f64;
        let mean = rows.iter().map(|(_, value)| value).sum::<f64>() / n;
        let squares: f64 = rows.iter().map(|(_, value)| (value - mean).powi(2)).sum();
        let error = ((1.0 - n / frame as f64) * squares / (n - 1.0) / n).sqrt();
        for (name, expected) in [("value", mean), ("standard_error", error)] {
            let text = closed["achieved"][name].as_str().expect("a figure");
            let found: f64 = text.parse().expect("a number");
            let near = (found / expected - 1.0).abs() < 1e-5;
            assert!(near, "{code} {name}: {found} for {expected}");
        }
    }
    assert_sound_export(&programme).await;
}

/// A household whose row was superseded stands in the frame once, with its new site.
#[tokio::test]
async fn a_corrected_register_gives_a_frame_of_what_counts() {
    let programme = TestProgramme::start().await;
    programme.small_register().await;
    let manager = &programme.manager;
    let site = json!({"code": "HILL", "name": "Hill"});
    manager.post("/sites", &site).await.ok(201);
    let found = manager.get("/households/HH-3").await.ok(200);
    let row = &found;
    let (batch, line) = (&row["batch"], &row["line"]);
    let batch = batch.as_str().expect("a batch");
    let line = line.as_u64().expect("a line");
    let cells = json!({"household_code": "HH-3", "site_code": "HILL", "children_0_14": "0",
                       "women_over_14": "1", "men_15_59": "1", "men_over_59": "0"});
    let done = corrections::supersede(&programme, batch, line, cells).await;
    assert_eq!(done.status, 201, "{}", done.text());
    let mut plan = measured("registered_household");
    plan["frame_on"] = json!("2025-06-01");
    let (units, frame) = drawn(manager, "base", "baseline_survey", &plan).await;
    assert_eq!(frame, 4);
    let third = units.iter().find(|unit| unit[0] == "HH-3").expect("HH-3");
    assert_eq!((&*third[1], &*third[2]), ("S-3", "HILL"));
    // S-2 ended on 2025-03-01, and HH-4 never had one.
    for code in ["HH-2", "HH-4"] {
        let unit = units.iter().find(|unit| unit[0] == code).expect(code);
        assert_eq!(unit[1], "");
    }
    manager.post("/rounds/base/close", &json!({})).await.ok(200);
    assert_sound_export(&programme).await;
}

#[tokio::test]
async fn strata_with_their_own_values_are_worked_out_by_the_service() {
    let programme = seeded_programme().await;
    let manager = &programme.manager;
    let mut plan = measured("household");
    for (name, value) in [
        ("design", json!("stratified")),
        ("strata_by", json!(["site"])),
        ("allocation", json!("optimum")),
        ("precision", json!("0.2")),
        ("precision_is", json!("absolute")),
        ("expected_mean", json!("3")),
        ("expected_standard_deviation", json!("1")),
        (
            "strata",
            json!([{"name": "HILL", "expected_mean": "5", "expected_standard_deviation": "2"}]),
        ),
    ] {
        plan[name] = value;
    }
    let request = json!({"kind": "kitchen_project", "plan": plan});
    let sizes = manager.post("/rounds/plan", &request).await.ok(200);
    // Neyman by hand: N 245, 350, 375; A = 245 * 2 + 350 + 375 = 1215; sum N S^2 = 1705;
    // 1215^2 / (970^2 * 0.04 / 2.705543 + 1705) = 94.53; 95 * 490 / 1215 = 38.3, 27.4, 29.3.
    assert_eq!(sizes["needed"], 95);
    let sample = |at: usize| sizes["groups"][at]["sample"].as_u64();
    assert_eq!(
        [sample(0), sample(1), sample(2)],
        [Some(39), Some(28), Some(30)]
    );
    let mut unknown = request.clone();
    unknown["plan"]["strata"][0]["name"] = json!("VALLEY");
    let refused = manager.post("/rounds/plan", &unknown).await;
    let problem = refused.problem(422, "invalid-fields");
    assert_eq!(problem["errors"][0]["field"], "strata", "{problem}");
    let (_, frame) = drawn(manager, "strata", "kitchen_project", &request["plan"]).await;
    assert_eq!(frame, 970);
    assert_sound_export(&programme).await;
}
