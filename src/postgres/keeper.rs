//! Starting, watching and stopping the server.
//!
//! The server must never outlive its owner. Linux can signal a child when its
//! parent ends, but ties that to the parent's *thread*: so one thread, the
//! keeper, starts the server and lives exactly as long as its handle.

use super::folders::{DataFolder, ServerNote, SocketFolder};
use super::process::{Program, ServerHome};
use super::{PostgresError, ServerOptions};
use std::ffi::OsStr;
use std::fs::File;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, ExitStatus};
use std::sync::mpsc::{Receiver, Sender, channel};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

/// How long an earlier server on the same folder gets to end. After a kill, its remains
/// count as alive until the system has cleared them away, which takes some seconds.
const PREDECESSOR_PATIENCE: Duration = Duration::from_secs(8);
/// How long a server may replay its log before it is ready.
const START_PATIENCE: Duration = Duration::from_secs(120);
/// How long a server may take to write everything out at its end.
const STOP_PATIENCE: Duration = Duration::from_secs(60);
const PAUSE: Duration = Duration::from_millis(10);

/// The handle of the thread that keeps the server.
#[derive(Debug)]
pub(super) struct Keeper {
    process: u32,
    // Dropped to tell the thread that the server should end.
    hold: Option<Sender<()>>,
    thread: Option<JoinHandle<Result<(), PostgresError>>>,
}

impl Keeper {
    /// Starts the server and returns when it takes connections.
    pub(super) fn start(
        program: Program,
        home: ServerHome,
        folder: &DataFolder,
        socket: &SocketFolder,
        options: ServerOptions,
    ) -> Result<Self, PostgresError> {
        let log = folder.log();
        let log_file = folder.open_log()?;
        let socket = socket.path().to_owned();
        let (hold, held) = channel();
        let (report, reported) = channel();
        let thread = std::thread::Builder::new()
            .name("private-postgres".to_owned())
            .spawn(move || {
                let command = || program.server(&home, &socket, options);
                match start_server(command, home.cluster(), &log_file, &log) {
                    Ok(server) => {
                        // Nobody listening means that the handle is gone: the hold is too.
                        let _ = report.send(Ok(server.id()));
                        keep(server, &held)
                    }
                    Err(error) => {
                        let _ = report.send(Err(error));
                        Ok(())
                    }
                }
            })
            .map_err(PostgresError::folder("start a thread for", folder.path()))?;
        let process = reported.recv().unwrap_or_else(|_| {
            Err(PostgresError::UncleanEnd {
                ending: "its keeper failed".to_owned(),
            })
        })?;
        Ok(Self {
            process,
            hold: Some(hold),
            thread: Some(thread),
        })
    }

    pub(super) fn process_id(&self) -> u32 {
        self.process
    }

    /// Ends the server and waits for it.
    pub(super) fn stop(&mut self) -> Result<(), PostgresError> {
        self.hold = None;
        match self.thread.take().map(JoinHandle::join) {
            None => Ok(()),
            Some(Ok(outcome)) => outcome,
            Some(Err(_)) => Err(PostgresError::UncleanEnd {
                ending: "its keeper failed".to_owned(),
            }),
        }
    }
}

impl Drop for Keeper {
    fn drop(&mut self) {
        if let Err(error) = self.stop() {
            tracing::warn!("{error}");
        }
    }
}

/// Waits until the handle lets go, then ends the server: politely, then firmly.
fn keep(mut server: Child, held: &Receiver<()>) -> Result<(), PostgresError> {
    // The sender only ever goes away; that is the message.
    let _ = held.recv();
    let already_dead = server.try_wait().ok().flatten();
    if let Some(status) = already_dead {
        return unclean(status);
    }
    for (signal, patience) in [
        (libc::SIGINT, STOP_PATIENCE),
        (libc::SIGQUIT, Duration::from_secs(5)),
    ] {
        send(&server, signal);
        if let Some(status) = wait(&mut server, patience) {
            return if status.success() {
                Ok(())
            } else {
                unclean(status)
            };
        }
    }
    // Nothing is left to report these to: the process is either gone or beyond reach.
    let _ = server.kill();
    let _ = server.wait();
    Err(PostgresError::UncleanEnd {
        ending: "it had to be killed".to_owned(),
    })
}

