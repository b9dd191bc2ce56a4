//! Where this machine keeps PostgreSQL's programs. Packagers put them in
//! versioned folders that are not on the search path.

use super::PostgresError;
use std::path::{Path, PathBuf};
use std::process::Command;

/// The oldest major version that the migrations are tested on.
const MINIMUM: u32 = 15;

/// One installed PostgreSQL server.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Installation {
    major: u32,
    folder: PathBuf,
}

impl Installation {
    /// The newest installation, or the one that fits an existing cluster:
    /// a cluster can only be served by the major version that made it.
    pub(super) fn find(made_by: Option<(PathBuf, u32)>) -> Result<Self, PostgresError> {
        let mut found = installed();
        found.sort();
        match made_by {
            None => found
                .pop()
                .filter(|newest| newest.major >= MINIMUM)
                .ok_or(PostgresError::NotInstalled { minimum: MINIMUM }),
            Some((folder, made_by)) => {
                let names: Vec<_> = found.iter().map(|one| one.major.to_string()).collect();
                found
                    .into_iter()
                    .rfind(|one| one.major == made_by)
                    .ok_or_else(|| PostgresError::OtherVersion {
                        folder,
                        made_by,
                        found: if names.is_empty() {
                            "none".to_owned()
                        } else {
                            names.join(", ")
                        },
                    })
            }
        }
    }

    pub(super) fn folder(&self) -> &Path {
        &self.folder
    }

    pub(super) fn initdb(&self) -> PathBuf {
        self.folder.join("initdb")
    }

    pub(super) fn postgres(&self) -> PathBuf {
        self.folder.join("postgres")
    }
}

fn installed() -> Vec<Installation> {
    let mut folders: Vec<PathBuf> = [
        ("/usr/lib/postgresql", "", "bin"),         // Debian, Ubuntu
        ("/usr", "pgsql-", "bin"),                  // the PostgreSQL project's RPMs
        ("/usr/lib", "postgresql", "bin"),          // openSUSE
        ("/usr/libexec", "postgresql", ""),         // Alpine
        ("/opt/homebrew/opt", "postgresql", "bin"), // Homebrew on Apple silicon
        ("/usr/local/opt", "postgresql", "bin"),    // Homebrew on Intel
        ("/Applications/Postgres.app/Contents/Versions", "", "bin"),
        ("/usr/local", "pgsql", "bin"), // built from source
    ]
    .into_iter()
    .flat_map(|(parent, prefix, below)| children(Path::new(parent), prefix, below))
    .collect();
    if let Some(path) = std::env::var_os("PATH") {
        folders.extend(std::env::split_paths(&path)); // Fedora, Arch and others
    }
    folders.into_iter().filter_map(inspect).collect()
}

fn children(parent: &Path, prefix: &str, below: &str) -> Vec<PathBuf> {
    let Ok(entries) = std::fs::read_dir(parent) else {
        return Vec::new();
    };
    entries
        .flatten()
        .filter(|entry| entry.file_name().to_string_lossy().starts_with(prefix))
        .map(|entry| entry.path().join(below))
        .collect()
}

fn inspect(folder: PathBuf) -> Option<Installation> {
    let server = folder.join("postgres");
    if !server.is_file() || !folder.join("initdb").is_file() {
        return None;
    }
    let answer = Command::new(server).arg("--version").output().ok()?;
    let major = major_version(&String::from_utf8_lossy(&answer.stdout))?;
    Some(Installation { major, folder })
}

/// The major version in what `postgres --version` prints.
fn major_version(line: &str) -> Option<u32> {
    let version = line.split("(PostgreSQL)").nth(1)?.trim_start();
    let digits: String = version.chars().take_while(char::is_ascii_digit).collect();
    digits.parse().ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn reads_the_major_version_of_releases_and_previews() {
        let debian = "postgres (PostgreSQL) 15.18 (Debian 15.18-0+deb12u1)\n";
        assert_eq!(major_version(debian), Some(15));
        assert_eq!(major_version("postgres (PostgreSQL) 19beta1\n"), Some(19));
        assert_eq!(major_version("something else 15.1"), None);
    }

    #[test]
    fn a_cluster_of_a_version_that_is_not_installed_is_named() {
        let folder = PathBuf::from("/somewhere/cluster");
        let error = Installation::find(Some((folder, 3))).unwrap_err();
        assert!(
            error.to_string().contains("made by PostgreSQL 3"),
            "{error}"
        );
    }
}
