//! The real program, killed without warning in the middle of an upload and of a job.

use super::{begin, ended, head, id_of, offset, part, workers};
use crate::support::{Answer, Client, TestProgramme, database};
use sqlx::PgPool;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};
use tempfile::TempDir;
use tokio::io::AsyncWriteExt;
use tokio::net::TcpStream;

/// The program as a process of its own, over a database of the tests.
struct Program {
    child: Child,
    port: u16,
}

impl Program {
    async fn start(database: &str, data: &Path) -> Self {
        let port = std::net::TcpListener::bind("127.0.0.1:0")
            .and_then(|listener| listener.local_addr())
            .expect("a port")
            .port();
        let child = Command::new(env!("CARGO_BIN_EXE_emberbook"))
            .arg("serve")
            .env("DATABASE_URL", database::url(database))
            .env("EMBERBOOK_DATA", data)
            .env("EMBERBOOK_ADDR", format!("127.0.0.1:{port}"))
            .env("EMBERBOOK_JOB_LEASE_SECONDS", "2")
            .env("EMBERBOOK_CONNECTIONS", "6")
            .stdout(Stdio::null())
            .spawn()
            .expect("it starts");
        let program = Program { child, port };
        let began = Instant::now();
        while TcpStream::connect(("127.0.0.1", port)).await.is_err() {
            assert!(began.elapsed() < Duration::from_secs(60), "it serves");
            tokio::time::sleep(Duration::from_millis(50)).await;
        }
        program
    }

    /// As `kill -9` does.
    fn kill(mut self) {
        self.child.kill().expect("killed");
        self.child.wait().expect("gone");
    }

    fn client(&self, code: &str, secret: &str) -> Client {
        let base = format!("http://127.0.0.1:{}", self.port);
        let client = Client::new(base).under(&format!("/api/v1/programmes/{code}"));
        client.with_token(secret)
    }
}

