//! A survey of about 200 MB through the real program: sent in parts with a break in the middle,
//! made a batch by its job. Measured are the memory of the program and the time of each stage.
//!
//! The program is a process of its own, so that its memory is its own. The survey names stoves
//! that are in the register, so the register is sent first, in the same way.

use crate::figures::{Section, grouped};
use anyhow::{Context, Result, bail, ensure};
use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use emberbook::postgres::PrivatePostgres;
use reqwest::{Client, Method, RequestBuilder, StatusCode};
use serde_json::{Value, json};
use std::fs::File;
use std::io::{BufWriter, Read, Seek, SeekFrom, Write};
use std::net::TcpListener;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};
use tokio::io::AsyncWriteExt;
use tokio::net::TcpStream;

/// Bytes of a part.
const PART: u64 = 8 * 1024 * 1024;
/// Longest that one job may take.
const JOB_TIME_MAX: Duration = Duration::from_secs(1_200);
const PROGRAMME: &str = "/api/v1/programmes/bench";
/// What the program is meant to stay below, whatever the file has.
const MEMORY_MIB: f64 = 256.0;

/// Rows of the survey: 100 bytes each, about 200 MB in all.
pub const ROWS: u64 = 2_000_000;
pub const ROWS_QUICK: u64 = 30_000;

/// The served program; it ends with this value.
struct Program {
    child: Child,
    port: u16,
    token: String,
    http: Client,
}

impl Drop for Program {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// How one file went.
struct Sent {
    bytes: u64,
    received: Duration,
    checked: Duration,
    written: Duration,
    memory_mib: f64,
}

pub async fn measure(rows: u64) -> Result<()> {
    let folder = tempfile::tempdir()?;
    let data = folder.path().join("postgres");
    let server = tokio::task::spawn_blocking(move || PrivatePostgres::start(&data)).await??;
    server.create_database("bench").await?;
    let program = Program::start(&server.url("bench"), &folder.path().join("data")).await?;
    program.make_frame().await?;
    let mut told = Vec::new();
    for (kind, round, cut) in [
        ("households", None, false),
        ("deployments", None, false),
        ("usage_survey", Some("usage"), true),
    ] {
        let file = write_file(folder.path(), kind, rows)?;
        let sent = program.send(kind, round, &file, cut).await?;
        std::fs::remove_file(&file)?;
        told.push((kind, sent.show(rows)));
        if kind == "usage_survey" {
            let verdict = if sent.memory_mib < MEMORY_MIB {
                "below"
            } else {
                "NOT below"
            };
            told.push((
                "memory",
                format!("{verdict} {} MiB with the survey", grouped(MEMORY_MIB, 0)),
            ));
        }
    }
    let section = Section {
        title: "Large files, sent in parts; the survey with a break in the middle",
        lines: told,
    };
    println!("{section}");
    drop(program);
    tokio::task::spawn_blocking(move || server.stop()).await??;
    Ok(())
}

impl Sent {
    fn show(&self, rows: u64) -> String {
        let seconds = |time: Duration| format!("{:.1} s", time.as_secs_f64());
        format!(
            "{} MB, {} rows: received in {}, read and checked in {}, written in {}; memory at most {} MiB",
            grouped(self.bytes as f64 / 1e6, 1),
            grouped(rows as f64, 0),
            seconds(self.received),
            seconds(self.checked),
            seconds(self.written),
            grouped(self.memory_mib, 0)
        )
    }
}

/// Invented rows of one kind, all of the same stoves.
fn write_file(folder: &Path, kind: &str, rows: u64) -> Result<PathBuf> {
    let path = folder.join(format!("{kind}.csv"));
    let mut file = BufWriter::new(File::create(&path)?);
    match kind {
        "households" => writeln!(
            file,
            "household_code,site_code,children_0_14,women_over_14,men_15_59,men_over_59"
        )?,
        "deployments" => writeln!(
            file,
            "serial,model_code,model_version,household_code,installed_on,ended_on,end_reason,second_stove"
        )?,
        _ => writeln!(
            file,
            "household_code,serial,surveyed_on,outcome,days_used_last_week,share_of_meals,enumerator_code,started_at,ended_at"
        )?,
    }
    for row in 0..rows {
        match kind {
            "households" => writeln!(file, "HH-field-{row:08},NORTH,{},1,1,0", row % 4)?,
            "deployments" => writeln!(
                file,
                "GS-field-{row:08},G1,1,HH-field-{row:08},2024-0{}-11,,,",
                1 + row % 9
            )?,
            _ => {
                // An enumerator visits twelve stoves a day, half an hour each.
                let (visit, day) = (row % 12, 1 + row / 12 % 28);
                let (hour, minute) = (8 + visit / 2, 30 * (visit % 2) + row % 7);
                writeln!(
                    file,
                    "HH-field-{row:08},GS-field-{row:08},2025-09-{day:02},in_use,{},0.{:02},EN-{:05},2025-09-{day:02}T{hour:02}:{minute:02},2025-09-{day:02}T{hour:02}:{:02}",
                    3 + row % 5,
                    10 + row * 7 % 89,
                    row / 336,
                    minute + 17
                )?;
            }
        }
    }
    file.flush()?;
    Ok(path)
}

impl Program {
    async fn start(database: &str, data: &Path) -> Result<Self> {
        let port = TcpListener::bind("127.0.0.1:0")?.local_addr()?.port();
        let command = || {
            let mut command = Command::new(env!("CARGO_BIN_EXE_emberbook"));
            command
                .env("DATABASE_URL", database)
                .env("EMBERBOOK_DATA", data)
                .env("EMBERBOOK_ADDR", format!("127.0.0.1:{port}"));
            command
        };
        let told = command().args(["operator-token", "bench"]).output()?;
        ensure!(
            told.status.success(),
            "{}",
            String::from_utf8_lossy(&told.stderr)
        );
        let child = command().arg("serve").stdout(Stdio::null()).spawn()?;
        let mut program = Program {
            child,
            port,
            token: String::from_utf8(told.stdout)?.trim().to_owned(),
            http: Client::new(),
        };
        let began = Instant::now();
        while TcpStream::connect(("127.0.0.1", port)).await.is_err() {
            ensure!(
                began.elapsed() < Duration::from_secs(60),
                "it does not serve"
            );
            tokio::time::sleep(Duration::from_millis(50)).await;
        }
        let new = json!({"code": "bench", "name": "Bench (invented)", "manager_label": "bench"});
        let made = program.post("/api/v1/programmes", &new).await?;
        program.token = made["manager_token"]["secret"]
            .as_str()
            .context("a token")?
            .to_owned();
        Ok(program)
    }

