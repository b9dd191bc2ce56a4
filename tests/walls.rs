//! The walls of the house: which room may name which, what a pure room must not
//! know, what every file owes its reader, and that shipped migrations stay as
//! they were. Read from the sources, so that a wall cannot fall unnoticed.

#[path = "walls/migrations.rs"]
mod migrations;
#[path = "walls/rules.rs"]
mod rules;
#[path = "walls/scan.rs"]
mod scan;

use std::fs;
use std::path::{Path, PathBuf};

/// Most lines a file may have.
const LONGEST_FILE: usize = 450;

/// Files that are longer for now, each with the most lines it may have. Only ever shorten this.
const RATCHET: &[(&str, usize)] = &[];

fn house() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// Every Rust file below these folders: its path in the house, and its text.
fn sources(folders: &[&str]) -> Vec<(String, String)> {
    let mut waiting: Vec<PathBuf> = folders.iter().map(|folder| house().join(folder)).collect();
    let mut found = Vec::new();
    while let Some(folder) = waiting.pop() {
        let Ok(entries) = fs::read_dir(folder) else {
            continue;
        };
        for path in entries.map(|entry| entry.unwrap().path()) {
            if path.is_dir() {
                waiting.push(path);
            } else if path.extension().is_some_and(|extension| extension == "rs") {
                let name = path.strip_prefix(house()).unwrap().to_str().unwrap();
                found.push((name.to_owned(), fs::read_to_string(&path).unwrap()));
            }
        }
    }
    found.sort();
    assert!(!found.is_empty());
    found
}

fn assert_none(broken: &[String]) {
    assert!(broken.is_empty(), "\n{}", broken.join("\n"));
}

#[test]
fn imports_run_downward_and_each_room_knows_only_its_own_crates() {
    let broken: Vec<_> = sources(&["src"])
        .iter()
        .flat_map(|(path, source)| rules::broken_walls(path, source))
        .collect();
    assert_none(&broken);
}

#[test]
fn sql_lives_in_the_store() {
    let broken: Vec<_> = sources(&["src"])
        .iter()
        .flat_map(|(path, source)| rules::stray_sql(path, source))
        .collect();
    assert_none(&broken);
}

#[test]
fn every_file_says_what_it_is_for_and_stays_short() {
    let files = sources(&["src", "tests", "benches"]);
    let broken: Vec<_> = files
        .iter()
        .flat_map(|(path, source)| rules::unreadable(path, source, LONGEST_FILE, RATCHET))
        .collect();
    assert_none(&broken);
}

#[test]
fn migrations_are_never_edited_once_listed() {
    let folder = house().join("migrations");
    let list = fs::read_to_string(house().join("tests/migrations.sha256")).unwrap_or_default();
    let files = fs::read_dir(folder).map_or_else(
        |_| Vec::new(),
        |entries| {
            entries
                .map(|entry| entry.unwrap().path())
                .map(|path| {
                    let name = path.file_name().unwrap().to_str().unwrap().to_owned();
                    (name, fs::read(path).unwrap())
                })
                .collect()
        },
    );
    assert_none(&migrations::changed(&files, &list));
}