impl Drop for Program {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// A programme with its small register, served by nothing, and a data folder.
async fn programme_at_rest() -> (String, String, String, TempDir) {
    let programme = TestProgramme::start().await;
    programme.small_register().await;
    let (code, secret) = (programme.code.clone(), programme.manager_secret.clone());
    // The program reads the time of day, so the token must not have ended by then.
    sqlx::query("update access_token set expires_at = now() + interval '1 day'")
        .execute(&programme.app.pool)
        .await
        .expect("a longer token");
    let database = programme.app.close().await;
    (
        database,
        code,
        secret,
        tempfile::tempdir().expect("a folder"),
    )
}

/// Households enough that the parts are longer than what is synced at a time.
fn households(count: usize) -> Vec<u8> {
    let rows: Vec<String> = (0..count)
        .map(|n| format!("HH-K{n:07},NORTH,2,1,1,0"))
        .collect();
    let rows: Vec<&str> = rows.iter().map(String::as_str).collect();
    crate::batches::rows("households", &rows)
}

async fn count(pool: &PgPool, sql: &'static str) -> i64 {
    sqlx::query_scalar(sql)
        .fetch_one(pool)
        .await
        .expect("a count")
}

#[tokio::test]
async fn a_program_killed_in_the_middle_of_an_upload_goes_on_where_the_bytes_are_safe() {
    let (database, code, secret, data) = programme_at_rest().await;
    let file = households(250_000);
    assert!(file.len() > 6_000_000, "{}", file.len());
    let program = Program::start(&database, data.path()).await;
    let client = program.client(&code, &secret);
    let id = id_of(&begin(&client, "households", None, file.len() as u64).await);
    let first = Answer::of(part(&client, &id, 0, &file[..100_000])).await;
    assert_eq!(first.status, 204, "{}", first.text());
    // A second part that is on its way when the program is killed.
    let mut line = TcpStream::connect(("127.0.0.1", program.port))
        .await
        .expect("a line");
    let request = format!(
        "PATCH /api/v1/programmes/{code}/uploads/{id} HTTP/1.1\r\nHost: x\r\n\
         Authorization: Bearer {secret}\r\nTus-Resumable: 1.0.0\r\nUpload-Offset: 100000\r\n\
         Content-Type: application/offset+octet-stream\r\nContent-Length: {}\r\n\r\n",
        file.len() - 100_000
    );
    line.write_all(request.as_bytes()).await.expect("sent");
    line.write_all(&file[100_000..5_500_000])
        .await
        .expect("sent");
    line.flush().await.expect("sent");
    tokio::time::sleep(Duration::from_millis(1_500)).await;
    program.kill();

    let program = Program::start(&database, data.path()).await;
    let client = program.client(&code, &secret);
    let told = offset(&head(&client, &id).await) as usize;
    println!("killed after 5500000 bytes were sent; goes on at {told}");
    assert!((100_000..=5_500_000).contains(&told), "{told}");
    // More than the part that was answered: a long part is synced on its way.
    assert!(told > 4_000_000, "{told}");
    let rest = Answer::of(part(&client, &id, told as u64, &file[told..])).await;
    assert_eq!(rest.status, 204, "{}", rest.text());
    let job = ended(&client, &id).await;
    assert_eq!(job["state"], "succeeded", "{job:#}");
    assert_eq!(job["result"]["rows"], 250_000);
    let sha256 = emberbook::trail::merkle::sha256(&file).to_string();
    assert_eq!(job["result"]["file_sha256"], sha256);
}

#[tokio::test]
async fn a_program_killed_in_the_middle_of_a_job_does_it_once_after_its_start() {
    let (database, code, secret, data) = programme_at_rest().await;
    let file = households(60_000);
    let pool = database::pool(&database, 2).await;
    // Holds every writer at the trail: the job has read its rows and cannot go on.
    let mut holder = pool.begin().await.expect("a transaction");
    sqlx::query("select size from trail_head for update")
        .execute(&mut *holder)
        .await
        .expect("the lock");
    let program = Program::start(&database, data.path()).await;
    let client = program.client(&code, &secret);
    let id = super::send(&client, "households", None, &file).await;
    let began = Instant::now();
    loop {
        let job = client.get(&format!("/jobs/{id}")).await.ok(200);
        if job["state"] == "running" && job["progress"]["rows_read"] == 60_000 {
            break;
        }
        assert!(began.elapsed() < Duration::from_secs(60), "{job:#}");
        tokio::time::sleep(Duration::from_millis(100)).await;
    }
    program.kill();
    holder.rollback().await.expect("let go");

    let program = Program::start(&database, data.path()).await;
    let client = program.client(&code, &secret);
    let job = ended(&client, &id).await;
    assert_eq!(job["state"], "succeeded", "{job:#}");
    assert_eq!(job["result"]["rows"], 60_000);
    assert_eq!(job["result"]["repeated"], false);
    assert_eq!(count(&pool, "select takings::bigint from job").await, 2);
    let batches = "select count(*) from batch where file_name = 'field.csv'";
    assert_eq!(count(&pool, batches).await, 1);
    let rows = "select count(*) from household where household_code like 'HH-K%'";
    assert_eq!(count(&pool, rows).await, 60_000);
    assert!(!data.path().join("uploads").join(&id).exists());
    drop(program);
    pool.close().await;
}

#[tokio::test]
async fn a_program_that_is_told_to_stop_lets_go_of_its_job_at_once() {
    let programme = super::programme().await;
    let mut holder = programme.app.pool.begin().await.expect("a transaction");
    sqlx::query("select size from trail_head for update")
        .execute(&mut *holder)
        .await
        .expect("the lock");
    let first = workers(&programme, 1);
    let file = super::usage();
    let id = super::send(&programme.manager, "usage_survey", Some("usage"), &file).await;
    loop {
        let job = programme.manager.get(&format!("/jobs/{id}")).await.ok(200);
        if job["state"] == "running" {
            break;
        }
        tokio::time::sleep(Duration::from_millis(20)).await;
    }
    first.stop().await;
    let job = programme.manager.get(&format!("/jobs/{id}")).await.ok(200);
    assert_eq!(job["state"], "waiting", "{job:#}");
    holder.rollback().await.expect("let go");
    let _second = workers(&programme, 1);
    let job = ended(&programme.manager, &id).await;
    assert_eq!(job["state"], "succeeded", "{job:#}");
}
