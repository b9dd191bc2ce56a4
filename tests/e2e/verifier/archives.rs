//! Archives that are cut off, damaged or no archives at all.

use crate::support::seeded;
use emberbook::verify::{Options, verify};
use std::path::Path;

#[test]
fn an_archive_cut_off_anywhere_is_not_sound() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("bag.tar.gz");
    let whole = &seeded().bag;
    let cuts = (0..16).map(|part| whole.len() * part / 16);
    for length in cuts.chain([1, 2, 10, whole.len() - 9, whole.len() - 1]) {
        std::fs::write(&path, &whole[..length]).expect("written");
        let report = verify(&path, &Options::default());
        assert!(
            !report.is_sound(),
            "{length} of {} bytes: {report}",
            whole.len()
        );
        assert!(report.faults().next().is_some(), "{length}: {report}");
    }
    std::fs::write(&path, whole).expect("written");
    assert!(verify(&path, &Options::default()).is_sound());
}

#[test]
fn a_flipped_byte_of_the_archive_is_not_sound() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("bag.tar.gz");
    let whole = &seeded().bag;
    for part in 1..16 {
        let mut spoilt = whole.clone();
        spoilt[whole.len() * part / 16] ^= 1;
        std::fs::write(&path, &spoilt).expect("written");
        assert!(!verify(&path, &Options::default()).is_sound(), "{part}");
    }
}

#[test]
fn what_is_no_bag_at_all_is_one_fault() {
    let folder = tempfile::tempdir().expect("a folder");
    let garbage = folder.path().join("garbage.tar.gz");
    std::fs::write(&garbage, b"this is no archive").expect("written");
    let empty = folder.path().join("empty");
    std::fs::create_dir(&empty).expect("made");
    for path in [garbage.as_path(), &empty, Path::new("/nowhere/bag.tar.gz")] {
        let report = verify(path, &Options::default());
        assert!(!report.is_sound());
        assert_eq!(report.faults().count(), 1, "{report}");
    }
}
