//! Random registers, sent over HTTP: what SQL adds up is what the rows add up to, at any
//! period and any position of the trail, and the bags check out.
//!
//! The two ways meet nowhere before here: `store::cohorts` asks PostgreSQL,
//! `accounting::gather` reads the rows as the offline verifier does.

mod corrected;
mod invented;
mod people;
mod samples;
mod timeline;

use crate::support::TestProgramme;
use crate::verifier::assert_sound_export;
use emberbook::accounting::gather;
use emberbook::accounting::inputs::Period;
use emberbook::store::cohorts::{self, Scope};
use emberbook::store::populations;
use invented::{Invented, Known};
use rust_decimal::Decimal;
use serde_json::json;
use sqlx::PgConnection;
use timeline::Chance;
use uuid::Uuid;

/// Periods and positions that each register is asked about.
const QUESTIONS: usize = 40;

/// Any two days between 2019 and 2027, some of them leap days and birthdays.
fn any_period(chance: &mut Chance) -> Period {
    let (a, b) = (chance.day(), chance.day());
    let (starts_on, ends_on) = if a < b { (a, b) } else { (b, a) };
    Period {
        code: "asked".into(),
        starts_on,
        ends_on: ends_on.succ_opt().expect("a day"),
    }
}

/// Asks both ways and compares; returns how many numbers there were to compare.
async fn compare(
    connection: &mut PgConnection,
    scope: Scope<'_>,
    invented: &Invented,
    grace_days: u32,
) -> usize {
    let Known {
        households,
        deployments,
        ends,
        answers,
        kitchen_days,
        weighings,
        samples,
    } = invented.known_at(scope.position);
    let place = format!(
        "{:?}, grace {grace_days}, position {}",
        scope.period, scope.position
    );

    let days = cohorts::cohort_days(connection, scope, grace_days)
        .await
        .expect("cohorts");
    let by_rows = gather::cohorts(&households, &deployments, &ends, scope.period, grace_days);
    assert_eq!(Ok(&days), by_rows.as_ref(), "{place}");

    let mut compared = days.len();
    // The same days for surveys and kitchens, and a second round of kitchens a month later.
    let days = (scope.period.starts_on, scope.period.ends_on);
    let month = chrono::Months::new(1);
    let field = gather::FieldDays {
        usage: vec![days],
        project_kitchens: vec![days, (days.0 + month, days.1 + month)],
    };
    let drawn = populations::to_draw_from(connection, scope, &field)
        .await
        .expect("populations");
    let by_rows = gather::to_draw_from(&households, &deployments, &ends, &field);
    assert_eq!(Ok(&drawn), by_rows.as_ref(), "{place}");
    compared += drawn.len();
    for rounds in [
        vec!["u1".to_owned()],
        vec!["u1".into(), "u2".into()],
        vec![],
    ] {
        let counts = cohorts::usage_counts(connection, scope, &rounds)
            .await
            .expect("usage");
        let of_rounds: Vec<_> = answers
            .iter()
            .filter(|(round, _)| rounds.contains(round))
            .map(|(_, answer)| answer.clone())
            .collect();
        let by_rows = gather::usage_counts(&of_rounds, &deployments, &households, scope.period);
        assert_eq!(Ok(&counts), by_rows.as_ref(), "{place} {rounds:?}");
        compared += counts.len();
    }

    let rounds = ["kitchens".to_owned()];
    let kitchens = cohorts::kitchen_households(connection, scope, &rounds)
        .await
        .expect("kitchens");
    let by_rows = gather::kitchen_households(&kitchen_days, &households);
    assert_eq!(Ok(&kitchens), by_rows.as_ref(), "{place}");

    let bound = Decimal::new(3, 1);
    let rounds = ["char".to_owned()];
    let lots = cohorts::char_lots(connection, scope, &rounds, bound)
        .await
        .expect("lots");
    let by_rows = gather::char_lots(&weighings, scope.period, bound);
    assert_eq!(Ok(&lots), by_rows.as_ref(), "{place}");
    let of_samples = samples::compare(connection, scope, &samples, &households).await;
    if scope.position == invented.last_position {
        // Every household was asked, in one round or both; of fifteen tests and samples of each
        // kind and of the answers, a few were excluded.
        assert!(of_samples > 3 * 10 + households.len() / 2, "{of_samples}");
    }
    compared + kitchens.len() + lots.len() + of_samples
}

async fn ask_many(programme: &TestProgramme, invented: &Invented, chance: &mut Chance) -> usize {
    let id: Uuid = programme.created["programme"]["id"]
        .as_str()
        .and_then(|id| id.parse().ok())
        .expect("an id");
    let mut connection = programme.app.pool.acquire().await.expect("a connection");
    let mut compared = 0;
    for question in 0..QUESTIONS {
        let period = any_period(chance);
        let position = match question {
            0 => invented.last_position,
            _ => chance.between(invented.first_position, invented.last_position),
        };
        let scope = Scope {
            programme_id: id,
            period: &period,
            position,
        };
        let grace_days = *chance.pick(&[0, 0, 1, 30, 366, 100_000]);
        compared += compare(&mut connection, scope, invented, grace_days).await;
    }
    compared
}

/// Two periods stated by SQL and computed again from the rows of the bag.
async fn state_and_verify(programme: &TestProgramme) {
    for (code, starts_on, ends_on) in [
        ("leap", "2024-01-01", "2025-01-01"),
        ("odd", "2025-02-28", "2026-01-17"),
    ] {
        let period = json!({"code": code, "starts_on": starts_on, "ends_on": ends_on});
        programme.manager.post("/periods", &period).await.ok(201);
        let request = json!({"period": code, "methodology": "kitchen-test-households@1"});
        programme
            .manager
            .post("/statements", &request)
            .await
            .ok(201);
    }
    assert_sound_export(programme).await;
}

async fn a_random_register_adds_up(number: u64) {
    let programme = TestProgramme::start().await;
    let mut chance = Chance::new(number);
    let invented = Invented::send(&programme, &mut chance).await;
    let compared = ask_many(&programme, &invented, &mut chance).await;
    assert!(
        compared > QUESTIONS * 5,
        "only {compared} numbers were compared"
    );
    state_and_verify(&programme).await;
}

#[tokio::test]
async fn sql_and_rows_agree_on_a_first_random_register() {
    a_random_register_adds_up(1).await;
}

#[tokio::test]
async fn sql_and_rows_agree_on_a_second_random_register() {
    a_random_register_adds_up(2).await;
}

#[tokio::test]
async fn sql_and_rows_agree_on_a_third_random_register() {
    a_random_register_adds_up(3).await;
}

#[tokio::test]
async fn sql_and_rows_agree_on_a_fourth_random_register() {
    a_random_register_adds_up(4).await;
}
