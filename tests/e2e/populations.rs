//! What stands behind a sample: the finite population it was drawn from, and the flags that
//! nobody has answered. Statements over HTTP, and the offline verifier at the same value.

use crate::support::TestProgramme;
use crate::support::seeded::{seed_file, seeded_programme};
use crate::verifier::assert_sound_export;
use emberbook::accounting::library::supplied_methodologies;
use emberbook::accounting::methodology::{Design, FinitePopulation};
use serde_json::{Value, json};

async fn stated(programme: &TestProgramme, methodology: &str) -> Value {
    let request = json!({"period": "2025", "methodology": methodology});
    let made = programme
        .manager
        .post("/statements", &request)
        .await
        .ok(201);
    let id = made["id"].as_str().expect("an id");
    programme
        .manager
        .get(&format!("/statements/{id}"))
        .await
        .ok(200)
}

fn notes<'s>(statement: &'s Value, code: &str) -> Vec<&'s str> {
    let notes = statement["notes"].as_array().expect("notes");
    let of_code = notes.iter().filter(|note| note["code"] == code);
    of_code
        .filter_map(|note| note["sentence"].as_str())
        .collect()
}

fn node<'s>(statement: &'s Value, id: &str) -> &'s Value {
    let nodes = statement["trace"]["nodes"].as_array().expect("nodes");
    let found = nodes.iter().find(|node| node["id"] == id);
    found.unwrap_or_else(|| panic!("no node {id}"))
}

fn number(value: &Value) -> f64 {
    let text = value.as_str().expect("a decimal");
    text.parse().expect("a number")
}

#[tokio::test]
async fn a_methodology_may_count_the_register_behind_its_samples() {
    let programme = seeded_programme().await;
    let mut methodology = supplied_methodologies()
        .expect("methodologies")
        .into_iter()
        .find(|one| one.code == "kitchen-test-households")
        .expect("supplied");
    let plain = stated(&programme, "kitchen-test-households@1").await;
    assert!(notes(&plain, "finite-population").is_empty());
    methodology.code = "kitchen-test-counted".into();
    methodology.designs.finite_population = FinitePopulation::Register;
    for (version, design) in [(1, Design::SimpleRandom), (2, Design::PostStratifiedBySite)] {
        methodology.version = version;
        methodology.designs.usage = design;
        let sent = serde_json::to_value(&methodology).expect("JSON");
        programme
            .manager
            .post("/methodologies", &sent)
            .await
            .ok(201);
        let counted = stated(&programme, &methodology.id()).await;
        // Bands of the usage survey, and both groups of kitchens.
        assert!(notes(&counted, "finite-population").len() >= 3, "{counted}");
        let population = number(&node(&counted, "drawn_from/baseline_kitchens")["value"]);
        assert!(population > 1.0);
        let [before, after] = [&plain, &counted].map(|statement| {
            let node = node(statement, "fuel/baseline");
            (number(&node["value"]), number(&node["standard_error"]))
        });
        assert_eq!(before.0, after.0);
        assert!(after.1 < before.1, "{after:?} {before:?}");
    }
    assert_sound_export(&programme).await;
}

#[tokio::test]
async fn a_statement_counts_the_open_flags_on_rows_that_it_reads() {
    let programme = seeded_programme().await;
    let manager = &programme.manager;
    let before = stated(&programme, "kitchen-test-households@1").await;
    let project: Value = serde_json::from_slice(&seed_file("programme.json")).expect("JSON");
    let rounds = project["rounds"].as_array().expect("rounds");
    let round = rounds
        .iter()
        .find(|round| round["kind"] == "kitchen_project");
    let round = round
        .and_then(|round| round["code"].as_str())
        .expect("a round");
    // Three days of a household that was not weighed yet, one of them with wet fuel.
    let mut wet = "household_code,measured_on,device,fuel,stock_start_wet_kg,added_wet_kg,\
                   stock_end_wet_kg,moisture_wb,children_0_14,women_over_14,men_15_59,\
                   men_over_59\n"
        .to_owned();
    for (day, end, moisture) in [
        (1, "3.03", "0.151"),
        (2, "3.24", "0.148"),
        (3, "3.11", "0.251"),
    ] {
        wet += &format!(
            "H-0004,2025-06-0{day},gasifier,coconut_husk,5.28,0.00,{end},{moisture},2,1,1,0\n"
        );
    }
    let batch = manager
        .upload("kitchen_test", Some(round), wet)
        .await
        .ok(201);
    let batch = batch["id"].as_str().expect("an id");
    let raised = manager.get(&format!("/flags?batch={batch}")).await.ok(200);
    let raised = raised["items"].as_array().expect("flags");
    let beyond = raised
        .iter()
        .filter(|flag| flag["screen"] == "beyond_limits");
    assert_eq!(beyond.count(), 1, "{raised:?}");
    let flagged = stated(&programme, "kitchen-test-households@1").await;
    let told = notes(&flagged, "open-flags");
    assert_eq!(told.len(), 1);
    assert!(told[0].contains("beyond_limits") && told[0].contains("had not been answered"));
    assert_ne!(told, notes(&before, "open-flags"));
    for flag in raised {
        let path = format!("/flags/{}/disposition", flag["id"].as_str().expect("an id"));
        let answer = json!({"disposition": "stands", "reason": "rain that week"});
        manager.post(&path, &answer).await.ok(200);
    }
    let answered = stated(&programme, "kitchen-test-households@1").await;
    assert_eq!(notes(&answered, "open-flags"), notes(&before, "open-flags"));
    assert_sound_export(&programme).await;
}
