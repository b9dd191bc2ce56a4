//! A programme made over HTTP, with a token for each role, and a small register.

use super::{App, Client, Setup};
use serde_json::{Value, json};

pub struct TestProgramme {
    pub app: App,
    pub code: String,
    /// The answer that created it.
    pub created: Value,
    /// Clients whose paths stand below the programme.
    pub manager: Client,
    pub manager_secret: String,
}

/// Households, deployments and rounds that most tests of batches lean on.
pub const HOUSEHOLDS: &str =
    "household_code,site_code,children_0_14,women_over_14,men_15_59,men_over_59
HH-1,NORTH,2,1,1,0
HH-2,NORTH,3,2,1,1
HH-3,NORTH,0,1,1,0
HH-4,NORTH,1,1,0,0
";
pub const DEPLOYMENTS: &str =
    "serial,model_code,model_version,household_code,installed_on,ended_on,end_reason,second_stove
S-1,G1,1,HH-1,2024-02-29,,,no
S-2,G1,1,HH-2,2024-06-01,2025-03-01,moved,no
S-3,G1,1,HH-3,2024-06-01,,,
";

impl TestProgramme {
    /// A programme in an empty database.
    pub async fn start() -> Self {
        Self::found(App::start().await, "test-isles").await
    }

    pub async fn start_with(setup: Setup) -> Self {
        Self::found(App::start_with(setup).await, "test-isles").await
    }

    pub async fn found(app: App, code: &str) -> Self {
        let created = create_programme(&app, code).await;
        let secret = created["manager_token"]["secret"]
            .as_str()
            .expect("a secret")
            .to_owned();
        Self::with_secret(app, code, created, &secret)
    }

    /// A programme that stands in the database already.
    pub fn with_secret(app: App, code: &str, created: Value, secret: &str) -> Self {
        let manager = programme_client(&app, code).with_token(secret);
        TestProgramme {
            manager,
            manager_secret: secret.to_owned(),
            code: code.to_owned(),
            created,
            app,
        }
    }

    /// A client without a token, below the programme.
    pub fn stranger(&self) -> Client {
        programme_client(&self.app, &self.code)
    }

    /// Issues a token and returns its secret.
    pub async fn issue(&self, role: &str) -> String {
        let label = format!("{role} of the tests");
        let request = json!({"role": role, "label": label});
        let token = self.manager.post("/tokens", &request).await.ok(201);
        token["secret"].as_str().expect("a secret").to_owned()
    }

    /// A client with a new token of this role.
    pub async fn client_of(&self, role: &str) -> Client {
        self.stranger().with_token(&self.issue(role).await)
    }

    /// A site, a stove model, a round of each kind; no rows.
    pub async fn frame(&self) {
        let manager = &self.manager;
        let site = json!({"code": "NORTH", "name": "North Shore"});
        manager.post("/sites", &site).await.ok(201);
        let model = json!({"code": "G1", "version": 1, "name": "First gasifier",
                           "device": "gasifier", "char_making": true});
        manager.post("/stove-models", &model).await.ok(201);
        for (code, kind, starts_on, ends_on) in [
            ("baseline", "kitchen_baseline", "2023-11-01", "2023-12-01"),
            ("project", "kitchen_project", "2025-05-01", "2025-06-01"),
            ("usage", "usage_survey", "2025-09-01", "2025-10-01"),
            ("char", "char_weighing", "2025-01-01", "2026-01-01"),
        ] {
            let round = json!({"code": code, "kind": kind, "starts_on": starts_on,
                               "ends_on": ends_on, "design": "Simple random sample."});
            manager.post("/rounds", &round).await.ok(201);
        }
    }

    /// The frame with the four households and the three deployments.
    pub async fn small_register(&self) {
        self.frame().await;
        self.manager
            .upload("households", None, HOUSEHOLDS)
            .await
            .ok(201);
        self.manager
            .upload("deployments", None, DEPLOYMENTS)
            .await
            .ok(201);
    }
}

pub async fn create_programme(app: &App, code: &str) -> Value {
    let operator = app
        .service
        .issue_operator_token("tests")
        .await
        .expect("an operator token");
    let request = json!({"code": code, "name": "Test Isles (invented)", "manager_label": "office"});
    app.client()
        .with_token(&operator)
        .post("/api/v1/programmes", &request)
        .await
        .ok(201)
}

pub fn programme_client(app: &App, code: &str) -> Client {
    app.client().under(&format!("/api/v1/programmes/{code}"))
}
