//! A bag whose trail is sound in itself and says anything: contents of entries, line by line.
#![no_main]

use emberbook_fuzz::seed_bag::with_trail;
use emberbook_fuzz::told;
use emberbook_fuzz::verify::{Options, verify};
use libfuzzer_sys::fuzz_target;

fuzz_target!(|bytes: &[u8]| {
    with_trail(told(bytes), |bag| {
        let _ = verify(bag, &Options::default()).to_string();
    });
});
