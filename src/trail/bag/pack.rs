//! Packs a folder into a tar archive, gzip-compressed, the same bytes each time.

use std::fs::{self, File};
use std::io::{self, Read, Seek, Write};
use std::path::Path;

use flate2::{Compression, GzBuilder, write::GzEncoder};
use tar::{Builder, EntryType, Header};

use super::path::problem_of;

/// Every entry carries this time, 1980-01-01T00:00:00Z in Unix seconds: a tool
/// may complain about an older one.
const FIXED_TIME: u64 = 315_532_800;

/// The gzip header's code for "unknown", so that it does not tell the machine.
const UNKNOWN_SYSTEM: u8 = 255;

/// Writes all files and folders of a folder as `.tar.gz`, under one top folder
/// named `top`: in the order of their names, with fixed times, owners and
/// modes, so the same folder always gives the same bytes.
///
/// # Errors
/// The folder holds anything but plain files and folders, a name that is not
/// safe or too long for a tar header, a file that changes meanwhile; or reading
/// or writing fails.
pub fn pack(folder: &Path, top: &str, out: impl Write) -> io::Result<()> {
    if top.contains('/') || problem_of(top).is_some() {
        return Err(refuse(top, "it cannot name the top folder"));
    }
    let gzip = GzBuilder::new()
        .mtime(0)
        .operating_system(UNKNOWN_SYSTEM)
        .write(out, Compression::new(6));
    let mut archive = Builder::new(gzip);
    append_folder(&mut archive, folder, top)?;
    archive.into_inner()?.finish()?.flush()
}

fn append_folder<W: Write>(
    archive: &mut Builder<GzEncoder<W>>,
    folder: &Path,
    name: &str,
) -> io::Result<()> {
    // The length of a tar header's path bounds how deep this can go.
    let header = header(&format!("{name}/"), EntryType::Directory, 0)?;
    archive.append(&header, io::empty())?;
    let mut children = fs::read_dir(folder)?.collect::<io::Result<Vec<_>>>()?;
    children.sort_by_key(|child| child.file_name());
    for child in children {
        let kind = child.file_type()?;
        let name = format!("{name}/{}", child.file_name().to_string_lossy());
        if child.file_name().to_str().is_none() {
            return Err(refuse(&name, "its name is not UTF-8"));
        }
        if let Some(problem) = problem_of(&name) {
            return Err(refuse(&name, problem));
        }
        if kind.is_dir() {
            append_folder(archive, &child.path(), &name)?;
        } else if kind.is_file() {
            append_file(archive, &child.path(), &name)?;
        } else {
            return Err(refuse(&name, "it is neither a plain file nor a folder"));
        }
    }
    Ok(())
}

fn append_file<W: Write>(
    archive: &mut Builder<GzEncoder<W>>,
    path: &Path,
    name: &str,
) -> io::Result<()> {
    let mut file = File::open(path)?;
    let size = file.metadata()?.len();
    archive.append(
        &header(name, EntryType::Regular, size)?,
        (&mut file).take(size),
    )?;
    if file.stream_position()? != size {
        return Err(refuse(name, "it became shorter while it was packed"));
    }
    Ok(())
}

fn header(name: &str, kind: EntryType, size: u64) -> io::Result<Header> {
    let mut header = Header::new_ustar();
    header
        .set_path(name)
        .map_err(|_| refuse(name, "its path is too long for an archive"))?;
    header.set_entry_type(kind);
    header.set_size(size);
    header.set_mode(if kind == EntryType::Directory {
        0o755
    } else {
        0o644
    });
    header.set_mtime(FIXED_TIME);
    header.set_uid(0);
    header.set_gid(0);
    header.set_cksum();
    Ok(header)
}

fn refuse(name: &str, problem: &str) -> io::Error {
    io::Error::new(
        io::ErrorKind::InvalidInput,
        format!("{name:?} cannot be packed: {problem}"),
    )
}