    fn request(&self, method: Method, path: &str) -> RequestBuilder {
        let address = format!("http://127.0.0.1:{}{path}", self.port);
        let request = self.http.request(method, address);
        request
            .bearer_auth(&self.token)
            .header("Tus-Resumable", "1.0.0")
    }

    async fn post(&self, path: &str, body: &Value) -> Result<Value> {
        let answer = self.request(Method::POST, path).json(body).send().await?;
        let (status, text) = (answer.status(), answer.text().await?);
        ensure!(status.is_success(), "{path}: {status} {text}");
        Ok(serde_json::from_str(&text)?)
    }

    async fn make_frame(&self) -> Result<()> {
        let site = json!({"code": "NORTH", "name": "North"});
        self.post(&format!("{PROGRAMME}/sites"), &site).await?;
        let model = json!({"code": "G1", "version": 1, "name": "Gasifier", "device": "gasifier",
                           "char_making": true});
        self.post(&format!("{PROGRAMME}/stove-models"), &model)
            .await?;
        let round = json!({"code": "usage", "kind": "usage_survey", "starts_on": "2025-09-01",
                           "ends_on": "2025-10-01", "design": "Every stove."});
        self.post(&format!("{PROGRAMME}/rounds"), &round).await?;
        Ok(())
    }

    async fn send(&self, kind: &str, round: Option<&str>, file: &Path, cut: bool) -> Result<Sent> {
        self.forget_peak()?;
        let bytes = std::fs::metadata(file)?.len();
        let began = Instant::now();
        let address = self.begin(kind, round, bytes).await?;
        let mut file = File::open(file)?;
        let mut at = 0;
        let mut cut = cut;
        while at < bytes {
            let part = read_part(&mut file, at, PART.min(bytes - at))?;
            if cut && at > bytes / 2 {
                cut = false;
                self.break_off(&address, at, &part).await?;
                let half = at + part.len() as u64 / 2;
                at = self.offset(&address).await?;
                println!("  broken off at byte {half}; goes on at {at}");
                continue;
            }
            let answer = self
                .request(Method::PATCH, &address)
                .header("Upload-Offset", at)
                .header("Content-Type", "application/offset+octet-stream")
                .body(part)
                .send()
                .await?;
            ensure!(
                answer.status() == StatusCode::NO_CONTENT,
                "{}",
                answer.text().await?
            );
            at = offset_of(&answer)?;
        }
        let received = began.elapsed();
        let id = address.rsplit('/').next().context("an id")?;
        let (checked, written) = self.follow(id).await?;
        Ok(Sent {
            bytes,
            received,
            checked,
            written,
            memory_mib: self.peak_mib()?,
        })
    }

