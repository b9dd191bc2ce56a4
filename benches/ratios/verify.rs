//! Checking a bag offline, against hashing and parsing its bytes and nothing else; the memory of
//! the check and of the export at two sizes; and how fast the trail takes entries.

use crate::figures::{Pair, Repeats, Section, grouped, ratios};
use crate::house::{House, Sizes, keys};
use anyhow::{Context, Result, bail, ensure};
use emberbook::config::RowSecurity;
use emberbook::service::register::Site;
use emberbook::service::{Once, Service};
use emberbook::store;
use emberbook::verify::{Options, verify};
use sha2::{Digest, Sha256};
use std::fs::File;
use std::io::{BufReader, Read, Seek};
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::Arc;
use std::time::{Duration, Instant};

/// Bytes read at a time by the reference.
const BUFFER_BYTES: usize = 256 * 1024;

/// Entries appended to the trail, one commit each.
const ENTRIES: usize = 300;

/// What one size came to.
struct Measured {
    rows: u64,
    bytes: u64,
    export_seconds: f64,
    export_mib: f64,
    verify_mib: f64,
    pairs: Vec<Pair>,
}

pub async fn measure(sizes: &Sizes) -> Result<()> {
    let mut all = Vec::new();
    for deployments in sizes.verify_deployments {
        let house = House::open(&Sizes {
            deployments,
            ..sizes.clone()
        })
        .await?;
        all.push(measure_one(&house, sizes.verify_repeats).await?);
        if all.len() == sizes.verify_deployments.len() {
            append(&house).await?;
        }
        house.close().await?;
    }
    print(&all);
    Ok(())
}

async fn measure_one(house: &House, repeats: usize) -> Result<Measured> {
    let home = tempfile::tempdir()?;
    let bag = home.path().join("bag");
    let (export_seconds, export_mib) = {
        let began = Instant::now();
        let kib = alone(&["--only-export", house.url(), &house.token, text(&bag)?])?;
        (began.elapsed().as_secs_f64(), kib / 1024.0)
    };
    let verify_mib = alone(&["--only-verify", text(&bag)?])? / 1024.0;
    let (rows, bytes) = read_all(&bag)?;
    let mut pairs = Vec::new();
    for _ in 0..repeats {
        let began = Instant::now();
        read_all(&bag)?;
        let reference = began.elapsed();
        let began = Instant::now();
        check(&bag)?;
        pairs.push(Pair {
            service: began.elapsed().as_secs_f64(),
            reference: reference.as_secs_f64(),
        });
    }
    Ok(Measured {
        rows,
        bytes,
        export_seconds,
        export_mib,
        verify_mib,
        pairs,
    })
}

fn text(path: &Path) -> Result<&str> {
    path.to_str().context("a plain path")
}

fn check(bag: &Path) -> Result<()> {
    let report = verify(bag, &Options::default());
    ensure!(report.is_sound(), "{report}");
    Ok(())
}

/// Runs one part in a process of its own; returns the most memory that it held, in KiB.
fn alone(arguments: &[&str]) -> Result<f64> {
    let output = Command::new(std::env::current_exe()?)
        .args(arguments)
        .output()?;
    let told = String::from_utf8_lossy(&output.stdout);
    if !output.status.success() {
        bail!("{told}{}", String::from_utf8_lossy(&output.stderr));
    }
    Ok(told.trim().parse()?)
}

/// The part of the program that checks a bag and tells its memory.
pub fn only_verify(bag: Option<String>) -> Result<()> {
    check(&PathBuf::from(bag.context("which bag?")?))?;
    tell_memory()
}

/// The part of the program that writes a bag and tells its memory.
pub async fn only_export(mut arguments: impl Iterator<Item = String>) -> Result<()> {
    let mut next = || arguments.next().context("URL, token, folder");
    let (url, token, folder) = (next()?, next()?, next()?);
    let pool = store::connect(&url, 4, RowSecurity::Service).await?;
    let service = Service::new(pool, keys(), Arc::new(chrono::Utc::now));
    let caller = service.caller_by_token(&token).await?;
    service.write_bag(&caller, Path::new(&folder)).await?;
    tell_memory()
}

/// The most memory that this process has held, where the machine tells it.
fn tell_memory() -> Result<()> {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let most = status.lines().find_map(|line| line.strip_prefix("VmHWM:"));
    let kib = most.and_then(|most| most.split_whitespace().next());
    println!("{}", kib.unwrap_or("NaN"));
    Ok(())
}

