//! Ratios of the service to what it stands on, each against its reference in the
//! same run on the same private, durable PostgreSQL. They judge nothing: a machine's
//! seconds say little, a ratio says what the service itself costs.
//!
//! `cargo bench --bench ratios -- [--quick] [monte-carlo] [intake] [statement] [reading] [verify] [pages] [upload]`
//!
//! Loopback only, bounded in count and time. `--quick` is a smoke run of tiny sizes.

mod figures;
mod house;
mod instructions;
mod intake;
mod load;
mod monte_carlo;
mod pages;
mod reading;
mod statement;
mod upload;
mod verify;

use anyhow::{Result, bail};
use house::{House, Sizes};
use std::time::Instant;
use tracing_subscriber::EnvFilter;

const ALL: [&str; 6] = [
    "monte-carlo",
    "statement",
    "reading",
    "intake",
    "verify",
    "pages",
];
/// Asked for by name alone: it has no reference, and sends some 400 MB.
const UPLOAD: &str = "upload";

fn main() -> Result<()> {
    let mut sizes = Sizes::full();
    let mut chosen = Vec::new();
    for argument in std::env::args().skip(1) {
        match argument.as_str() {
            "--quick" => sizes = Sizes::quick(),
            // What `cargo bench` adds of its own accord.
            "--bench" => {}
            // What the Monte Carlo part starts to have its own instructions counted.
            "--only-draw" => return monte_carlo::only_draw(std::env::args().nth(2)),
            // What the part about bags starts to have its own memory told.
            "--only-verify" => return verify::only_verify(std::env::args().nth(2)),
            "--only-export" => return run(verify::only_export(std::env::args().skip(2))),
            name if ALL.contains(&name) || name == UPLOAD => chosen.push(name.to_owned()),
            other => bail!(
                "there is no {other:?}; there are --quick, monte-carlo, intake, statement, reading, verify, pages, upload"
            ),
        }
    }
    // The service logs here as it does where it serves, so that this costs the same; but
    // checkpoints and loading the references are slow by nature.
    let filter = EnvFilter::try_from_default_env()
        .unwrap_or_else(|_| EnvFilter::new("warn,sqlx::query=error,emberbook=info"));
    tracing_subscriber::fmt()
        .with_env_filter(filter)
        .with_writer(std::io::stderr)
        .init();
    run(measure(&sizes, &chosen))
}

fn run(work: impl Future<Output = Result<()>>) -> Result<()> {
    tokio::runtime::Builder::new_multi_thread()
        .enable_all()
        .build()?
        .block_on(work)
}

async fn measure(sizes: &Sizes, chosen: &[String]) -> Result<()> {
    let began = Instant::now();
    let cores = std::thread::available_parallelism()?;
    println!(
        "Ratios of the service to its references, {cores} cores{}.",
        load_average()
    );
    println!("A ratio is service over reference, repeat by repeat: their median (and spread).");
    let wanted = |name: &str| chosen.is_empty() || chosen.iter().any(|one| one == name);
    if wanted("monte-carlo") {
        monte_carlo::measure(sizes)?;
    }
    if ALL[1..4].iter().any(|name| wanted(name)) {
        measure_service(sizes, wanted).await?;
    }
    if wanted("pages") {
        pages::measure(sizes).await?;
    }
    if wanted("verify") {
        verify::measure(sizes).await?;
    }
    if chosen.iter().any(|one| one == UPLOAD) {
        upload::measure(sizes.upload_rows).await?;
    }
    println!(
        "Took {:.0} s{}.",
        began.elapsed().as_secs_f64(),
        load_average()
    );
    Ok(())
}

/// The parts that stand on a running service.
async fn measure_service(sizes: &Sizes, wanted: impl Fn(&str) -> bool) -> Result<()> {
    let house = House::open(sizes).await?;
    // Intake comes last: it adds rows that the others would have to look through.
    if wanted("statement") {
        statement::measure(&house, sizes.statement_repeats).await?;
    }
    if wanted("reading") {
        reading::measure(&house, sizes.reading_repeats, sizes.reading_time).await?;
    }
    if wanted("intake") {
        intake::measure(&house, sizes.intake_repeats).await?;
    }
    house.close().await
}

/// How busy the machine is, where it says so: other work spoils a measurement.
fn load_average() -> String {
    let told = std::fs::read_to_string("/proc/loadavg").unwrap_or_default();
    match told.split(' ').next() {
        Some(average) if !average.is_empty() => format!(", load average {average}"),
        _ => String::new(),
    }
}
