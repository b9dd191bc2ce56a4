//! Starting, watching and stopping the server.
//!
//! The server must never outlive its owner. Linux can signal a child when its
//! parent ends, but ties that to the parent's *thread*: so one thread, the
//! keeper, starts the server and lives exactly as long as its handle.

use super::account::Account;
use super::folders::{DataFolder, ServerNote, SocketFolder};
use super::installation::Installation;
use super::{PostgresError, ServerOptions, USER};
use std::ffi::{OsStr, OsString};
use std::fs::{DirBuilder, File};
use std::os::fd::{AsRawFd, RawFd};
use std::os::unix::fs::DirBuilderExt;
use std::os::unix::process::CommandExt;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, ExitStatus, Stdio};
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

/// PostgreSQL's programs together with the account that runs them.
#[derive(Debug)]
pub(super) struct Program {
    account: Account,
    installation: Installation,
}

impl Program {
    pub(super) fn new(account: Account, installation: Installation) -> Self {
        Self {
            account,
            installation,
        }
    }

    pub(super) fn account(&self) -> &Account {
        &self.account
    }

    /// Makes a new, empty cluster in the data folder.
    pub(super) fn make_cluster(
        &self,
        folder: &DataFolder,
        options: ServerOptions,
    ) -> Result<(), PostgresError> {
        let unfinished = folder.unfinished_cluster();
        if unfinished.exists() {
            std::fs::remove_dir_all(&unfinished)
                .map_err(PostgresError::folder("remove", &unfinished))?;
        }
        DirBuilder::new()
            .mode(0o700)
            .create(&unfinished)
            .map_err(PostgresError::folder("make the folder", &unfinished))?;
        self.account.give(&unfinished)?;
        let home = ServerHome::open(unfinished.clone(), &self.account)?;
        // Byte order sorts the same on every machine; other locales change with the system.
        let locale = if cfg!(target_os = "linux") {
            "C.UTF-8"
        } else {
            "C"
        };
        let mut command = self.command(&self.installation.initdb(), &home);
        command.arg("-D").arg(home.name());
        command.args(["-U", USER, "-A", "trust", "-E", "UTF8", "--no-instructions"]);
        command.arg(format!("--locale={locale}"));
        if !options.durable {
            command.arg("--no-sync");
        }
        let made = command
            .output()
            .map_err(|source| PostgresError::CannotRun {
                program: self.installation.initdb(),
                source,
            })?;
        if !made.status.success() {
            return Err(PostgresError::MakeCluster {
                folder: unfinished,
                output: String::from_utf8_lossy(&made.stderr).into_owned(),
            });
        }
        let cluster = folder.cluster();
        std::fs::rename(&unfinished, &cluster).map_err(PostgresError::folder("name", &cluster))
    }

    fn server(&self, home: &ServerHome, socket: &Path, options: ServerOptions) -> Command {
        let mut command = self.command(&self.installation.postgres(), home);
        command.arg("-D").arg(home.name());
        let mut sockets = OsString::from("unix_socket_directories=");
        sockets.push(socket);
        command.arg("-c").arg(sockets);
        let durable = if options.durable { "on" } else { "off" };
        for setting in [
            "listen_addresses=",
            "port=5432",
            "shared_buffers=128MB",
            "max_wal_size=2GB",
            "timezone=UTC",
            "log_timezone=UTC",
            &format!("fsync={durable}"),
            &format!("full_page_writes={durable}"),
        ] {
            command.args(["-c", setting]);
        }
        command
    }

    /// A command that runs as the account, in a session of its own so that Ctrl-C at the
    /// terminal reaches the service alone, and that ends with the thread that started it.
    fn command(&self, program: &Path, home: &ServerHome) -> Command {
        let mut command = Command::new(program);
        command
            .env_clear()
            .env("PATH", "/usr/bin:/bin")
            .env("LC_ALL", "C")
            .current_dir("/")
            .stdin(Stdio::null());
        let change_to = self.account.change_to();
        let inherited = home.inherited();
        let parent = std::process::id();
        // SAFETY: between fork and exec the closure only makes system calls and allocates nothing.
        unsafe {
            command.pre_exec(move || prepare_child(change_to, inherited, parent));
        }
        command
    }
}

/// Runs in the child before it becomes the server. The order matters: changing the
/// account clears the signal that is asked for last.
fn prepare_child(
    change_to: Option<(u32, u32)>,
    inherited: Option<RawFd>,
    parent: u32,
) -> std::io::Result<()> {
    let check = |outcome: i32| match outcome {
        -1 => Err(std::io::Error::last_os_error()),
        _ => Ok(()),
    };
    // SAFETY: plain system calls on values; the one pointer is to a live local.
    unsafe {
        if let Some(descriptor) = inherited {
            check(libc::fcntl(descriptor, libc::F_SETFD, 0))?;
        }
        if let Some((uid, gid)) = change_to {
            check(libc::setgroups(1, &raw const gid))?;
            check(libc::setgid(gid))?;
            check(libc::setuid(uid))?;
        }
        check(libc::setsid())?;
        #[cfg(target_os = "linux")]
        {
            check(libc::prctl(libc::PR_SET_PDEATHSIG, libc::SIGINT))?;
            // The parent may have died before the signal was asked for.
            if u32::try_from(libc::getppid()) != Ok(parent) {
                return Err(std::io::ErrorKind::BrokenPipe.into());
            }
        }
    }
    #[cfg(not(target_os = "linux"))]
    let _ = parent;
    Ok(())
}

/// How the server gets to its cluster.
#[derive(Debug)]
pub(super) struct ServerHome {
    cluster: PathBuf,
    // Set where a folder above the cluster is closed to the account, as root's home is:
    // the server then walks in through this open folder instead of by the path.
    opened: Option<File>,
}

impl ServerHome {
    pub(super) fn open(cluster: PathBuf, account: &Account) -> Result<Self, PostgresError> {
        if account.can_reach(&cluster) {
            return Ok(Self {
                cluster,
                opened: None,
            });
        }
        if !Path::new("/proc/self/fd").exists() {
            return Err(PostgresError::Unreachable {
                folder: cluster,
                account: account.name().to_owned(),
            });
        }
        let opened = File::open(&cluster).map_err(PostgresError::folder("open", &cluster))?;
        Ok(Self {
            cluster,
            opened: Some(opened),
        })
    }

    fn inherited(&self) -> Option<RawFd> {
        self.opened.as_ref().map(AsRawFd::as_raw_fd)
    }

    fn name(&self) -> PathBuf {
        match self.inherited() {
            None => self.cluster.clone(),
            Some(descriptor) => PathBuf::from(format!("/proc/self/fd/{descriptor}")),
        }
    }
}

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
                match start_server(command, &home.cluster, &log_file, &log) {
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
