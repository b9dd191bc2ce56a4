//! Uploads that arrive in parts, and the jobs that make batches of them.

mod browser;
mod jobs;
mod killed;
mod long;
pub mod page;
mod parts;

use crate::support::{Answer, Client, Setup, TestProgramme};
use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use emberbook::service::workers::{WorkerSettings, Workers};
use reqwest::{Method, RequestBuilder};
use serde_json::Value;
use std::time::{Duration, Instant};

/// What a client says of itself in every request of the protocol.
pub fn tus(request: RequestBuilder) -> RequestBuilder {
    request.header("Tus-Resumable", "1.0.0")
}

/// Begins an upload of `bytes`; answers with all that came back.
pub async fn begin(client: &Client, kind: &str, round: Option<&str>, bytes: u64) -> Answer {
    let mut pairs = vec![("kind", kind), ("file_name", "field.csv")];
    pairs.extend(round.map(|round| ("round", round)));
    let metadata: Vec<String> = pairs
        .iter()
        .map(|(name, value)| format!("{name} {}", STANDARD.encode(value)))
        .collect();
    let request = tus(client.request(Method::POST, "/uploads"))
        .header("Upload-Length", bytes)
        .header("Upload-Metadata", metadata.join(","));
    Answer::of(request).await
}

/// The id at the end of an upload's address.
pub fn id_of(begun: &Answer) -> String {
    assert_eq!(begun.status, 201, "{}", begun.text());
    assert_eq!(begun.header("tus-resumable"), "1.0.0");
    let location = begun.header("location");
    location.rsplit('/').next().expect("an id").to_owned()
}

pub fn part(client: &Client, id: &str, offset: u64, bytes: impl Into<Vec<u8>>) -> RequestBuilder {
    tus(client.request(Method::PATCH, &format!("/uploads/{id}")))
        .header("Upload-Offset", offset)
        .header("Content-Type", "application/offset+octet-stream")
        .body(bytes.into())
}

/// What the server says of an upload.
pub async fn head(client: &Client, id: &str) -> Answer {
    Answer::of(tus(client.request(Method::HEAD, &format!("/uploads/{id}")))).await
}

pub fn offset(answer: &Answer) -> u64 {
    answer.header("upload-offset").parse().expect("an offset")
}

/// Sends a whole file as one part; answers with the job's id.
pub async fn send(client: &Client, kind: &str, round: Option<&str>, file: &[u8]) -> String {
    let id = id_of(&begin(client, kind, round, file.len() as u64).await);
    let answer = Answer::of(part(client, &id, 0, file)).await;
    assert_eq!(answer.status, 204, "{}", answer.text());
    id
}

/// A programme with the small register, whose server has these workers.
pub async fn programme() -> TestProgramme {
    programme_with(Setup::default()).await
}

pub async fn programme_with(setup: Setup) -> TestProgramme {
    let programme = TestProgramme::start_with(setup).await;
    programme.small_register().await;
    programme
}

pub fn workers(programme: &TestProgramme, workers: usize) -> Workers {
    programme.app.service.start_workers(WorkerSettings {
        workers,
        lease: Duration::from_secs(2),
        describe: emberbook::api::describe,
    })
}

/// The job's view once it has ended.
pub async fn ended(client: &Client, id: &str) -> Value {
    let began = Instant::now();
    loop {
        let job = client.get(&format!("/jobs/{id}")).await.ok(200);
        if !matches!(job["state"].as_str(), Some("waiting" | "running")) {
            return job;
        }
        assert!(began.elapsed() < Duration::from_secs(240), "{job:#}");
        tokio::time::sleep(Duration::from_millis(50)).await;
    }
}

/// Answers of the usage survey that the small register can take.
pub const USAGE: &[&str] = &[
    "HH-1,S-1,2025-09-10,in_use,7,0.5",
    "HH-3,S-3,2025-09-11,in_use,5,0.2",
];

pub fn usage() -> Vec<u8> {
    crate::batches::rows("usage_survey", USAGE)
}