fn unclean(status: ExitStatus) -> Result<(), PostgresError> {
    Err(PostgresError::UncleanEnd {
        ending: status.to_string(),
    })
}

fn send(server: &Child, signal: i32) {
    if let Ok(process) = i32::try_from(server.id()) {
        // SAFETY: a plain system call; the child is not yet waited for, so the id is still its own.
        unsafe {
            libc::kill(process, signal);
        }
    }
}

fn wait(server: &mut Child, patience: Duration) -> Option<ExitStatus> {
    let deadline = Instant::now() + patience;
    loop {
        if let Ok(Some(status)) = server.try_wait() {
            return Some(status);
        }
        if Instant::now() >= deadline {
            return None;
        }
        std::thread::sleep(PAUSE);
    }
}

/// Starts the server, and again for a while where the remains of an earlier one are in the
/// way. PostgreSQL itself judges whether `postmaster.pid` is stale; nothing here deletes it.
fn start_server(
    command: impl Fn() -> Command,
    cluster: &Path,
    log_file: &File,
    log: &Path,
) -> Result<Child, PostgresError> {
    let deadline = Instant::now() + PREDECESSOR_PATIENCE;
    loop {
        let before = log_length(log);
        let mut command = command();
        let cannot_run = |program: &OsStr, source| PostgresError::CannotRun {
            program: PathBuf::from(program),
            source,
        };
        let (out, err) = (log_file.try_clone(), log_file.try_clone());
        let spawned = out
            .and_then(|out| Ok((out, err?)))
            .and_then(|(out, err)| command.stdout(out).stderr(err).spawn());
        let mut server = spawned.map_err(|source| cannot_run(command.get_program(), source))?;
        if wait_until_ready(&mut server, cluster, log)? {
            return Ok(server);
        }
        let said = tail(log, before);
        if !said.contains("postmaster.pid\" already exists") {
            return Err(PostgresError::DidNotStart {
                log: log.to_owned(),
                tail: said,
            });
        }
        if Instant::now() >= deadline {
            return Err(match ServerNote::read(cluster) {
                Some(note) => PostgresError::AlreadyRunning {
                    folder: cluster.to_owned(),
                    process: note.process,
                },
                None => PostgresError::DidNotStart {
                    log: log.to_owned(),
                    tail: said,
                },
            });
        }
        std::thread::sleep(Duration::from_millis(200));
    }
}

/// True when the server takes connections, false when it ended instead.
fn wait_until_ready(server: &mut Child, cluster: &Path, log: &Path) -> Result<bool, PostgresError> {
    let deadline = Instant::now() + START_PATIENCE;
    loop {
        if matches!(server.try_wait(), Ok(Some(_))) {
            return Ok(false);
        }
        let note = ServerNote::read(cluster);
        if note.is_some_and(|note| note.ready && note.process == server.id()) {
            return Ok(true);
        }
        if Instant::now() >= deadline {
            send(server, libc::SIGQUIT);
            // Only the wait counts here: the sentence below already says that it failed.
            let _ = wait(server, Duration::from_secs(5));
            return Err(PostgresError::NotReady {
                seconds: START_PATIENCE.as_secs(),
                log: log.to_owned(),
                tail: tail(log, 0),
            });
        }
        std::thread::sleep(PAUSE);
    }
}

fn log_length(log: &Path) -> usize {
    std::fs::metadata(log).map_or(0, |m| usize::try_from(m.len()).unwrap_or(usize::MAX))
}

/// The last lines that the log gained after its first `before` bytes.
fn tail(log: &Path, before: usize) -> String {
    let bytes = std::fs::read(log).unwrap_or_default();
    let text = String::from_utf8_lossy(bytes.get(before..).unwrap_or_default()).into_owned();
    let lines: Vec<&str> = text.lines().collect();
    lines[lines.len().saturating_sub(20)..].join("\n")
}
