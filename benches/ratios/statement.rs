//! A statement through the service, against the bare SQL of what it adds up.

use crate::figures::{Pair, Repeats, Section, grouped, ratios};
use crate::house::{House, PATIENCE};
use anyhow::{Context, Result, ensure};
use emberbook::accounting::library;
use emberbook::accounting::records::{ChosenRounds, RoundRecord, choose_rounds};
use emberbook::service::statements::StatementView;
use emberbook::store::cohorts::{self, Scope};
use rust_decimal::Decimal;
use std::collections::BTreeSet;
use std::time::{Duration, Instant};

pub async fn measure(house: &House, repeats: usize) -> Result<()> {
    let question = Question::of(house)?;
    let first = state(house).await?.1;
    question.ask(house, first.position).await?;
    let mut pairs = Vec::new();
    let mut made = BTreeSet::from([first.id]);
    for _ in 0..repeats {
        let (service, view) = state(house).await?;
        // A statement names its trail position, which each one moves on.
        ensure!(made.insert(view.id), "a statement was not computed anew");
        let reference = question.ask(house, view.position).await?;
        pairs.push(Pair {
            service: service.as_secs_f64() * 1e3,
            reference: reference.as_secs_f64() * 1e3,
        });
    }
    print(house, &pairs).await
}

/// One POST; every one is computed and recorded anew.
async fn state(house: &House) -> Result<(Duration, StatementView)> {
    let new = serde_json::json!({
        "period": house.programme.period.code,
        "methodology": house.programme.methodology.to_string(),
    });
    let client = reqwest::Client::new();
    let began = Instant::now();
    let response = client
        .post(house.resource("/statements"))
        .bearer_auth(&house.token)
        .timeout(PATIENCE)
        .json(&new)
        .send()
        .await?;
    let status = response.status();
    let text = response.text().await?;
    let took = began.elapsed();
    ensure!(
        status == 201,
        "the statement was answered with {status}: {text}"
    );
    Ok((took, serde_json::from_str(&text)?))
}

/// What the statement asks of the database, without the rest.
struct Question {
    rounds: ChosenRounds,
    grace_days: u32,
    yield_bound: Decimal,
}

impl Question {
    fn of(house: &House) -> Result<Self> {
        let file = &house.programme;
        let rounds: Vec<RoundRecord> = file
            .rounds
            .iter()
            .map(|round| RoundRecord {
                code: round.code.clone(),
                kind: round.kind,
                starts_on: round.starts_on,
                ends_on: round.ends_on,
                design: round.design.clone(),
            })
            .collect();
        let methodology = library::supplied_methodologies()?
            .into_iter()
            .find(|known| known.code == file.methodology.code)
            .context("the programme's methodology is not a supplied one")?;
        let bound = &methodology.char_rule.yield_bound;
        let factors = library::published_factors()?;
        let yield_bound = factors
            .iter()
            .find(|factor| factor.id() == *bound)
            .context("the bound of the char yield is not published")?
            .value;
        Ok(Question {
            rounds: choose_rounds(&rounds, &file.period),
            grace_days: methodology.grace_days,
            yield_bound,
        })
    }

    /// The store's own statements one after the other on one connection.
    async fn ask(&self, house: &House, position: u64) -> Result<Duration> {
        let scope = Scope {
            programme_id: house.caller.programme_id,
            period: &house.programme.period,
            position,
        };
        let mut connection = house.pool.acquire().await?;
        let began = Instant::now();
        let days = cohorts::cohort_days(&mut connection, scope, self.grace_days).await?;
        let usage = cohorts::usage_counts(&mut connection, scope, &self.rounds.usage).await?;
        for rounds in [
            &self.rounds.baseline_kitchens,
            &self.rounds.project_kitchens,
        ] {
            let kitchens = cohorts::kitchen_households(&mut connection, scope, rounds).await?;
            ensure!(!kitchens.is_empty(), "no kitchens");
        }
        let weighings = &self.rounds.char_weighings;
        let lots = cohorts::char_lots(&mut connection, scope, weighings, self.yield_bound).await?;
        let took = began.elapsed();
        ensure!(
            !days.is_empty() && !usage.is_empty() && !lots.is_empty(),
            "the reference added up nothing"
        );
        Ok(took)
    }
}

async fn print(house: &House, pairs: &[Pair]) -> Result<()> {
    let (deployments, answers): (i64, i64) = sqlx::query_as(
        "select (select count(*) from deployment), (select count(*) from usage_answer)",
    )
    .fetch_one(&house.pool)
    .await?;
    let side = |pick: fn(&Pair) -> f64| Repeats::of(pairs.iter().map(pick)).show("ms", 1);
    let section = Section {
        title: "b. Making a statement",
        lines: vec![
            (
                "over",
                format!(
                    "{} deployments and {} survey answers; {} repeats in turn, median (spread)",
                    grouped(deployments as f64, 0),
                    grouped(answers as f64, 0),
                    pairs.len()
                ),
            ),
            (
                "service",
                format!(
                    "{}  one POST over loopback HTTP, until its answer: computed, traced, recorded in the trail",
                    side(|pair| pair.service)
                ),
            ),
            (
                "reference",
                format!(
                    "{}  the same SQL for stove-days, usage, kitchens and char on one connection, and nothing else",
                    side(|pair| pair.reference)
                ),
            ),
            ("ratio of the times", ratios(pairs).show("", 3)),
        ],
    };
    println!("{section}");
    Ok(())
}