/// Hashes every file of the bag and parses every CSV of it; rows of the tables, and bytes.
fn read_all(bag: &Path) -> Result<(u64, u64)> {
    let (mut rows, mut bytes) = (0, 0);
    let mut folders = vec![bag.to_owned()];
    while let Some(folder) = folders.pop() {
        for child in std::fs::read_dir(folder)? {
            let path = child?.path();
            if path.is_dir() {
                folders.push(path);
                continue;
            }
            bytes += hash(&path)?;
            let uploaded = path
                .parent()
                .is_some_and(|folder| folder.ends_with("files"));
            if uploaded || path.extension().is_some_and(|ending| ending == "csv") {
                let found = parse(&path)?;
                // An uploaded file is parsed too, but its rows are those of the tables.
                rows += if uploaded { 0 } else { found };
            }
        }
    }
    Ok((rows, bytes))
}

fn hash(path: &Path) -> Result<u64> {
    let (mut file, mut digest, mut bytes) = (File::open(path)?, Sha256::new(), 0);
    let mut buffer = vec![0; BUFFER_BYTES];
    loop {
        let read = file.read(&mut buffer)?;
        if read == 0 {
            std::hint::black_box(digest.finalize());
            return Ok(bytes);
        }
        digest.update(&buffer[..read]);
        bytes += read as u64;
    }
}

fn parse(path: &Path) -> Result<u64> {
    let mut file = BufReader::with_capacity(BUFFER_BYTES, File::open(path)?);
    file.rewind()?;
    let mut csv = csv::ReaderBuilder::new().flexible(true).from_reader(file);
    let (mut record, mut rows) = (csv::StringRecord::new(), 0);
    while csv.read_record(&mut record)? {
        std::hint::black_box(&record);
        rows += 1;
    }
    Ok(rows)
}

/// Small records, each a request of its own, against bare inserts that are each committed.
async fn append(house: &House) -> Result<()> {
    let one = |at: usize| Site {
        code: format!("BENCH-{at}"),
        name: "A place for the measurement (invented)".into(),
    };
    let began = Instant::now();
    for at in 0..ENTRIES {
        let site = one(at);
        house
            .service
            .add_site(&house.caller, &site, &Once::unkeyed())
            .await?;
    }
    let service = began.elapsed();
    sqlx::query("create table bare (id bigint primary key, body text)")
        .execute(&house.pool)
        .await?;
    let began = Instant::now();
    for at in 0..ENTRIES {
        sqlx::query("insert into bare values ($1, $2)")
            .bind(at as i64)
            .bind("A place for the measurement (invented)")
            .execute(&house.pool)
            .await?;
    }
    let reference = began.elapsed();
    let rate = |took: Duration| grouped(ENTRIES as f64 / took.as_secs_f64(), 0);
    let section = Section {
        title: "f. Appending to the trail",
        lines: vec![
            ("over", format!("{ENTRIES} sites, one after the other")),
            (
                "service",
                format!(
                    "{:>9} a second, each an entry of the trail and a row, committed",
                    rate(service)
                ),
            ),
            (
                "reference",
                format!(
                    "{:>9} a second, bare inserts, each committed",
                    rate(reference)
                ),
            ),
            (
                "ratio of the times",
                format!("{:>9.2}", service.as_secs_f64() / reference.as_secs_f64()),
            ),
        ],
    };
    println!("{section}");
    Ok(())
}

fn print(all: &[Measured]) {
    for one in all {
        let side = |pick: fn(&Pair) -> f64| Repeats::of(one.pairs.iter().map(pick)).show("s", 2);
        let section = Section {
            title: "e. Checking a bag offline",
            lines: vec![
                (
                    "over",
                    format!(
                        "{} rows, {} MB; {} repeats in turn, median (spread)",
                        grouped(one.rows as f64, 0),
                        grouped(one.bytes as f64 / 1e6, 0),
                        one.pairs.len()
                    ),
                ),
                (
                    "verify",
                    format!(
                        "{}  every checksum, proof, file, draw and figure",
                        side(|pair| pair.service)
                    ),
                ),
                (
                    "reference",
                    format!(
                        "{}  SHA-256 of every byte and every CSV parsed, one after the other",
                        side(|pair| pair.reference)
                    ),
                ),
                ("ratio of the times", ratios(&one.pairs).show("", 2)),
                (
                    "most memory",
                    format!(
                        "{:>9.0} MiB for verify, {:.0} MiB for the export, which took {:.1} s",
                        one.verify_mib, one.export_mib, one.export_seconds
                    ),
                ),
            ],
        };
        println!("{section}");
    }
}
