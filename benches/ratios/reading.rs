//! Reading one household through the service, against a bare select behind a bare route.

use crate::figures::{Answers, Pair, Repeats, Section, ratios};
use crate::house::{House, POOL_CONNECTIONS, serve};
use crate::load::{self, Target};
use anyhow::{Context, Result};
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::{Json, Router, routing};
use emberbook::service::Caller;
use serde::Serialize;
use sqlx::PgPool;
use std::sync::Arc;
use std::time::Duration;
use uuid::Uuid;

/// Connections of the two loads.
const CONNECTIONS: [usize; 2] = [16, 64];

struct Repeat {
    service: Answers,
    reference: Answers,
}

pub async fn measure(house: &House, repeats: usize, time: Duration) -> Result<()> {
    let names = Arc::new(household_codes(house)?);
    let Caller {
        programme_id,
        programme_code,
        ..
    } = &house.caller;
    let bare = Router::new()
        .route("/households/{code}", routing::get(read_household))
        .with_state((house.pool.clone(), *programme_id));
    let target = |address, path| {
        Arc::new(Target {
            address,
            path,
            token: house.token.clone(),
            names: Arc::clone(&names),
        })
    };
    let path = format!("/api/v1/programmes/{programme_code}/households/");
    let service = target(house.address, path);
    let reference = target(serve(bare).await?, "/households/".to_owned());
    println!("c. Reading one household");
    for connections in CONNECTIONS {
        let warm = time / 4;
        load::run(&service, connections, warm).await?;
        load::run(&reference, connections, warm).await?;
        let mut taken = Vec::new();
        for _ in 0..repeats {
            taken.push(Repeat {
                service: load::run(&service, connections, time).await?,
                reference: load::run(&reference, connections, time).await?,
            });
        }
        print(&taken, connections, time);
    }
    Ok(())
}

fn household_codes(house: &House) -> Result<Vec<String>> {
    let mut file = csv::Reader::from_path(house.seed.join("households.csv"))?;
    file.records()
        .map(|row| {
            Ok(row?
                .get(0)
                .context("a household without a code")?
                .to_owned())
        })
        .collect()
}

/// What the service tells of a household, without who may ask and how it is shown.
#[derive(Serialize, sqlx::FromRow)]
struct Household {
    batch_id: Uuid,
    line: i64,
    household_code: String,
    site_code: String,
    children_0_14: i32,
    women_over_14: i32,
    men_15_59: i32,
    men_over_59: i32,
}

async fn read_household(
    State((pool, programme_id)): State<(PgPool, Uuid)>,
    Path(code): Path<String>,
) -> Result<Json<Household>, StatusCode> {
    sqlx::query_as(
        "select batch_id, line, household_code, site_code,
                children_0_14, women_over_14, men_15_59, men_over_59
         from household where programme_id = $1 and household_code = $2",
    )
    .bind(programme_id)
    .bind(code)
    .fetch_optional(&pool)
    .await
    .map_err(|_| StatusCode::INTERNAL_SERVER_ERROR)?
    .map(Json)
    .ok_or(StatusCode::NOT_FOUND)
}

fn print(taken: &[Repeat], connections: usize, time: Duration) {
    let show = |side: fn(&Repeat) -> &Answers| {
        let each = |figure: &dyn Fn(&Answers) -> f64| {
            Repeats::of(taken.iter().map(|repeat| figure(side(repeat))))
        };
        format!(
            "{}  p50 {:.2} ms  p99 {:.2} ms",
            each(&Answers::per_second).show("requests/s", 0),
            each(&|answers| answers.percentile_ms(50)).median(),
            each(&|answers| answers.percentile_ms(99)).median(),
        )
    };
    let pairs: Vec<Pair> = taken
        .iter()
        .map(|repeat| Pair {
            service: repeat.service.per_second(),
            reference: repeat.reference.per_second(),
        })
        .collect();
    let title = format!(
        "   {connections} connections, one request at a time on each; {} repeats in turn of {:.1} s, median (spread)",
        taken.len(),
        time.as_secs_f64()
    );
    let section = Section {
        title: &title,
        lines: vec![
            (
                "service",
                format!(
                    "{}  GET with a bearer token, all layers",
                    show(|r| &r.service)
                ),
            ),
            (
                "reference",
                format!(
                    "{}  axum route, one select by unique key, JSON; no token, no layers",
                    show(|r| &r.reference)
                ),
            ),
            (
                "ratio of the rates",
                format!(
                    "{}  each side has a pool of {POOL_CONNECTIONS}, opened alike; load and servers share the process",
                    ratios(&pairs).show("", 3)
                ),
            ),
        ],
    };
    println!("{section}");
}
