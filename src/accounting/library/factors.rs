//! The table of published factors: one row a factor, the spread in columns.

use super::LibraryError;
use crate::accounting::factor::{Factor, Quantity, SourceMark, Spread};
use rust_decimal::Decimal;
use serde::Deserialize;
use std::str::FromStr;

/// Decimals are text here: a number read through a float would lose its digits.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct FactorRow {
    code: String,
    version: u32,
    quantity: Quantity,
    species: Option<String>,
    device: Option<String>,
    fuel: Option<String>,
    value: String,
    unit: String,
    spread_kind: SpreadKind,
    lower: Option<String>,
    upper: Option<String>,
    confidence: Option<String>,
    standard_deviation: Option<String>,
    source: String,
    mark: SourceMark,
    note: Option<String>,
    gwp_set: Option<String>,
}

#[derive(Debug, Clone, Copy, Deserialize)]
#[serde(rename_all = "snake_case")]
enum SpreadKind {
    Exact,
    Normal,
    TruncatedNormal,
    Lognormal,
    Triangular,
    Uniform,
}

pub(super) fn read(text: &str) -> Result<Vec<Factor>, LibraryError> {
    csv::Reader::from_reader(text.as_bytes())
        .deserialize::<FactorRow>()
        .map(|row| row?.into_factor())
        .collect()
}

impl FactorRow {
    fn into_factor(self) -> Result<Factor, LibraryError> {
        let value = self.decimal("value", Some(&self.value))?;
        let spread = self.spread()?;
        Ok(Factor {
            code: self.code,
            version: self.version,
            quantity: self.quantity,
            species: self.species,
            device: self.device,
            fuel: self.fuel,
            value,
            unit: self.unit,
            spread,
            source: self.source,
            mark: self.mark,
            note: self.note,
            char_treatment: None,
            gwp_set: self.gwp_set,
        })
    }

    /// Refuses a column that the kind of spread does not use, so that no bound is lost unseen.
    fn spread(&self) -> Result<Spread, LibraryError> {
        let given = [
            self.lower.is_some(),
            self.upper.is_some(),
            self.confidence.is_some(),
            self.standard_deviation.is_some(),
        ];
        let used = match self.spread_kind {
            SpreadKind::Exact => [false, false, false, false],
            SpreadKind::Normal => [false, false, false, true],
            SpreadKind::TruncatedNormal => [true, true, false, true],
            SpreadKind::Lognormal => [true, true, true, false],
            SpreadKind::Triangular | SpreadKind::Uniform => [true, true, false, false],
        };
        if given != used {
            return Err(self.refused(format!(
                "the columns of its spread do not fit the kind {:?}",
                self.spread_kind
            )));
        }
        let lower = || self.decimal("lower", self.lower.as_deref());
        let upper = || self.decimal("upper", self.upper.as_deref());
        Ok(match self.spread_kind {
            SpreadKind::Exact => Spread::Exact,
            SpreadKind::Normal => Spread::Normal {
                standard_deviation: self
                    .decimal("standard_deviation", self.standard_deviation.as_deref())?,
            },
            SpreadKind::TruncatedNormal => Spread::TruncatedNormal {
                standard_deviation: self
                    .decimal("standard_deviation", self.standard_deviation.as_deref())?,
                lower: lower()?,
                upper: upper()?,
            },
            SpreadKind::Lognormal => Spread::Lognormal {
                lower: lower()?,
                upper: upper()?,
                confidence: self.decimal("confidence", self.confidence.as_deref())?,
            },
            SpreadKind::Triangular => Spread::Triangular {
                lower: lower()?,
                upper: upper()?,
            },
            SpreadKind::Uniform => Spread::Uniform {
                lower: lower()?,
                upper: upper()?,
            },
        })
    }

    fn decimal(&self, column: &str, text: Option<&str>) -> Result<Decimal, LibraryError> {
        let text = text.unwrap_or_default();
        Decimal::from_str(text)
            .map_err(|_| self.refused(format!("{column} {text:?} is not a decimal number")))
    }

    fn refused(&self, problem: String) -> LibraryError {
        LibraryError::Factor {
            code: self.code.clone(),
            problem,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const HEADER: &str = "code,version,quantity,species,device,fuel,value,unit,spread_kind,\
                          lower,upper,confidence,standard_deviation,source,mark,note\n";

    fn read_row(row: &str) -> Result<Vec<Factor>, LibraryError> {
        read(&format!("{HEADER}{row}\n"))
    }

    #[test]
    fn a_value_keeps_its_written_digits() {
        let factors =
            read_row("a,1,leakage_multiplier,,,,0.90,multiplier,exact,,,,,somewhere,SEEN,")
                .expect("a sound row");
        assert_eq!(factors[0].value.to_string(), "0.90");
        assert_eq!(factors[0].note, None);
    }

    #[test]
    fn a_spread_with_a_column_too_many_or_too_few_is_refused() {
        for columns in [
            "exact,1,2,,",
            "normal,,,,",
            "uniform,1,,,",
            "lognormal,1,2,,",
        ] {
            let row = format!("a,1,leakage_multiplier,,,,1,multiplier,{columns},somewhere,SEEN,");
            assert!(
                matches!(read_row(&row), Err(LibraryError::Factor { .. })),
                "{columns}"
            );
        }
    }

    #[test]
    fn a_value_that_is_no_number_is_refused_by_name() {
        let refused = read_row("a,1,leakage_multiplier,,,,much,multiplier,exact,,,,,here,SEEN,");
        assert_eq!(
            refused.expect_err("not a number").to_string(),
            "factor a: value \"much\" is not a decimal number"
        );
    }
}
