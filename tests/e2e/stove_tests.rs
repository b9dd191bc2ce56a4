//! Stove tests and carbon balances over HTTP: figures, factors that the library takes, refusals.

use crate::support::{TestProgramme, census};
use serde_json::{Value, json};

/// Worked example of the accounting's own tests (COMPUTED): char yield 0.20, 0.80 carbon in it.
fn plume_test(code: &str, mass_yield: &str) -> Value {
    json!({
        "test_code": code, "laboratory": "Invented field team", "tested_on": "2025-03-04",
        "device": "gasifier", "fuel": "prunings",
        "background": {"co2_ppm": "420", "co_ppm": "0", "ch4_ppm": "2", "pm25_mg_per_m3": "0",
                       "bc_mg_per_m3": "0", "oc_mg_per_m3": "0"},
        "plume": {"co2_ppm": "2420", "co_ppm": "100", "ch4_ppm": "10", "pm25_mg_per_m3": "6.0",
                  "bc_mg_per_m3": "1.2", "oc_mg_per_m3": "3.0"},
        "temperature_c": "25", "pressure_pa": "101325", "fuel_carbon": "0.50",
        "char": {"yield": mass_yield, "carbon": "0.80"}, "pm25_carbon": "0.75"
    })
}

fn stove_test(code: &str, fuel_wet_kg: &str) -> Value {
    json!({
        "test_code": code, "laboratory": "Invented laboratory", "tested_on": "2025-02-03",
        "device": "gasifier", "stove_age_years": 1, "fuel": "prunings",
        "fuel_wet_kg": fuel_wet_kg, "moisture_wb": "0", "fuel_ncv_dry_mj_per_kg": "17.0",
        "char_left_kg": "0.12", "char_ncv_mj_per_kg": "29.5", "water_start_kg": "5",
        "water_end_kg": "4.5", "water_start_c": "25", "water_end_c": "100", "minutes": "24",
        "co_g": "8", "pm25_mg": null
    })
}

fn named<'a>(list: &'a Value, member: &str, name: &str) -> &'a Value {
    let entries = list.as_array().expect("a list");
    let found = entries.iter().find(|entry| entry[member] == name);
    found.unwrap_or_else(|| panic!("no {name} in {list}"))
}

#[tokio::test]
async fn a_carbon_balance_gives_factors_that_the_library_takes() {
    let programme = TestProgramme::start().await;
    let request = json!({
        "tests": [plume_test("P-1", "0.20"), plume_test("P-2", "0.18"), plume_test("P-3", "0.22")],
        "factors": {"code": "ef-plume-2025", "version": 1, "fuel_class": "wood"}
    });
    let before = census(&programme.app.pool).await;
    let verifier = programme.client_of("verifier").await;
    let issued = census(&programme.app.pool).await;
    assert_ne!(issued, before, "the token was issued");
    let report = verifier.post("/carbon-balance", &request).await.ok(200);
    assert_eq!(census(&programme.app.pool).await, issued);
    let first = &report["tests"][0];
    assert_eq!(first["modified_combustion_efficiency"], "0.952381");
    assert_eq!(first["carbon"]["emitted"], "340");
    assert_eq!(first["carbon"]["char"], "160");
    assert_eq!(first["co2_by_k"], "1176.84");
    let factors = &first["emission_factors"];
    assert_eq!(
        named(factors, "species", "CO2")["g_per_kg_dry_fuel"],
        "1176.84"
    );
    assert_eq!(
        named(factors, "species", "BC")["g_per_kg_dry_fuel"],
        "0.392535"
    );
    let co2 = &named(&report["species"], "species", "CO2")["factor"];
    assert_eq!(co2["char_treatment"], "carbon_balance");
    for species in report["species"].as_array().expect("species") {
        let added = programme.manager.post("/factors", &species["factor"]).await;
        assert_eq!(added.ok(201), species["factor"]);
    }
    let listed = programme.manager.get("/factors").await.ok(200);
    assert_eq!(
        named(&listed, "code", "ef-plume-2025-gasifier-prunings-CO2"),
        co2
    );
    verifier
        .post("/factors", co2)
        .await
        .problem(403, "forbidden");
}

#[tokio::test]
async fn stove_tests_give_tiers_and_an_efficiency_that_the_library_takes() {
    let programme = TestProgramme::start().await;
    let request = json!({
        "altitude_m": "0",
        "tests": [stove_test("T-1", "0.60"), stove_test("T-2", "0.61"), stove_test("T-3", "0.62")],
        "factors": {"code": "efficiency-2025", "version": 1}
    });
    let monitor = programme.client_of("monitor").await;
    let before = census(&programme.app.pool).await;
    let summary = monitor.post("/stove-tests/summary", &request).await.ok(200);
    assert_eq!(census(&programme.app.pool).await, before);
    assert_eq!(summary["protocol"], "iso_19867_1");
    // Worked example (COMPUTED): 26.45 % without and 40.51 % with the char's energy.
    let measures = &summary["tests"][0]["measures"];
    let without = named(measures, "measure", "thermal_efficiency_without_char");
    assert_eq!(without["value"], "0.264534");
    let with = named(measures, "measure", "thermal_efficiency_with_char");
    assert_eq!(with["value"], "0.405143");
    let group = &summary["groups"][0];
    assert_eq!(group["stove_age_years"], 1);
    let tier = &named(
        &group["measures"],
        "measure",
        "thermal_efficiency_without_char",
    )["tier"];
    assert_eq!(tier["at_mean"], 2);
    assert_eq!(group["notes"][0], "PM2.5 was measured in 0 of 3 tests.");
    let notes = summary["notes"].to_string();
    assert!(notes.contains("ISO 19867-1") && notes.contains("not a health assessment"));
    let factor = &group["factor"];
    assert_eq!(factor["quantity"], "thermal_efficiency");
    let added = programme.manager.post("/factors", factor).await;
    assert_eq!(added.ok(201), *factor);
}

#[tokio::test]
async fn tests_that_cannot_be_are_refused_by_name() {
    let programme = TestProgramme::start().await;
    let manager = &programme.manager;
    let mut below = plume_test("P-2", "0.20");
    below["plume"]["co_ppm"] = json!("0");
    below["background"]["co_ppm"] = json!("5");
    let request = json!({"tests": [plume_test("P-1", "0.20"), below]});
    let refused = manager.post("/carbon-balance", &request).await;
    let problem = refused.problem(422, "invalid-fields");
    let detail = problem["errors"][0]["detail"].as_str().expect("a sentence");
    assert_eq!(
        detail,
        "test P-2: CO of the plume, 0, lies below the background, 5"
    );
    let mut number = stove_test("T-1", "0.60");
    number["minutes"] = json!(24);
    let mut strange = stove_test("T-1", "0.60");
    strange["colour"] = json!("red");
    for test in [
        number,
        strange,
        stove_test("T-1", "0"),
        stove_test("T-1", "1e40"),
    ] {
        let request = json!({"tests": [test]});
        let refused = manager.post("/stove-tests/summary", &request).await;
        refused.problem(422, "invalid-fields");
    }
    for path in ["/carbon-balance", "/stove-tests/summary"] {
        let refused = manager.post(path, &json!({"tests": []})).await;
        refused.problem(422, "invalid-fields");
        let stranger = programme.stranger().post(path, &json!({"tests": []})).await;
        stranger.problem(401, "unauthenticated");
    }
}
