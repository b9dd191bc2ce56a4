//! The private PostgreSQL against the real programs: each test makes, breaks and
//! inspects servers of its own.

use super::folders::ServerNote;
use super::*;
use sqlx::{Executor, Row};
use std::io::{BufRead, BufReader};
use std::os::unix::fs::{MetadataExt, PermissionsExt};
use std::path::PathBuf;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};
use tempfile::TempDir;

const FAST: ServerOptions = ServerOptions { durable: false };

/// Tells [`a_process_that_holds_a_server`] which folder to hold.
const HOLD: &str = "EMBERBOOK_TEST_HOLD";

fn new_folder() -> TempDir {
    tempfile::tempdir().unwrap()
}

async fn connect(server: &PrivatePostgres, database: &str) -> PgConnection {
    PgConnection::connect(&server.url(database)).await.unwrap()
}

async fn write_note(server: &PrivatePostgres, note: &str) {
    let mut connection = connect(server, "postgres").await;
    connection
        .execute("create table if not exists notes (note text)")
        .await
        .unwrap();
    sqlx::query("insert into notes values ($1)")
        .bind(note)
        .execute(&mut connection)
        .await
        .unwrap();
}

async fn read_notes(server: &PrivatePostgres) -> Vec<String> {
    let mut connection = connect(server, "postgres").await;
    let rows = sqlx::query("select note from notes order by note")
        .fetch_all(&mut connection)
        .await
        .unwrap();
    rows.iter().map(|row| row.get(0)).collect()
}

async fn setting(server: &PrivatePostgres, name: &str) -> String {
    let mut connection = connect(server, "postgres").await;
    let row = sqlx::query("select current_setting($1)")
        .bind(name)
        .fetch_one(&mut connection)
        .await
        .unwrap();
    row.get(0)
}

fn kill(process: u32, signal: i32) {
    // SAFETY: a plain system call on a process that this test started.
    let outcome = unsafe { libc::kill(process.try_into().unwrap(), signal) };
    assert_eq!(outcome, 0, "{}", std::io::Error::last_os_error());
}

/// Whether a process still runs; one that has ended but was not yet cleared away does not.
fn runs(process: u32) -> bool {
    let state = std::fs::read_to_string(format!("/proc/{process}/stat")).ok();
    state.is_some_and(|stat| {
        let after_name = stat.rsplit(") ").next().unwrap().to_owned();
        !after_name.starts_with(['Z', 'X'])
    })
}

#[tokio::test]
async fn starts_from_nothing_and_restarts_on_the_same_folder() {
    let parent = new_folder();
    let folder = parent.path().join("deep/data");
    let server = PrivatePostgres::start_with(&folder, FAST).unwrap();
    let process = server.process_id();
    write_note(&server, "first").await;
    server.stop().unwrap();
    assert!(!runs(process));
    assert!(ServerNote::read(&folder.join("cluster")).is_none());

    let again = PrivatePostgres::start_with(&folder, FAST).unwrap();
    write_note(&again, "second").await;
    assert_eq!(read_notes(&again).await, ["first", "second"]);
}

#[tokio::test]
async fn listens_on_its_private_socket_alone_and_sorts_by_bytes() {
    let parent = new_folder();
    let server = PrivatePostgres::start_with(parent.path(), FAST).unwrap();
    assert_eq!(setting(&server, "listen_addresses").await, "");
    assert_eq!(setting(&server, "server_encoding").await, "UTF8");
    assert_eq!(setting(&server, "fsync").await, "off");
    assert_eq!(setting(&server, "max_wal_size").await, "2GB");
    let socket = std::fs::metadata(server.socket.path()).unwrap();
    assert_eq!(socket.mode() & 0o777, 0o700);
    let mut connection = connect(&server, "postgres").await;
    let row = sqlx::query("select 'é' > 'f' and 'a' > 'B'")
        .fetch_one(&mut connection)
        .await
        .unwrap();
    assert!(row.get::<bool, _>(0));
}

#[tokio::test]
async fn is_durable_unless_told_otherwise() {
    let parent = new_folder();
    let server = PrivatePostgres::start(parent.path()).unwrap();
    for name in ["fsync", "synchronous_commit", "full_page_writes"] {
        assert_eq!(setting(&server, name).await, "on", "{name}");
    }
}

