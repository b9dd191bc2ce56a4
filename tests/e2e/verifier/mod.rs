//! The offline verifier on bags that were exported over HTTP, sound, damaged and forged.

mod archives;
mod bytes;
mod cells;
mod closes;
mod command;
mod files;
mod forgers;
mod independent;
mod kept;
mod whole;

use crate::support::TestProgramme;
use emberbook::verify::{Options, verify};

/// Exports over HTTP and checks the bag.
pub async fn assert_sound_export(programme: &TestProgramme) {
    let export = programme.manager.get("/export").await;
    assert_eq!(export.status, 200, "{}", export.text());
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("bag.tar.gz");
    std::fs::write(&path, &export.bytes).expect("the bag is written");
    let report = verify(&path, &Options::default());
    assert!(report.is_sound(), "{report}");
}
