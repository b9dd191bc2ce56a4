//! Units as words that cancel.
//!
//! `MJ/kg dry fuel` times `kg dry fuel/household-day` is `MJ/household-day`;
//! with `MJ/kg as received` nothing cancels, and the ledger refuses the node.

use std::collections::BTreeMap;
use std::fmt;

/// A product of powers of unit words. Words are compared as written: `kg dry fuel` is not `kg`.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Unit(BTreeMap<String, i32>);

impl Unit {
    /// Reads `a * b/c/d`; `1` stands for no unit.
    pub fn parse(text: &str) -> Unit {
        let mut powers = BTreeMap::new();
        for (place, part) in text.split('/').enumerate() {
            let sign = if place == 0 { 1 } else { -1 };
            for word in part
                .split(" * ")
                .map(str::trim)
                .filter(|word| !matches!(*word, "" | "1"))
            {
                *powers.entry(word.to_owned()).or_insert(0) += sign;
            }
        }
        powers.retain(|_, power| *power != 0);
        Unit(powers)
    }

    pub fn times(&self, other: &Unit) -> Unit {
        self.combined(other, 1)
    }

    pub fn per(&self, other: &Unit) -> Unit {
        self.combined(other, -1)
    }

    fn combined(&self, other: &Unit, sign: i32) -> Unit {
        let mut powers = self.0.clone();
        for (word, power) in &other.0 {
            *powers.entry(word.clone()).or_insert(0) += sign * power;
        }
        powers.retain(|_, power| *power != 0);
        Unit(powers)
    }
}

impl fmt::Display for Unit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let words = |wanted: fn(i32) -> bool| {
            self.0
                .iter()
                .filter(move |(_, power)| wanted(**power))
                .flat_map(|(word, power)| (0..power.abs()).map(move |_| word.as_str()))
                .collect::<Vec<_>>()
        };
        let above = words(|power| power > 0);
        f.write_str(&if above.is_empty() {
            "1".to_owned()
        } else {
            above.join(" * ")
        })?;
        words(|power| power < 0)
            .into_iter()
            .try_for_each(|word| write!(f, "/{word}"))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn dry_fuel_cancels_with_dry_fuel_alone() {
        let fuel = Unit::parse("kg dry fuel/household-day");
        assert_eq!(
            fuel.times(&Unit::parse("MJ/kg dry fuel")),
            Unit::parse("MJ/household-day")
        );
        assert_ne!(
            fuel.times(&Unit::parse("MJ/kg as received")),
            Unit::parse("MJ/household-day")
        );
        assert_eq!(fuel.per(&fuel).to_string(), "1");
    }

    #[test]
    fn a_unit_is_written_as_it_is_read() {
        for text in ["1", "kg", "1/kg", "kg/household-day", "MJ * kg/TJ"] {
            assert_eq!(Unit::parse(text).to_string(), text);
        }
    }
}