#[tokio::test]
async fn recovers_after_the_server_was_killed() {
    let parent = new_folder();
    let server = PrivatePostgres::start_with(parent.path(), FAST).unwrap();
    write_note(&server, "committed").await;
    kill(server.process_id(), libc::SIGKILL);
    let deadline = Instant::now() + Duration::from_secs(5);
    while runs(server.process_id()) && Instant::now() < deadline {
        std::thread::sleep(Duration::from_millis(10));
    }
    let error = server.stop().unwrap_err();
    assert!(matches!(error, PostgresError::UncleanEnd { .. }), "{error}");
    assert!(ServerNote::read(&parent.path().join("cluster")).is_some());

    let again = PrivatePostgres::start_with(parent.path(), FAST).unwrap();
    assert_eq!(read_notes(&again).await, ["committed"]);
}

/// Starts this test program again as a process that holds a server on `folder`.
fn start_holder(folder: &Path) -> (std::process::Child, String) {
    let mut holder = Command::new(std::env::current_exe().unwrap())
        .args(["--ignored", "--exact", "--nocapture"])
        .arg("postgres::tests::a_process_that_holds_a_server")
        .env(HOLD, folder)
        // What some other server's clients may have set must not lead astray.
        .envs([
            ("PGHOST", "/nowhere"),
            ("PGPORT", "1"),
            ("PGSSLMODE", "require"),
        ])
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    let lines = BufReader::new(holder.stdout.take().unwrap()).lines();
    let answer = lines
        .map_while(Result::ok)
        .find_map(|line| Some(line.split_once("answered ")?.1.to_owned()));
    (holder, answer.expect("the holder's server answers"))
}

#[tokio::test]
#[ignore = "a helper: the tests that need such a process start it themselves"]
async fn a_process_that_holds_a_server() {
    let folder = PathBuf::from(std::env::var_os(HOLD).expect("started by another test"));
    let server = PrivatePostgres::start_with(&folder, FAST).unwrap();
    write_note(&server, "held").await;
    println!("answered {}", server.process_id());
    std::thread::sleep(Duration::from_secs(60));
}

#[tokio::test]
#[cfg(target_os = "linux")]
async fn leaves_no_server_behind_when_its_owner_is_killed() {
    let parent = new_folder();
    let (mut holder, process) = start_holder(parent.path());
    let process: u32 = process.parse().unwrap();
    assert!(runs(process));
    holder.kill().unwrap();
    holder.wait().unwrap();
    let deadline = Instant::now() + Duration::from_secs(3);
    while runs(process) && Instant::now() < deadline {
        std::thread::sleep(Duration::from_millis(20));
    }
    assert!(!runs(process), "the server outlived its owner by 3 seconds");
    let server = PrivatePostgres::start_with(parent.path(), FAST).unwrap();
    assert_eq!(read_notes(&server).await, ["held"]);
}

#[tokio::test]
#[cfg(target_os = "linux")]
async fn starts_while_the_server_of_a_killed_owner_is_still_ending() {
    let parent = new_folder();
    let (mut holder, _) = start_holder(parent.path());
    holder.kill().unwrap();
    holder.wait().unwrap();
    let server = PrivatePostgres::start_with(parent.path(), FAST).unwrap();
    assert_eq!(read_notes(&server).await, ["held"]);
}

#[test]
fn names_the_process_that_already_uses_the_folder() {
    let parent = new_folder();
    let first = PrivatePostgres::start_with(parent.path(), FAST).unwrap();
    let error = PrivatePostgres::start_with(parent.path(), FAST).unwrap_err();
    let own = std::process::id().to_string();
    assert!(
        matches!(&error, PostgresError::InUse { holder, .. } if *holder == own),
        "{error}"
    );
    first.stop().unwrap();
}

#[test]
fn names_a_foreign_server_that_runs_on_the_folder() {
    let parent = new_folder();
    let first = PrivatePostgres::start_with(parent.path(), FAST).unwrap();
    // Without its claim the running server is to the next one like a server started by hand.
    std::fs::remove_file(parent.path().join("lock")).unwrap();
    let error = PrivatePostgres::start_with(parent.path(), FAST).unwrap_err();
    let expected = first.process_id();
    assert!(
        matches!(error, PostgresError::AlreadyRunning { process, .. } if process == expected),
        "{error}"
    );
    first.stop().unwrap();
}

