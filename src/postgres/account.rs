//! The system account that the server runs as. PostgreSQL refuses root, so a
//! root process hands it to an unprivileged account.

use super::PostgresError;
use std::ffi::CString;
use std::fs::Metadata;
use std::os::unix::fs::MetadataExt;
use std::path::Path;

/// Who the server runs as.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Account {
    /// The user who runs this process.
    Own,
    /// Another user, because this process is root.
    Other { name: String, uid: u32, gid: u32 },
}

impl Account {
    /// The account for the cluster in that folder: the owner of an existing one,
    /// so that a cluster stays with whoever made it.
    pub(super) fn for_cluster(cluster: &Path) -> Result<Self, PostgresError> {
        let owner = std::fs::metadata(cluster).ok();
        // SAFETY: geteuid takes nothing, touches no memory and cannot fail.
        let own = unsafe { libc::geteuid() };
        match owner {
            Some(owner) if own != 0 && owner.uid() != own => Err(PostgresError::OtherOwner {
                folder: cluster.to_owned(),
                owner: owner.uid(),
            }),
            _ if own != 0 => Ok(Self::Own),
            Some(owner) if owner.uid() != 0 => Ok(Self::Other {
                name: format!("#{}", owner.uid()),
                uid: owner.uid(),
                gid: owner.gid(),
            }),
            _ => ["postgres", "_postgres", "nobody"]
                .into_iter()
                .find_map(look_up)
                .ok_or(PostgresError::NoAccount),
        }
    }

    /// User and group to change to, when they are not this process's own.
    pub(super) fn change_to(&self) -> Option<(u32, u32)> {
        match self {
            Self::Own => None,
            Self::Other { uid, gid, .. } => Some((*uid, *gid)),
        }
    }

    pub(super) fn name(&self) -> &str {
        match self {
            Self::Own => "yours",
            Self::Other { name, .. } => name,
        }
    }

    /// Gives a file or folder to the account.
    pub(super) fn give(&self, path: &Path) -> Result<(), PostgresError> {
        let Some((uid, gid)) = self.change_to() else {
            return Ok(());
        };
        std::os::unix::fs::chown(path, Some(uid), Some(gid))
            .map_err(PostgresError::folder("give away", path))
    }

    /// Whether the account may walk to `path` by its absolute name: every folder
    /// from the root down to it must let the account through.
    pub(super) fn can_reach(&self, path: &Path) -> bool {
        let Some((uid, gid)) = self.change_to() else {
            return true;
        };
        let Ok(path) = path.canonicalize() else {
            return false;
        };
        path.ancestors()
            .all(|folder| std::fs::metadata(folder).is_ok_and(|m| may_search(&m, uid, gid)))
    }
}

fn may_search(folder: &Metadata, uid: u32, gid: u32) -> bool {
    let bit = if folder.uid() == uid {
        0o100
    } else if folder.gid() == gid {
        0o010
    } else {
        0o001
    };
    folder.mode() & bit != 0
}

fn look_up(name: &str) -> Option<Account> {
    let c_name = CString::new(name).ok()?;
    let mut buffer = vec![0; 16 * 1024];
    let mut entry = std::mem::MaybeUninit::<libc::passwd>::uninit();
    let mut found = std::ptr::null_mut();
    // SAFETY: every pointer is valid for the call, the length is the buffer's own, and
    // the entry is read only when the call says through `found` that it filled it.
    unsafe {
        let outcome = libc::getpwnam_r(
            c_name.as_ptr(),
            entry.as_mut_ptr(),
            buffer.as_mut_ptr(),
            buffer.len(),
            &raw mut found,
        );
        if outcome != 0 || found.is_null() {
            return None;
        }
        let entry = entry.assume_init();
        (entry.pw_uid != 0).then(|| Account::Other {
            name: name.to_owned(),
            uid: entry.pw_uid,
            gid: entry.pw_gid,
        })
    }
}
