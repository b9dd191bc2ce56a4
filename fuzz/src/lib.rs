//! The pure rooms of the program, and what the fuzz targets share. The rooms are taken by their
//! paths, so that a build needs neither the database's client nor the web server.

#[path = "../../src/accounting/mod.rs"]
pub mod accounting;
#[path = "../../src/intake/mod.rs"]
pub mod intake;
#[path = "../../src/statistics/mod.rs"]
pub mod statistics;
#[path = "../../src/trail/mod.rs"]
pub mod trail;
#[path = "../../src/verify/mod.rs"]
pub mod verify;

pub mod seed_bag;

use intake::{BatchKind, Naming, Rejections, mark, read_rows, workbook_template};
use std::io::{Cursor, Read, Write};
use std::path::Path;
use trail::canonical::canonical_json;

/// Calls `work` with an empty folder in memory where there is one.
pub fn in_folder(work: impl FnOnce(&Path)) {
    let memory = Path::new("/dev/shm");
    let made = match memory.is_dir() {
        true => tempfile::tempdir_in(memory),
        false => tempfile::tempdir(),
    };
    work(made.expect("a folder").path());
}

pub fn kind_of(which: u8) -> BatchKind {
    BatchKind::ALL[usize::from(which) % BatchKind::ALL.len()]
}

/// Reads a file as rows of a kind, and marks it where it is refused.
pub fn read_file(which: u8, file: &[u8]) {
    let template = kind_of(which).template();
    let mut refused = Vec::new();
    let mut rows = 0_u32;
    read_rows(
        template,
        &Naming::default(),
        Cursor::new(file),
        &mut |row| {
            rows += 1;
            match row {
                Ok(row) => {
                    let _ = canonical_json(&row.to_json(template));
                }
                Err(rejections) => refused.extend(rejections),
            }
            rows < 1_000
        },
    );
    if !refused.is_empty() {
        let rejections = Rejections {
            count: refused.len() as u64,
            list: refused,
        };
        let _ = mark(template, Cursor::new(file), &rejections);
    }
}

/// The template's workbook with one of its parts replaced.
pub fn workbook_with_part(which: u8, part: u8, content: &[u8]) -> Option<Vec<u8>> {
    let sound = workbook_template(kind_of(which).template()).ok()?;
    let mut archive = zip::ZipArchive::new(Cursor::new(sound)).ok()?;
    let replaced = usize::from(part) % archive.len();
    let mut out = zip::ZipWriter::new(Cursor::new(Vec::new()));
    let options = zip::write::SimpleFileOptions::default();
    for index in 0..archive.len() {
        let mut entry = archive.by_index(index).ok()?;
        let mut bytes = Vec::new();
        entry.read_to_end(&mut bytes).ok()?;
        let name = entry.name().ok()?.into_owned();
        out.start_file(name, options).ok()?;
        let bytes = if index == replaced { content } else { &bytes };
        out.write_all(bytes).ok()?;
    }
    Some(out.finish().ok()?.into_inner())
}

/// Lines of a kind of entry, a space and a content.
pub fn told(bytes: &[u8]) -> impl Iterator<Item = seed_bag::Told> {
    bytes.split(|byte| *byte == b'\n').filter_map(|line| {
        let space = line.iter().position(|byte| *byte == b' ')?;
        let kind = std::str::from_utf8(&line[..space]).ok()?;
        Some((kind.to_owned(), line[space + 1..].to_vec()))
    })
}
