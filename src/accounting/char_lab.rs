//! What the laboratory's figures for a sample of char mean: pure formulas.
//!
//! Elements are mass fractions of the dry char, proximate figures too.

use crate::accounting::evidence::CharLabTest;
use rust_decimal::Decimal;

/// g/mol, IUPAC's abridged standard atomic weights.
const MOLAR_MASS_HYDROGEN: Decimal = Decimal::from_parts(1008, 0, 0, false, 3);
const MOLAR_MASS_CARBON: Decimal = Decimal::from_parts(12_011, 0, 0, false, 3);

/// No plant matter holds more hydrogen for each carbon; cellulose, C6H10O5, has 1.67.
const LARGEST_RATIO: Decimal = Decimal::from_parts(2, 0, 0, false, 0);
/// Organic carbon, hydrogen and ash may add up to this: each has its own error of measurement
/// (common practice, no source).
const LARGEST_SUM: Decimal = Decimal::from_parts(105, 0, 0, false, 2);

/// What figures of a laboratory cannot be.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum CharLabError {
    #[error(
        "the {what} is {value}, but a mass fraction lies between 0 and 1 (is it a percentage?)"
    )]
    NoFraction { what: &'static str, value: Decimal },
    #[error("the inorganic carbon, {inorganic}, is not less than all the carbon, {total}")]
    NoOrganicCarbon { inorganic: Decimal, total: Decimal },
    #[error(
        "the molar H/C_org comes to {ratio}; no char holds more than {LARGEST_RATIO} (are two \
         columns exchanged?)"
    )]
    TooMuchHydrogen { ratio: Decimal },
    #[error(
        "organic carbon, hydrogen and ash add up to {sum} of the dry char, which cannot be more \
         than 1"
    )]
    MoreThanWhole { sum: Decimal },
    #[error("the weight {what} is {value}, but the weight before it is {before}")]
    NoLoss {
        what: &'static str,
        value: Decimal,
        before: Decimal,
    },
    #[error("a number is too large to be computed with")]
    TooLarge,
}

/// Organic carbon of one sample, and the hydrogen that goes with it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Composition {
    /// kg organic carbon per kg dry char.
    pub organic_carbon: Decimal,
    /// mol H per mol organic C.
    pub hydrogen_to_carbon: Decimal,
}

impl Composition {
    /// Refuses figures that no char can have, in words.
    pub fn of(test: &CharLabTest) -> Result<Self, CharLabError> {
        let (total, inorganic) = (test.carbon_total, test.carbon_inorganic);
        Self::from_fractions(total, inorganic, test.hydrogen, test.ash)
    }

    /// From mass fractions of the dry char.
    pub fn from_fractions(
        carbon_total: Decimal,
        carbon_inorganic: Decimal,
        hydrogen: Decimal,
        ash: Option<Decimal>,
    ) -> Result<Self, CharLabError> {
        let parts = [
            ("total carbon", Some(carbon_total)),
            ("inorganic carbon", Some(carbon_inorganic)),
            ("hydrogen", Some(hydrogen)),
            ("ash", ash),
        ];
        for (what, value) in parts {
            let value = value.unwrap_or_default();
            if value < Decimal::ZERO || value > Decimal::ONE {
                return Err(CharLabError::NoFraction { what, value });
            }
        }
        let organic_carbon = organic_carbon(carbon_total, carbon_inorganic)?;
        let hydrogen_to_carbon = hydrogen_to_carbon(hydrogen, organic_carbon)?;
        if hydrogen_to_carbon > LARGEST_RATIO {
            return Err(CharLabError::TooMuchHydrogen {
                ratio: hydrogen_to_carbon.round_dp(2).normalize(),
            });
        }
        let sum = organic_carbon + hydrogen + ash.unwrap_or_default();
        if sum > LARGEST_SUM {
            return Err(CharLabError::MoreThanWhole {
                sum: sum.normalize(),
            });
        }
        Ok(Composition {
            organic_carbon,
            hydrogen_to_carbon,
        })
    }
}

/// `C_org = C_total - C_inorganic`, mass fractions; refused when nothing is left.
pub fn organic_carbon(total: Decimal, inorganic: Decimal) -> Result<Decimal, CharLabError> {
    total
        .checked_sub(inorganic)
        .filter(|organic| *organic > Decimal::ZERO)
        .ok_or(CharLabError::NoOrganicCarbon { inorganic, total })
}

/// Molar `H/C_org = (H / 1.008) / (C_org / 12.011)`, from mass fractions.
pub fn hydrogen_to_carbon(
    hydrogen: Decimal,
    organic_carbon: Decimal,
) -> Result<Decimal, CharLabError> {
    let ratio = || {
        let hydrogen = hydrogen.checked_mul(MOLAR_MASS_CARBON)?;
        hydrogen.checked_div(organic_carbon.checked_mul(MOLAR_MASS_HYDROGEN)?)
    };
    ratio().ok_or(CharLabError::TooLarge)
}

/// One crucible through the furnace, in one unit of weight (ASTM D1762-84).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Weights {
    pub air_dry: Decimal,
    /// After drying at 105 C.
    pub dried: Decimal,
    /// After 950 C with the lid on.
    pub devolatilised: Decimal,
    /// After burning at 750 C to constant weight.
    pub residue: Decimal,
}

/// Proximate figures as fractions; all but the moisture of the dry char.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Proximate {
    /// Of the air-dry char.
    pub moisture: Decimal,
    pub volatile_matter: Decimal,
    pub ash: Decimal,
    pub fixed_carbon: Decimal,
}

