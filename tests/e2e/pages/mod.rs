//! The pages as people use them: by forms alone, in a real browser, read aloud.

mod accessible;
mod journeys;
mod setting_up;
mod shots;
mod weight;

use crate::support::TestProgramme;
use crate::support::seeded::seeded;

/// A page of each kind, as a manager of the seeded programme reaches it.
pub fn addresses() -> Vec<String> {
    let statement = seeded().statement["id"].as_str().expect("an id");
    let (_, batch) = seeded()
        .batches
        .iter()
        .find(|(name, _)| name.starts_with("usage"))
        .expect("a survey");
    let batch = batch["id"].as_str().expect("an id");
    let fixed = [
        "/",
        "/?by=site",
        "/register",
        "/register?kind=households",
        "/sites",
        "/rounds",
        "/rounds/usage-2025",
        "/batches",
        "/batches/columns",
        "/measured",
        "/flags",
        "/corrections",
        "/forms",
        "/factors",
        "/factors?species=CH4&mark=SEEN",
        "/factors/gwp-ar5-100-ch4@1",
        "/statements",
        "/methods/2025",
        "/findings",
        "/trail",
        "/people",
        "/account",
        "/denials",
    ];
    let mut addresses: Vec<String> = fixed.map(str::to_owned).into();
    addresses.extend([
        format!("/batches/{batch}"),
        format!("/rows/{batch}/2"),
        format!("/statements/{statement}"),
        format!("/statements/{statement}/tree"),
        format!("/statements/{statement}/trace?node=co2e/reductions"),
        format!("/statements/{statement}/trace?node=use/rate/band/1"),
    ]);
    addresses
}

/// The address of a household's story.
pub async fn story(programme: &TestProgramme) -> String {
    let page = programme.manager.get("/households?limit=1").await.ok(200);
    let code = page["items"][0]["cells"]["household_code"]
        .as_str()
        .expect("a household");
    format!("/register?find={code}")
}
