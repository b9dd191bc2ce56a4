//! A warning where the project stove was tested with wet fuel.

use crate::accounting::statement::draft::Draft;
use rust_decimal::Decimal;

/// Wet-basis moisture above which a gasifier burns badly (common practice, no source).
const WET: Decimal = Decimal::from_parts(20, 0, 0, false, 2);

/// Notes the tests of the project stove whose fuel was wetter than a gasifier wants.
pub(super) fn note_wet_fuel(draft: &mut Draft, device: &str) {
    let inputs = draft.inputs;
    let cooking = inputs
        .cooking_tests
        .iter()
        .filter(|test| test.device == device && test.moisture_wb > WET)
        .map(|test| test.test_code.as_str());
    let stove = inputs
        .stove_tests
        .iter()
        .filter(|test| test.device == device && test.moisture_wb > WET)
        .map(|test| test.test_code.as_str());
    let mut wet: Vec<&str> = cooking.chain(stove).collect();
    if wet.is_empty() {
        return;
    }
    wet.sort_unstable();
    draft.note(
        "fuel-too-wet",
        format!(
            "The fuel of these tests of {device} held more than {WET} water (wet basis), above \
             which a gasifier burns badly (common practice, no source): {}.",
            wet.join(", ")
        ),
    );
}
