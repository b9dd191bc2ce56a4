//! What a phone sends for a form.
#![no_main]

use emberbook_fuzz::intake::xform::read_submission;
use libfuzzer_sys::fuzz_target;

fuzz_target!(|bytes: &[u8]| {
    let _ = read_submission(bytes);
});
