//! Numbers, days and codes in cells: every cell of a row of a kind from the text, line by line.
#![no_main]

use emberbook_fuzz::intake::row_from_texts;
use emberbook_fuzz::kind_of;
use emberbook_fuzz::trail::canonical::canonical_json;
use libfuzzer_sys::fuzz_target;

fuzz_target!(|bytes: &[u8]| {
    let Some((which, text)) = bytes.split_first() else {
        return;
    };
    let Ok(text) = std::str::from_utf8(text) else {
        return;
    };
    let template = kind_of(*which).template();
    if let Ok(row) = row_from_texts(template, 2, text.split('\n')) {
        let _ = canonical_json(&row.to_json(template));
    }
});
