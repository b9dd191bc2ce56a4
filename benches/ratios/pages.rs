//! Each page of the seed programme: the time until it is there, and its weight as it is sent with
//! all that it loads.

use crate::house::{House, Sizes};
use anyhow::{Context, Result, ensure};
use reqwest::{Client, Response, redirect};
use std::collections::BTreeSet;
use std::time::{Duration, Instant};

/// Stoves of the committed seed.
const DEPLOYMENTS: u64 = 1_200;
/// What a page should stay below.
const TIME_MAX: Duration = Duration::from_millis(50);
const WEIGHT_MAX: usize = 150_000;

struct Visit<'a> {
    http: Client,
    house: &'a House,
    session: String,
}

impl Visit<'_> {
    async fn get(&self, path: &str) -> Result<Response> {
        let request = self
            .http
            .get(format!("http://{}{path}", self.house.address));
        let request = request.header("accept-encoding", "gzip");
        Ok(request.header("cookie", &self.session).send().await?)
    }

    /// Median time and the bytes of the page alone.
    async fn time(&self, path: &str, repeats: usize) -> Result<(Duration, usize)> {
        let mut times = Vec::with_capacity(repeats);
        let mut weight = 0;
        // The first one warms what is cached.
        for repeat in 0..=repeats {
            let began = Instant::now();
            let answer = self.get(path).await?;
            ensure!(answer.status().is_success(), "{path}: {}", answer.status());
            weight = answer.bytes().await?.len();
            if repeat > 0 {
                times.push(began.elapsed());
            }
        }
        times.sort_unstable();
        Ok((times[times.len() / 2], weight))
    }

    /// Bytes of the assets that a page names.
    async fn assets(&self, path: &str) -> Result<usize> {
        let plain = self
            .http
            .get(format!("http://{}{path}", self.house.address));
        let page = plain
            .header("cookie", &self.session)
            .send()
            .await?
            .text()
            .await?;
        let named: BTreeSet<&str> = page
            .split('"')
            .filter(|part| part.starts_with("/assets/"))
            .collect();
        let mut weight = 0;
        for asset in named {
            weight += self.get(asset).await?.bytes().await?.len();
        }
        Ok(weight)
    }
}

pub async fn measure(sizes: &Sizes) -> Result<()> {
    let house = House::open(&Sizes {
        deployments: DEPLOYMENTS,
        ..sizes.clone()
    })
    .await?;
    let http = Client::builder()
        .redirect(redirect::Policy::none())
        .build()?;
    let entered = http
        .post(format!("http://{}/sign-in", house.address))
        .header("content-type", "application/x-www-form-urlencoded")
        .body(format!("token={}", house.token))
        .send()
        .await?;
    let cookie = entered.headers().get("set-cookie").context("no session")?;
    let session = cookie
        .to_str()?
        .split(';')
        .next()
        .unwrap_or_default()
        .to_owned();
    let visit = Visit {
        http,
        house: &house,
        session,
    };
    println!(
        "d. Pages of the seed programme, {} visits each; to stay below {} ms and {} kB",
        sizes.page_repeats,
        TIME_MAX.as_millis(),
        WEIGHT_MAX / 1000
    );
    let (empty, _) = visit.time("/health/live", sizes.page_repeats).await?;
    println!("   the emptiest answer takes {:.2} ms", milliseconds(empty));
    let mut over = 0;
    for path in addresses(&house).await? {
        let (median, own) = visit.time(&path, sizes.page_repeats).await?;
        let weight = own + visit.assets(&path).await?;
        let heavy = median > TIME_MAX || weight > WEIGHT_MAX;
        over += u32::from(heavy);
        println!(
            "   {:7.1} ms  {:6.1} kB  {path}{}",
            milliseconds(median),
            weight as f64 / 1000.0,
            if heavy { "  over" } else { "" }
        );
    }
    println!("   {over} over the bounds\n");
    house.close().await
}

fn milliseconds(time: Duration) -> f64 {
    time.as_secs_f64() * 1000.0
}

/// A page of each kind.
async fn addresses(house: &House) -> Result<Vec<String>> {
    let statements = house.service.statements(&house.caller).await?;
    let statement = statements.first().context("no statement")?.id;
    let batches = house.service.batches(&house.caller, None).await?;
    let survey = batches.iter().find(|batch| batch.kind == "usage_survey");
    let batch = survey.context("no survey")?.id;
    let mut addresses: Vec<String> = [
        "/",
        "/register",
        "/sites",
        "/rounds",
        "/rounds/usage-2025",
        "/batches",
        "/measured",
        "/flags",
        "/corrections",
        "/forms",
        "/factors",
        "/factors/gwp-ar5-100-ch4@1",
        "/statements",
        "/methods/2025",
        "/findings",
        "/trail",
        "/people",
        "/account",
        "/denials",
    ]
    .map(str::to_owned)
    .into();
    addresses.extend([
        format!("/batches/{batch}"),
        format!("/rows/{batch}/2"),
        format!("/statements/{statement}"),
        format!("/statements/{statement}/tree"),
        format!("/statements/{statement}/trace?node=co2e/reductions"),
        format!("/statements/{statement}/trace?node=use/rate/band/1"),
    ]);
    Ok(addresses)
}
