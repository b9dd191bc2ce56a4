//! An invented programme: its rows, sent batch by batch, each with the entry that took it.

use super::people::{
    SITES, deployment_row, household, household_row, kitchen_row, kitchens, weighing, weighing_row,
};
use super::samples::{KnownSamples, Samples};
use super::timeline::{Chance, Timelines};
use crate::batches::rows;
use crate::support::TestProgramme;
use emberbook::accounting::evidence::{
    CharWeighing, Deployment, DeploymentEnd, Household, KitchenDay, UsageAnswer, UsageOutcome,
};
use serde_json::json;

/// A row with the entry that accepted it and the one, if any, that took it out of the account.
pub struct Sent<T> {
    pub sequence: u64,
    pub until: Option<u64>,
    pub batch: String,
    pub line: u64,
    pub row: T,
}

pub type Taken<T> = Vec<Sent<T>>;

/// Where rows were taken: the entry, and the id of the batch.
pub struct At {
    pub sequence: u64,
    pub batch: String,
}

#[derive(Default)]
pub struct Invented {
    pub first_position: u64,
    pub last_position: u64,
    pub(super) households: Taken<Household>,
    pub(super) deployments: Taken<Deployment>,
    pub(super) ends: Taken<DeploymentEnd>,
    pub(super) answers: Taken<(String, UsageAnswer)>,
    pub(super) kitchen_days: Taken<KitchenDay>,
    pub(super) weighings: Taken<CharWeighing>,
    pub(super) samples: Samples,
}

/// What was known at a position of the trail.
pub struct Known {
    pub households: Vec<Household>,
    pub deployments: Vec<Deployment>,
    pub ends: Vec<DeploymentEnd>,
    /// With their rounds.
    pub answers: Vec<(String, UsageAnswer)>,
    pub kitchen_days: Vec<KitchenDay>,
    pub weighings: Vec<CharWeighing>,
    pub samples: KnownSamples,
}

pub fn known<T: Clone>(taken: &Taken<T>, position: u64) -> Vec<T> {
    let counts = |sent: &&Sent<T>| {
        sent.sequence < position && sent.until.is_none_or(|until| position <= until)
    };
    taken
        .iter()
        .filter(counts)
        .map(|sent| sent.row.clone())
        .collect()
}

impl Invented {
    pub fn known_at(&self, position: u64) -> Known {
        Known {
            households: known(&self.households, position),
            deployments: known(&self.deployments, position),
            ends: known(&self.ends, position),
            answers: known(&self.answers, position),
            kitchen_days: known(&self.kitchen_days, position),
            weighings: known(&self.weighings, position),
            samples: self.samples.known_at(position),
        }
    }

    /// Invents a programme and sends it, in such an order that every position of the trail
    /// shows another state of it.
    pub async fn send(programme: &TestProgramme, chance: &mut Chance) -> Self {
        frame(programme).await;
        let mut invented = Invented {
            first_position: head(programme).await,
            ..Invented::default()
        };
        let households: Vec<Household> = (0..24).map(|n| household(chance, n)).collect();
        let codes: Vec<String> = households
            .iter()
            .map(|h| h.household_code.clone())
            .collect();
        let texts = households.iter().map(household_row).collect();
        let at = upload(programme, "households", None, texts).await;
        invented.households = taken(at, households);

        let timelines = Timelines::new(chance, 40, &codes);
        let (early, late) = timelines
            .deployments
            .split_at(timelines.deployments.len() / 2);
        let (first_ends, last_ends): (Vec<_>, Vec<_>) = timelines
            .ends
            .iter()
            .cloned()
            .partition(|_| chance.percent(50));
        invented.send_deployments(programme, early).await;
        invented.send_answers(programme, chance, "u1", early).await;
        invented.send_deployments(programme, late).await;
        invented.send_ends(programme, first_ends).await;
        invented
            .send_answers(programme, chance, "u2", &timelines.deployments)
            .await;
        invented.send_ends(programme, last_ends).await;
        invented.send_kitchens(programme, chance, &codes).await;
        invented.send_weighings(programme, chance, &codes).await;
        invented.samples = Samples::send(programme, chance, &codes).await;
        invented.correct(programme, chance).await;
        invented.last_position = head(programme).await;
        invented
    }

    async fn send_deployments(&mut self, programme: &TestProgramme, some: &[Deployment]) {
        let texts = some.iter().map(deployment_row).collect();
        let at = upload(programme, "deployments", None, texts).await;
        self.deployments.extend(taken(at, some.to_vec()));
    }

    async fn send_ends(&mut self, programme: &TestProgramme, ends: Vec<DeploymentEnd>) {
        let row = |end: &DeploymentEnd| {
            format!(
                "{},{},{},{}",
                end.serial, end.installed_on, end.ended_on, end.end_reason
            )
        };
        let texts: Vec<String> = ends.iter().map(row).collect();
        if !texts.is_empty() {
            let at = upload(programme, "deployment_ends", None, texts).await;
            self.ends.extend(taken(at, ends));
        }
    }

