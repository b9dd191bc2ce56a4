//! An archive that is offered as a bag: gzip and tar as they come, or any tar under sound gzip.
#![no_main]

use emberbook_fuzz::in_folder;
use emberbook_fuzz::verify::{Options, verify};
use flate2::{Compression, write::GzEncoder};
use libfuzzer_sys::fuzz_target;
use std::io::Write;

fuzz_target!(|bytes: &[u8]| {
    let archive = match bytes.split_first() {
        Some((0, tar)) => {
            let mut gzip = GzEncoder::new(Vec::new(), Compression::fast());
            if gzip.write_all(tar).is_err() {
                return;
            }
            gzip.finish().unwrap_or_default()
        }
        Some((_, archive)) => archive.to_vec(),
        None => return,
    };
    in_folder(|folder| {
        let path = folder.join("bag.tar.gz");
        if std::fs::write(&path, archive).is_ok() {
            let report = verify(&path, &Options::default());
            assert!(!report.is_sound(), "a bag out of nothing");
            let _ = report.to_string();
        }
    });
});
