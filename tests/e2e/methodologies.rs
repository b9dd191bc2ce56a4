//! Methodologies: checked without being written, refused with every shortcoming.

use crate::support::TestProgramme;
use serde_json::{Value, json};

async fn supplied(programme: &TestProgramme, code: &str) -> Value {
    let all = programme.manager.get("/methodologies").await.ok(200);
    let found = all
        .as_array()
        .expect("a list")
        .iter()
        .find(|methodology| methodology["code"] == code);
    found.expect("a supplied methodology").clone()
}

/// Three faults in three places.
fn bend(methodology: &mut Value) {
    methodology["code"] = json!("bent");
    methodology["claim"]["confidence"] = json!("90");
    methodology["species"] = json!(["PM2.5", "BC", "OC", "CO", "NMVOC"]);
    methodology["citations"] = json!([]);
}

#[tokio::test]
async fn a_check_tells_every_shortcoming_and_writes_nothing() {
    let programme = TestProgramme::start().await;
    let manager = &programme.manager;
    let mut methodology = supplied(&programme, "household-energy").await;
    let head = manager.get("/trail/checkpoint").await.text();
    let sound = manager.post("/methodologies/check", &methodology).await;
    assert_eq!(sound.ok(200), json!({"shortcomings": []}));
    bend(&mut methodology);
    let checked = manager.post("/methodologies/check", &methodology).await;
    let checked = checked.ok(200);
    let places: Vec<&str> = checked["shortcomings"]
        .as_array()
        .expect("a list")
        .iter()
        .map(|each| each["place"].as_str().expect("a place"))
        .collect();
    for place in ["citations", "claim.confidence", "factors"] {
        assert!(places.contains(&place), "{place} is not in {places:?}");
    }
    assert_eq!(manager.get("/trail/checkpoint").await.text(), head);
    let unread = manager.post("/methodologies/check", &json!({})).await;
    unread.problem(422, "invalid-fields");
}

#[tokio::test]
async fn a_methodology_with_shortcomings_is_refused_with_all_of_them() {
    let programme = TestProgramme::start().await;
    let manager = &programme.manager;
    let mut methodology = supplied(&programme, "kitchen-test-paired").await;
    bend(&mut methodology);
    let checked = manager.post("/methodologies/check", &methodology).await;
    let checked = checked.ok(200);
    let refused = manager.post("/methodologies", &methodology).await;
    let problem = refused.problem(422, "methodology-shortcomings");
    let told: Vec<Value> = problem["errors"]
        .as_array()
        .expect("a list")
        .iter()
        .map(|error| json!({"place": error["field"], "sentence": error["detail"]}))
        .collect();
    assert!(told.len() >= 3, "{told:?}");
    assert_eq!(checked["shortcomings"], json!(told));
    let all = manager.get("/methodologies").await.ok(200);
    let codes: Vec<&Value> = all
        .as_array()
        .expect("a list")
        .iter()
        .map(|methodology| &methodology["code"])
        .collect();
    assert!(!codes.contains(&&json!("bent")), "{codes:?}");

    // A factor that the methodology was waiting for makes it whole.
    let mut whole = supplied(&programme, "kitchen-test-paired").await;
    whole["code"] = json!("with-a-measured-share");
    let listed = whole["factors"].as_array_mut().expect("a list");
    listed.retain(|id| id != "bc-share-gasifier@1");
    listed.push(json!("bc-share-measured@1"));
    let refused = manager.post("/methodologies", &whole).await;
    let problem = refused.problem(422, "methodology-shortcomings");
    assert_eq!(
        problem["errors"].as_array().map(Vec::len),
        Some(1),
        "{problem}"
    );
    let factor = json!({
        "code": "bc-share-measured", "version": 1, "quantity": "black_carbon_share",
        "species": null, "device": "gasifier", "fuel": null, "value": "0.31",
        "unit": "fraction of PM2.5", "spread": {"kind": "normal", "standard_deviation": "0.04"},
        "source": "an invented laboratory", "mark": "SEEN", "note": null
    });
    manager.post("/factors", &factor).await.ok(201);
    manager.post("/methodologies", &whole).await.ok(201);
}
