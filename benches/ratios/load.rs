//! A small load of GET requests on loopback: kept-alive connections that each send the
//! next request when the last one is answered, for a bounded time.
//!
//! It reads just as much of HTTP/1.1 as the two servers here answer with, so that most
//! of the processor is left to them.

use crate::figures::Answers;
use anyhow::{Context, Result, ensure};
use std::net::SocketAddr;
use std::sync::Arc;
use std::time::{Duration, Instant};
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::TcpStream;
use tokio::task::JoinSet;

/// Connections that a load may open.
const CONNECTIONS_MAX: usize = 256;
/// Largest answer that is read.
const ANSWER_BYTES_MAX: usize = 64 * 1024;

/// Where the requests go: `path` followed by one of `names`.
#[derive(Debug)]
pub struct Target {
    pub address: SocketAddr,
    pub path: String,
    pub token: String,
    pub names: Arc<Vec<String>>,
}

/// Asks for `time` on so many connections. Every answer must be a 200 that holds the name.
pub async fn run(target: &Arc<Target>, connections: usize, time: Duration) -> Result<Answers> {
    ensure!(connections <= CONNECTIONS_MAX, "too many connections");
    let mut streams = Vec::new();
    for _ in 0..connections {
        let stream = TcpStream::connect(target.address).await?;
        stream.set_nodelay(true)?;
        streams.push(stream);
    }
    let began = Instant::now();
    let mut tasks = JoinSet::new();
    for (place, stream) in streams.into_iter().enumerate() {
        let target = Arc::clone(target);
        tasks.spawn(async move { ask(stream, &target, place, began + time).await });
    }
    let mut latencies = Vec::new();
    while let Some(done) = tasks.join_next().await {
        latencies.extend(done??);
    }
    Ok(Answers::new(latencies, began.elapsed()))
}

async fn ask(
    mut stream: TcpStream,
    target: &Target,
    place: usize,
    until: Instant,
) -> Result<Vec<Duration>> {
    let mut latencies = Vec::new();
    let mut answer = Vec::new();
    // Connections walk through the names from different places with one long stride.
    let mut at = place * 7_919;
    while Instant::now() < until {
        at += 104_729;
        let name = &target.names[at % target.names.len()];
        let request = format!(
            "GET {}{name} HTTP/1.1\r\nhost: {}\r\nauthorization: Bearer {}\r\n\r\n",
            target.path, target.address, target.token
        );
        let began = Instant::now();
        stream.write_all(request.as_bytes()).await?;
        read_answer(&mut stream, &mut answer).await?;
        latencies.push(began.elapsed());
        ensure!(
            answer.starts_with(b"HTTP/1.1 200 ") && holds(&answer, name.as_bytes()),
            "{name} was answered with {}",
            String::from_utf8_lossy(&answer)
        );
    }
    Ok(latencies)
}

/// Reads one answer whole: its head and as many bytes as its head says.
async fn read_answer(stream: &mut TcpStream, answer: &mut Vec<u8>) -> Result<()> {
    answer.clear();
    let mut whole = None;
    while whole.is_none_or(|bytes| answer.len() < bytes) {
        ensure!(stream.read_buf(answer).await? > 0, "the server hung up");
        ensure!(answer.len() <= ANSWER_BYTES_MAX, "the answer is too long");
        if whole.is_none() {
            whole = answer_bytes(answer)?;
        }
    }
    Ok(())
}

/// Length of head and body, once the head is complete.
fn answer_bytes(answer: &[u8]) -> Result<Option<usize>> {
    const HEAD_END: &[u8] = b"\r\n\r\n";
    let Some(end) = answer.windows(4).position(|bytes| bytes == HEAD_END) else {
        return Ok(None);
    };
    let head = std::str::from_utf8(&answer[..end])?;
    let length: usize = head
        .lines()
        .filter_map(|line| line.split_once(':'))
        .find(|(name, _)| name.eq_ignore_ascii_case("content-length"))
        .context("the answer has no content-length")?
        .1
        .trim()
        .parse()?;
    Ok(Some(end + HEAD_END.len() + length))
}

fn holds(answer: &[u8], name: &[u8]) -> bool {
    answer.windows(name.len()).any(|bytes| bytes == name)
}
