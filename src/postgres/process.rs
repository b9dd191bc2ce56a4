//! PostgreSQL's programs as commands: run by the right account, in the right
//! folder, and never outliving the thread that started them.

use super::account::Account;
use super::folders::DataFolder;
use super::installation::Installation;
use super::{PostgresError, ServerOptions, USER};
use std::ffi::OsString;
use std::fs::{DirBuilder, File};
use std::os::fd::{AsRawFd, RawFd};
use std::os::unix::fs::DirBuilderExt;
use std::os::unix::process::CommandExt;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

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

    /// The server itself, in the foreground.
    pub(super) fn server(
        &self,
        home: &ServerHome,
        socket: &Path,
        options: ServerOptions,
    ) -> Command {
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

    pub(super) fn cluster(&self) -> &Path {
        &self.cluster
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
