//! The strict reader of JSON, its canonical form, and events.
#![no_main]

use emberbook_fuzz::trail::canonical::{canonical_json, is_canonical, parse_strict};
use emberbook_fuzz::trail::event::Event;
use libfuzzer_sys::fuzz_target;

fuzz_target!(|bytes: &[u8]| {
    let _ = Event::parse(bytes);
    let Ok(value) = parse_strict(bytes) else {
        return;
    };
    if let Ok(canonical) = canonical_json(&value) {
        assert!(is_canonical(&canonical));
        let again = parse_strict(&canonical).expect("the canonical form is strict");
        assert_eq!(canonical_json(&again).ok(), Some(canonical));
    }
});
