//! Workbooks: any bytes, and sound workbooks of which one part holds anything.
#![no_main]

use emberbook_fuzz::{read_file, workbook_with_part};
use libfuzzer_sys::fuzz_target;

fuzz_target!(|bytes: &[u8]| {
    let [which, part, content @ ..] = bytes else {
        return;
    };
    match part {
        255 => read_file(*which, content),
        part => {
            if let Some(file) = workbook_with_part(*which, *part, content) {
                read_file(*which, &file);
            }
        }
    }
});