#[tokio::test]
async fn two_servers_run_side_by_side() {
    let (one, two) = (new_folder(), new_folder());
    let first = PrivatePostgres::start_with(one.path(), FAST).unwrap();
    let second = PrivatePostgres::start_with(two.path(), FAST).unwrap();
    write_note(&first, "in the first").await;
    write_note(&second, "in the second").await;
    assert_eq!(read_notes(&first).await, ["in the first"]);
    assert_eq!(read_notes(&second).await, ["in the second"]);
}

#[tokio::test]
async fn works_in_folders_open_and_closed_to_others_and_too_deep_for_a_socket() {
    let open = new_folder();
    std::fs::set_permissions(open.path(), std::fs::Permissions::from_mode(0o711)).unwrap();
    let closed = new_folder();
    std::fs::set_permissions(closed.path(), std::fs::Permissions::from_mode(0o700)).unwrap();
    let deep = new_folder();
    for (folder, beside) in [
        (open.path().join("data"), Some(true)),
        // Only root needs another account, which such a folder shuts out.
        (closed.path().join("data"), None),
        (deep.path().join("d".repeat(100)), Some(false)),
    ] {
        let server = PrivatePostgres::start_with(&folder, FAST).unwrap();
        write_note(&server, "here").await;
        assert!(folder.join("cluster/PG_VERSION").exists());
        let socket = server.socket.path().to_owned();
        if let Some(beside) = beside {
            assert_eq!(socket.parent() == Some(server.data_folder()), beside);
        }
        drop(server);
        let temporary = !socket.starts_with(folder.canonicalize().unwrap());
        assert_eq!(socket.exists(), !temporary, "{}", socket.display());
    }
}

#[test]
fn a_half_made_cluster_is_made_anew_and_a_foreign_one_is_left_alone() {
    let parent = new_folder();
    let unfinished = parent.path().join("cluster.unfinished");
    std::fs::create_dir(&unfinished).unwrap();
    std::fs::write(unfinished.join("PG_VERSION"), "15\n").unwrap();
    let server = PrivatePostgres::start_with(parent.path(), FAST).unwrap();
    server.stop().unwrap();
    assert!(!unfinished.exists());

    let other = new_folder();
    let cluster = other.path().join("cluster");
    std::fs::create_dir(&cluster).unwrap();
    std::fs::write(cluster.join("letter.txt"), "keep me").unwrap();
    let error = PrivatePostgres::start_with(other.path(), FAST).unwrap_err();
    assert!(
        matches!(error, PostgresError::NotACluster { .. }),
        "{error}"
    );
    assert!(cluster.join("letter.txt").exists());
}

#[tokio::test]
async fn makes_databases_once_and_refuses_names_that_need_quoting() {
    let parent = new_folder();
    let server = PrivatePostgres::start_with(parent.path(), FAST).unwrap();
    server.create_database("island_2").await.unwrap();
    server.create_database("island_2").await.unwrap();
    let mut connection = connect(&server, "island_2").await;
    let row = sqlx::query("select current_database()")
        .fetch_one(&mut connection)
        .await
        .unwrap();
    assert_eq!(row.get::<String, _>(0), "island_2");
    for name in ["", "2nd", "a-b", "a\"b", "é", "Upper", &"a".repeat(64)] {
        let error = server.create_database(name).await.unwrap_err();
        assert!(
            matches!(error, PostgresError::DatabaseName(_)),
            "{name}: {error}"
        );
    }
}

#[test]
fn says_what_is_wrong_when_the_server_cannot_start() {
    let parent = new_folder();
    let server = PrivatePostgres::start_with(parent.path(), FAST).unwrap();
    server.stop().unwrap();
    let settings = parent.path().join("cluster/postgresql.conf");
    std::fs::write(&settings, "no_such_setting = 1\n").unwrap();
    let error = PrivatePostgres::start_with(parent.path(), FAST).unwrap_err();
    assert!(error.to_string().contains("no_such_setting"), "{error}");
}
