//! Words of caution that the program shows, by page.

/// On whatever states a result.
const STATEMENT: &[&str] = &[
    "These are estimates for accounting, not a health assessment.",
    "Issuance and any public claim rest with an accredited validation and verification body and \
     with the rules of the scheme.",
];

const CARBON_MONOXIDE: &str = "Carbon monoxide rises when the flame goes out over glowing char: \
use the stove with ventilation and never sleep beside it.";
const CANS: &str = "Coated or galvanised cans give off toxic fumes: do not build or repair a \
stove with them.";
const LOCAL_CODES: &str = "Follow the local fire and building codes.";

const STOVE: &[&str] = &[CARBON_MONOXIDE, CANS, LOCAL_CODES];

const CHAR: &[&str] = &[
    CARBON_MONOXIDE,
    "Quench char fully and check it again after hours: hot char rekindles.",
    "Damp char before handling it: the dust harms the lungs.",
    "Ash and char water are caustic: protect eyes and skin, keep children away.",
    CANS,
    LOCAL_CODES,
];

/// For statements and every page or export that shows their figures.
pub fn statement() -> &'static [&'static str] {
    STATEMENT
}

/// For pages about stoves.
pub fn stove() -> &'static [&'static str] {
    STOVE
}

/// For pages about char.
pub fn char() -> &'static [&'static str] {
    CHAR
}