/// `M = (A - B) / A`, `VM = (B - C) / B`, `ash = D / B`, `FC = 1 - VM - ash` (ASTM D1762-84;
/// the formulas MEMORY, strong). Refuses a weight above the one before it.
pub fn proximate(weights: &Weights) -> Result<Proximate, CharLabError> {
    let Weights {
        air_dry,
        dried,
        devolatilised,
        residue,
    } = *weights;
    let steps = [
        ("dried at 105 C", dried, air_dry),
        ("after 950 C", devolatilised, dried),
        ("of the residue", residue, devolatilised),
    ];
    for (what, value, before) in steps {
        if value < Decimal::ZERO || value > before {
            return Err(CharLabError::NoLoss {
                what,
                value,
                before,
            });
        }
    }
    let share = |part: Decimal, whole: Decimal| {
        part.checked_div(whole).ok_or(CharLabError::NoLoss {
            what: "dried at 105 C",
            value: dried,
            before: air_dry,
        })
    };
    let volatile_matter = share(dried - devolatilised, dried)?;
    let ash = share(residue, dried)?;
    Ok(Proximate {
        moisture: share(air_dry - dried, air_dry)?,
        volatile_matter,
        ash,
        fixed_carbon: Decimal::ONE - volatile_matter - ash,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::str::FromStr;

    fn decimal(text: &str) -> Decimal {
        Decimal::from_str(text).unwrap()
    }

    fn test(total: &str, inorganic: &str, hydrogen: &str, ash: Option<&str>) -> CharLabTest {
        CharLabTest {
            sample_code: "s1".into(),
            laboratory: "invented".into(),
            sampled_on: "2025-06-01".parse().unwrap(),
            feedstock: "wood".into(),
            carbon_total: decimal(total),
            carbon_inorganic: decimal(inorganic),
            hydrogen: decimal(hydrogen),
            ash: ash.map(decimal),
        }
    }

    /// C 82.0 %, inorganic C 0.6 %, H 2.1 %: H/C_org 0.3074, and 0.3052 if the inorganic carbon
    /// were left in (COMPUTED from the molar masses 12.011 and 1.008).
    #[test]
    fn hydrogen_is_counted_for_each_organic_carbon() {
        let found = Composition::of(&test("0.820", "0.006", "0.021", Some("0.05"))).unwrap();
        assert_eq!(found.organic_carbon, decimal("0.814"));
        assert_eq!(found.hydrogen_to_carbon.round_dp(4), decimal("0.3074"));
        let ignored = hydrogen_to_carbon(decimal("0.021"), decimal("0.820")).unwrap();
        assert_eq!(ignored.round_dp(4), decimal("0.3052"));
    }

    /// Cellulose, C6H10O5, by its molar masses (162.14 g/mol, 72.066 g C, 10.08 g H): 10/6.
    #[test]
    fn cellulose_has_ten_hydrogens_for_six_carbons() {
        let ratio = hydrogen_to_carbon(decimal("10.08"), decimal("72.066")).unwrap();
        assert_eq!(ratio.round_dp(6), decimal("1.666667"));
    }

    /// ASTM D1762-84 with A 1.0000, B 0.9500, C 0.7410, D 0.0285 g: moisture 5.0, volatile
    /// matter 22.0, ash 3.0, fixed carbon 75.0 % (COMPUTED; formulas MEMORY, strong).
    #[test]
    fn proximate_analysis_of_one_crucible() {
        let weights = Weights {
            air_dry: decimal("1.0000"),
            dried: decimal("0.9500"),
            devolatilised: decimal("0.7410"),
            residue: decimal("0.0285"),
        };
        let found = proximate(&weights).unwrap();
        assert_eq!(found.moisture, decimal("0.05"));
        assert_eq!(found.volatile_matter, decimal("0.22"));
        assert_eq!(found.ash, decimal("0.03"));
        assert_eq!(found.fixed_carbon, decimal("0.75"));
    }

    #[test]
    fn a_crucible_cannot_gain_weight_or_be_empty() {
        let good = Weights {
            air_dry: decimal("1"),
            dried: decimal("0.9"),
            devolatilised: decimal("0.7"),
            residue: decimal("0.1"),
        };
        let gains = [
            Weights {
                dried: decimal("1.1"),
                ..good
            },
            Weights {
                devolatilised: decimal("0.95"),
                ..good
            },
            Weights {
                residue: decimal("0.8"),
                ..good
            },
            Weights {
                residue: decimal("-0.1"),
                ..good
            },
        ];
        for weights in gains {
            assert!(matches!(
                proximate(&weights),
                Err(CharLabError::NoLoss { .. })
            ));
        }
        let empty = Weights {
            air_dry: Decimal::ZERO,
            dried: Decimal::ZERO,
            devolatilised: Decimal::ZERO,
            residue: Decimal::ZERO,
        };
        assert!(proximate(&empty).is_err());
    }

    #[test]
    fn implausible_figures_are_refused_in_words() {
        let cases = [
            (test("82", "0.6", "2.1", None), "is it a percentage?"),
            (test("0.82", "0", "-0.01", None), "hydrogen is -0.01"),
            (
                test("0.006", "0.82", "0.02", None),
                "not less than all the carbon",
            ),
            (test("0", "0", "0", None), "not less than all the carbon"),
            (test("0.10", "0", "0.82", None), "no char holds more than 2"),
            (test("0.82", "0", "0.02", Some("0.40")), "add up to 1.24"),
        ];
        for (test, says) in cases {
            let error = Composition::of(&test).unwrap_err().to_string();
            assert!(error.contains(says), "{says:?} is not in {error:?}");
        }
        assert_eq!(
            hydrogen_to_carbon(Decimal::MAX, decimal("0.8")),
            Err(CharLabError::TooLarge)
        );
    }
}
