//! Methodologies and factors as JSON: read, and told what they lack.
#![no_main]

use emberbook_fuzz::accounting::factor::Factor;
use emberbook_fuzz::accounting::library::published_factors;
use emberbook_fuzz::accounting::methodology::{Methodology, validate};
use libfuzzer_sys::fuzz_target;
use std::sync::LazyLock;

static FACTORS: LazyLock<Vec<Factor>> =
    LazyLock::new(|| published_factors().expect("the library reads"));

fuzz_target!(|bytes: &[u8]| {
    if let Ok(methodology) = serde_json::from_slice::<Methodology>(bytes) {
        let _ = validate(&methodology, &FACTORS);
        let _ = methodology.id();
    }
    if let Ok(factor) = serde_json::from_slice::<Factor>(bytes) {
        let _ = factor.id().to_string();
    }
});