    async fn begin(&self, kind: &str, round: Option<&str>, bytes: u64) -> Result<String> {
        let mut pairs = vec![format!("kind {}", STANDARD.encode(kind))];
        pairs.extend(round.map(|round| format!("round {}", STANDARD.encode(round))));
        let begun = self
            .request(Method::POST, &format!("{PROGRAMME}/uploads"))
            .header("Upload-Length", bytes)
            .header("Upload-Metadata", pairs.join(","))
            .send()
            .await?;
        ensure!(
            begun.status() == StatusCode::CREATED,
            "{}",
            begun.text().await?
        );
        let location = begun.headers().get("location").context("a location")?;
        Ok(location.to_str()?.to_owned())
    }

    /// Announces a part, sends half of it and drops the line.
    async fn break_off(&self, address: &str, at: u64, part: &[u8]) -> Result<()> {
        let mut line = TcpStream::connect(("127.0.0.1", self.port)).await?;
        let head = format!(
            "PATCH {address} HTTP/1.1\r\nHost: x\r\nAuthorization: Bearer {}\r\n\
             Tus-Resumable: 1.0.0\r\nUpload-Offset: {at}\r\n\
             Content-Type: application/offset+octet-stream\r\nContent-Length: {}\r\n\r\n",
            self.token,
            part.len()
        );
        line.write_all(head.as_bytes()).await?;
        line.write_all(part.get(..part.len() / 2).unwrap_or_default())
            .await?;
        line.flush().await?;
        Ok(())
    }

    async fn offset(&self, address: &str) -> Result<u64> {
        offset_of(&self.request(Method::HEAD, address).send().await?)
    }

    /// The times until the job's rows were checked, and from then until it was committed.
    async fn follow(&self, id: &str) -> Result<(Duration, Duration)> {
        let began = Instant::now();
        let mut checked = None;
        loop {
            let path = format!("{PROGRAMME}/jobs/{id}");
            let answer = self.request(Method::GET, &path).send().await?;
            let job: Value = answer.json().await?;
            if checked.is_none() && job["progress"]["rows_checked"].as_u64() > Some(0) {
                checked = Some(began.elapsed());
            }
            match job["state"].as_str() {
                Some("waiting" | "running") => {}
                Some("succeeded") => {
                    let checked = checked.unwrap_or_else(|| began.elapsed());
                    return Ok((checked, began.elapsed().saturating_sub(checked)));
                }
                _ => bail!("the job came to {job:#}"),
            }
            ensure!(
                began.elapsed() < JOB_TIME_MAX,
                "the job takes too long: {job:#}"
            );
            tokio::time::sleep(Duration::from_millis(200)).await;
        }
    }

    /// The most memory that was resident at a time since it was last forgotten.
    fn peak_mib(&self) -> Result<f64> {
        let status = std::fs::read_to_string(format!("/proc/{}/status", self.child.id()))?;
        let line = status.lines().find_map(|line| line.strip_prefix("VmHWM:"));
        let text = line.and_then(|line| line.split_whitespace().next());
        let kib: f64 = text.context("VmHWM")?.parse()?;
        Ok(kib / 1024.0)
    }

    /// Linux begins to look for the peak anew (proc(5), clear_refs; MEMORY).
    fn forget_peak(&self) -> Result<()> {
        std::fs::write(format!("/proc/{}/clear_refs", self.child.id()), "5")
            .context("memory is measured on Linux alone")
    }
}

fn offset_of(answer: &reqwest::Response) -> Result<u64> {
    let offset = answer.headers().get("upload-offset").context("an offset")?;
    Ok(offset.to_str()?.parse()?)
}

fn read_part(file: &mut File, at: u64, bytes: u64) -> Result<Vec<u8>> {
    file.seek(SeekFrom::Start(at))?;
    let mut part = Vec::new();
    file.take(bytes).read_to_end(&mut part)?;
    Ok(part)
}
