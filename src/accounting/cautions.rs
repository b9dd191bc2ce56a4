//! Words of caution that the program shows, by page.

/// On whatever states a result.
const STATEMENT: &[&str] = &[
    "These are estimates for accounting, not a health assessment.",
    "Issuance and any public claim rest with an accredited validation and verification body and \
     with the rules of the scheme.",
];

const CARBON_MONOXIDE: &str = "Carbon monoxide rises when the flame goes out over glowing char: \
use the stove with ventilation, never block it to save fuel, and never sleep beside it or heat a \
room with it overnight.";
const FLAME_OUT: &str = "When the flame dies, take the stove outside and quench or seal the char \
at once; never add fuel on a glowing bed.";
const HOT_METAL: &str = "Empty a hot stove with gloves and tongs on firm ground, away from \
children and from what can melt or burn.";
const CANS: &str = "Coated or galvanised cans give off toxic fumes: do not build or repair a \
stove with them.";
const LOCAL_CODES: &str = "Follow the local fire and building codes.";

const STOVE: &[&str] = &[CARBON_MONOXIDE, FLAME_OUT, HOT_METAL, CANS, LOCAL_CODES];

const CHAR: &[&str] = &[
    CARBON_MONOXIDE,
    FLAME_OUT,
    "Quench char fully, with water until it is cold or shut off from air in a steel vessel, and \
     check it again after hours: hot char rekindles, and half-wetted char can heat itself.",
    "Store char in small amounts, cool and ventilated, away from buildings.",
    "Damp char before handling it: the dust harms the lungs and can burn.",
    "Ash and char water are caustic: protect eyes and skin, keep children away.",
    HOT_METAL,
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

#[cfg(test)]
mod tests {
    use super::*;

    /// What a page about stoves or char must say at the least; the sources are safety notices
    /// on charcoal (US CPSC; UK HPA), on its transport (UN 1361) and on zinc fume. That ash and
    /// char water are caustic is MEMORY, strong.
    #[test]
    fn every_known_danger_is_named() {
        let (stove, char) = (stove().join(" "), char().join(" "));
        for word in [
            "Carbon monoxide",
            "ventilation",
            "never sleep",
            "galvanised",
            "local",
        ] {
            assert!(stove.contains(word) && char.contains(word), "{word}");
        }
        for word in [
            "rekindles",
            "heat itself",
            "lungs",
            "caustic",
            "Store",
            "children",
        ] {
            assert!(char.contains(word), "{word}");
        }
        let statement = statement().join(" ");
        for word in [
            "not a health assessment",
            "accredited validation and verification body",
        ] {
            assert!(statement.contains(word), "{word}");
        }
    }
}
