//! A sound bag of which one file holds anything; the first byte says which.
#![no_main]

use emberbook_fuzz::seed_bag::{FILES, with_bag, with_file};
use emberbook_fuzz::verify::{Options, verify};
use libfuzzer_sys::fuzz_target;

fn init() {
    with_bag(|bag| {
        let report = verify(bag, &Options::default());
        assert!(report.is_sound(), "{report}");
    });
}

fuzz_target!(init: init(), |bytes: &[u8]| {
    let Some((which, content)) = bytes.split_first() else {
        return;
    };
    let file = FILES[usize::from(*which) % FILES.len()];
    with_file(file, content, |bag, unchanged| {
        let report = verify(bag, &Options::default());
        assert_eq!(report.is_sound(), unchanged, "{file}: {report}");
    });
});
