//! CSV files of each kind, and the copies of refused ones that go back to their senders.
#![no_main]

use emberbook_fuzz::read_file;
use libfuzzer_sys::fuzz_target;

fuzz_target!(|bytes: &[u8]| {
    if let Some((which, file)) = bytes.split_first() {
        // A workbook has a target of its own.
        if !file.starts_with(b"PK") {
            read_file(*which, file);
        }
    }
});
