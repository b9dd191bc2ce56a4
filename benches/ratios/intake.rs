//! A batch of survey rows through the service, against `psql \copy` of the same rows.

use crate::figures::{Pair, Repeats, Section, grouped, ratios};
use crate::house::{House, PATIENCE};
use anyhow::{Result, ensure};
use emberbook::intake::BatchKind;
use emberbook::service::Once;
use emberbook::service::batches::BatchView;
use emberbook::service::rounds::NewRound;
use sqlx::AssertSqlSafe;
use std::path::Path;
use std::time::{Duration, Instant};
use tokio_util::io::ReaderStream;

/// A table with the columns, defaults, checks, primary key, unique and other indexes of
/// the service's own, filled with the same rows; without its trigger and foreign keys.
const PLAIN: &str = "usage_answer_plain";
/// The same with the foreign keys.
const KEYED: &str = "usage_answer_keyed";

struct Repeat {
    service: Duration,
    plain: Duration,
    keyed: Duration,
}

pub async fn measure(house: &House, repeats: usize) -> Result<()> {
    make_references(house).await?;
    let survey = house.last_survey()?;
    let file = house.seed.join(&survey.file);
    let bytes = std::fs::metadata(&file)?.len();
    let mut taken = Vec::new();
    let mut rows = 0;
    for repeat in 1..=repeats {
        // A round of its own: the same rows are then a batch of their own.
        let round = format!("bench-{repeat}");
        let new = NewRound {
            code: round.clone(),
            kind: survey.kind.code().into(),
            starts_on: survey.starts_on,
            ends_on: survey.ends_on,
            design: survey.design.clone(),
            plan: None,
        };
        house
            .service
            .open_round(&house.caller, &new, &Once::unkeyed())
            .await?;
        house.settle().await?;
        let service = upload(house, &file, &round, &mut rows).await?;
        let copied = house.folder.path().join(format!("{round}.csv"));
        export(house, &round, &copied).await?;
        house.settle().await?;
        let plain = copy(house, PLAIN, &copied).await?;
        house.settle().await?;
        let keyed = copy(house, KEYED, &copied).await?;
        check_equal(house, &round, rows).await?;
        std::fs::remove_file(&copied)?;
        taken.push(Repeat {
            service,
            plain,
            keyed,
        });
    }
    print(&taken, rows, bytes);
    Ok(())
}

async fn make_references(house: &House) -> Result<()> {
    let keys: Vec<String> = sqlx::query_scalar(
        "select pg_get_constraintdef(oid) from pg_constraint
         where conrelid = 'usage_answer'::regclass and contype = 'f' order by conname",
    )
    .fetch_all(&house.pool)
    .await?;
    ensure!(!keys.is_empty(), "usage_answer has no foreign keys");
    for table in [PLAIN, KEYED] {
        run(
            house,
            format!("create table {table} (like usage_answer including all)"),
        )
        .await?;
        run(
            house,
            format!("insert into {table} select * from usage_answer"),
        )
        .await?;
    }
    for key in keys {
        run(house, format!("alter table {KEYED} add {key}")).await?;
    }
    run(
        house,
        format!("vacuum analyze {PLAIN}, {KEYED}, usage_answer"),
    )
    .await
}

async fn run(house: &House, sql: String) -> Result<()> {
    sqlx::query(AssertSqlSafe(sql)).execute(&house.pool).await?;
    Ok(())
}

/// One POST of the file, streamed; the time until the answer is read.
async fn upload(house: &House, file: &Path, round: &str, rows: &mut u64) -> Result<Duration> {
    let body = tokio::fs::File::open(file).await?;
    let began = Instant::now();
    let response = reqwest::Client::new()
        .post(house.resource("/batches"))
        .query(&[("kind", BatchKind::UsageSurvey.code()), ("round", round)])
        .bearer_auth(&house.token)
        .header("content-type", "text/csv")
        .timeout(PATIENCE)
        .body(reqwest::Body::wrap_stream(ReaderStream::with_capacity(
            body,
            64 * 1024,
        )))
        .send()
        .await?;
    let status = response.status();
    let text = response.text().await?;
    let took = began.elapsed();
    ensure!(
        status == 201,
        "the upload was answered with {status}: {text}"
    );
    let batch: BatchView = serde_json::from_str(&text)?;
    *rows = batch.rows;
    Ok(took)
}

/// The rows as the service stored them, for the references to copy.
async fn export(house: &House, round: &str, file: &Path) -> Result<()> {
    let file = file.display();
    house
        .psql(&format!(
            "\\copy (select * from usage_answer where round_code = '{round}' order by line) to '{file}' csv"
        ))
        .await?;
    Ok(())
}

async fn copy(house: &House, table: &str, file: &Path) -> Result<Duration> {
    let file = file.display();
    house
        .psql(&format!("\\copy {table} from '{file}' csv"))
        .await
}

async fn check_equal(house: &House, round: &str, rows: u64) -> Result<()> {
    for table in ["usage_answer", PLAIN, KEYED] {
        let sql = format!("select count(*) from {table} where round_code = $1");
        let found: i64 = sqlx::query_scalar(AssertSqlSafe(sql))
            .bind(round)
            .fetch_one(&house.pool)
            .await?;
        ensure!(
            u64::try_from(found) == Ok(rows),
            "{table} has {found} rows of {round}"
        );
    }
    Ok(())
}

fn print(taken: &[Repeat], rows: u64, bytes: u64) {
    let rate = |took: Duration| rows as f64 / took.as_secs_f64();
    let rates = |side: fn(&Repeat) -> Duration| Repeats::of(taken.iter().map(|t| rate(side(t))));
    let against = |side: fn(&Repeat) -> Duration| {
        let pairs: Vec<Pair> = taken
            .iter()
            .map(|t| Pair {
                service: rate(t.service),
                reference: rate(side(t)),
            })
            .collect();
        ratios(&pairs)
    };
    let plain = against(|t| t.plain);
    let section = Section {
        title: "a. Accepting a batch",
        lines: vec![
            (
                "rows",
                format!(
                    "{} rows of a usage survey, {} kB of CSV, one batch; {} repeats in turn, median (spread)",
                    grouped(rows as f64, 0),
                    grouped(bytes as f64 / 1e3, 0),
                    plain.count()
                ),
            ),
            (
                "service",
                format!(
                    "{}  one streamed POST over loopback HTTP, until its answer: stored, checked, hashed, in the trail",
                    rates(|t| t.service).show("rows/s", 0)
                ),
            ),
            (
                "reference",
                format!(
                    "{}  psql \\copy of the stored rows into a table with the same columns, checks, primary key,",
                    rates(|t| t.plain).show("rows/s", 0)
                ),
            ),
            (
                "",
                "unique and secondary index and earlier rows, without the foreign keys and the append-only trigger"
                    .to_owned(),
            ),
            ("ratio of the rates", plain.show("", 3)),
            (
                "beside it",
                format!(
                    "{}  the same \\copy with the table's two foreign keys; ratio {}",
                    rates(|t| t.keyed).show("rows/s", 0),
                    against(|t| t.keyed).show("", 3).trim_start()
                ),
            ),
        ],
    };
    println!("{section}");
}