    /// One answer for most stoves, on or about a birthday where that lies after its installation.
    async fn send_answers(
        &mut self,
        programme: &TestProgramme,
        chance: &mut Chance,
        round: &str,
        deployments: &[Deployment],
    ) {
        let mut answers: Vec<UsageAnswer> = Vec::new();
        for deployment in deployments.iter().rev() {
            if answers.iter().any(|a| a.serial == deployment.serial) || chance.percent(15) {
                continue;
            }
            let day = match chance.percent(70) {
                true => chance.birthday_of(deployment.installed_on),
                false => chance.day(),
            };
            let outcome = match chance.between(0, 5) {
                0 => UsageOutcome::NotInUse,
                1 => UsageOutcome::NotFound,
                2 => UsageOutcome::Refused,
                _ => UsageOutcome::InUse,
            };
            answers.push(UsageAnswer {
                household_code: deployment.household_code.clone(),
                serial: deployment.serial.clone(),
                surveyed_on: day.max(deployment.installed_on),
                outcome,
                days_used_last_week: None,
                share_of_meals: None,
            });
        }
        let row = |answer: &UsageAnswer| {
            let outcome = serde_json::to_value(answer.outcome).expect("a word");
            let outcome = outcome.as_str().expect("a word");
            format!(
                "{},{},{},{outcome},,",
                answer.household_code, answer.serial, answer.surveyed_on
            )
        };
        let texts = answers.iter().map(row).collect();
        let at = upload(programme, "usage_survey", Some(round), texts).await;
        let of_round = answers
            .into_iter()
            .map(|answer| (round.to_owned(), answer))
            .collect();
        self.answers.extend(taken(at, of_round));
    }

    /// Kitchens of both groups; those of the project round are kept for comparing.
    async fn send_kitchens(
        &mut self,
        programme: &TestProgramme,
        chance: &mut Chance,
        codes: &[String],
    ) {
        let (before, with_stove) = codes.split_at(codes.len() / 2);
        let fire: &[(&str, &str)] = &[
            ("three_stone_fire", "wood"),
            ("three_stone_fire", "coconut_husk"),
        ];
        let gasifier: &[(&str, &str)] = &[
            ("gasifier", "coconut_husk"),
            ("gasifier", "pigeon_pea_stalk"),
            ("three_stone_fire", "wood"),
        ];
        let baseline = kitchens(chance, "2019-03-01", before, fire);
        let texts = baseline.iter().map(kitchen_row).collect();
        upload(programme, "kitchen_test", Some("before"), texts).await;
        let project = kitchens(chance, "2023-05-01", with_stove, gasifier);
        let texts = project.iter().map(kitchen_row).collect();
        let at = upload(programme, "kitchen_test", Some("kitchens"), texts).await;
        self.kitchen_days = taken(at, project);
    }

    async fn send_weighings(
        &mut self,
        programme: &TestProgramme,
        chance: &mut Chance,
        codes: &[String],
    ) {
        let weighings: Vec<CharWeighing> = (0..60).map(|n| weighing(chance, n, codes)).collect();
        let texts = weighings.iter().map(weighing_row).collect();
        let at = upload(programme, "char_weighing", Some("char"), texts).await;
        self.weighings = taken(at, weighings);
    }
}

pub fn taken<T>(at: At, rows: Vec<T>) -> Taken<T> {
    let sent = |(row, line)| Sent {
        sequence: at.sequence,
        until: None,
        batch: at.batch.clone(),
        line,
        row,
    };
    rows.into_iter().zip(2..).map(sent).collect()
}

async fn head(programme: &TestProgramme) -> u64 {
    let entries = programme
        .manager
        .get("/trail/entries?limit=1000")
        .await
        .ok(200);
    entries.as_array().map_or(0, |list| list.len() as u64)
}

pub async fn upload(
    programme: &TestProgramme,
    kind: &str,
    round: Option<&str>,
    texts: Vec<String>,
) -> At {
    let texts: Vec<&str> = texts.iter().map(String::as_str).collect();
    let answer = programme
        .manager
        .upload(kind, round, rows(kind, &texts))
        .await;
    let answer = answer.ok(201);
    At {
        sequence: answer["sequence"].as_u64().expect("a sequence"),
        batch: answer["id"].as_str().expect("an id").to_owned(),
    }
}

async fn frame(programme: &TestProgramme) {
    let manager = &programme.manager;
    for code in SITES {
        manager
            .post("/sites", &json!({"code": code, "name": code}))
            .await
            .ok(201);
    }
    for (code, version) in [("G1", 1), ("G1", 2), ("g-1", 1)] {
        let model = json!({"code": code, "version": version, "name": code,
                           "device": "gasifier", "char_making": true});
        manager.post("/stove-models", &model).await.ok(201);
    }
    for (code, kind, starts_on, ends_on) in [
        ("before", "kitchen_baseline", "2019-01-01", "2020-01-01"),
        ("kitchens", "kitchen_project", "2023-01-01", "2024-01-01"),
        ("u1", "usage_survey", "2018-01-01", "2040-01-01"),
        ("u2", "usage_survey", "2018-01-01", "2040-01-01"),
        ("char", "char_weighing", "2018-01-01", "2040-01-01"),
        ("asked", "baseline_survey", "2018-01-01", "2040-01-01"),
        ("asked-again", "baseline_survey", "2018-01-01", "2040-01-01"),
        ("cooked", "cooking_test", "2018-01-01", "2040-01-01"),
        ("burnt", "stove_test", "2018-01-01", "2040-01-01"),
        ("sampled", "char_lab", "2018-01-01", "2040-01-01"),
        ("read", "moisture", "2018-01-01", "2040-01-01"),
    ] {
        let round = json!({"code": code, "kind": kind, "starts_on": starts_on,
                           "ends_on": ends_on, "design": "Invented."});
        manager.post("/rounds", &round).await.ok(201);
    }
}
