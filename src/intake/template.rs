//! A template: the columns of one kind of batch, what each may hold, and the rules between them.
//!
//! Independent of the file format, so that CSV, workbooks and phone forms share it.

use crate::intake::kinds::BatchKind;
use crate::intake::rejection::Fault;
use crate::intake::value::Cell;
use chrono::{NaiveDate, NaiveDateTime};
use rust_decimal::Decimal;
use serde::Serialize;

/// The columns of one kind of batch, in their canonical order.
#[derive(Debug, Serialize)]
pub struct Template {
    pub kind: BatchKind,
    pub title: &'static str,
    pub columns: &'static [Column],
    /// Rules between the cells of one row.
    pub rules: &'static [RowRule],
}

/// One column of a template.
#[derive(Debug, Serialize)]
pub struct Column {
    pub name: &'static str,
    pub value: ValueRule,
    pub required: bool,
    pub unit: Option<&'static str>,
    pub description: &'static str,
    pub example: &'static str,
}

/// Columns that templates were given after files had been accepted without them.
const LATER_COLUMNS: [&str; 5] = [
    "enumerator_code",
    "started_at",
    "ended_at",
    "safety_score",
    "durability_score",
];

impl Column {
    /// Whether a file may come without this column. An empty cell of such a column is no part
    /// of the row's canonical form, so that a row hashes as it did before the column was there.
    pub fn may_be_left_out(&self) -> bool {
        LATER_COLUMNS.contains(&self.name)
    }
}

/// What a cell may hold. Bounds are inclusive.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(tag = "type", content = "allowed", rename_all = "snake_case")]
pub enum ValueRule {
    /// A pseudonym: ASCII letters, digits and `-` `_` `.` `/`, no space.
    Code { max_len: usize },
    /// One of these words, exactly.
    OneOf(&'static [&'static str]),
    /// A day, `YYYY-MM-DD`, from 2000-01-01 to 2100-12-31.
    Date,
    /// A decimal number with a point and at most `scale_max` decimals.
    Decimal {
        #[serde(with = "rust_decimal::serde::str")]
        min: Decimal,
        #[serde(with = "rust_decimal::serde::str")]
        max: Decimal,
        scale_max: u32,
    },
    /// A whole number.
    Integer { min: i64, max: i64 },
    /// `yes` or `no`.
    YesNo,
    /// A local date and time to the minute, `YYYY-MM-DDTHH:MM`, on a day as `Date` takes.
    Minute,
}

/// A rule between the cells of one row, checked where the cells it needs are sound.
#[derive(Debug, Serialize)]
pub struct RowRule {
    /// The rule in one sentence, for people.
    pub says: &'static str,
    /// The fault of a row that breaks the rule, with the column it is shown at.
    #[serde(skip)]
    pub(in crate::intake) check: fn(&SoundCells<'_>) -> Option<(&'static str, Fault)>,
}

/// The cells of one row in template order; a cell that was refused is absent.
pub(in crate::intake) struct SoundCells<'a>(pub(in crate::intake) &'a [Option<Cell>]);

impl SoundCells<'_> {
    fn cell(&self, index: usize) -> Option<&Cell> {
        self.0.get(index).and_then(Option::as_ref)
    }

    pub(in crate::intake) fn decimal(&self, index: usize) -> Option<Decimal> {
        match self.cell(index) {
            Some(Cell::Decimal(value)) => Some(*value),
            _ => None,
        }
    }

    pub(in crate::intake) fn date(&self, index: usize) -> Option<NaiveDate> {
        match self.cell(index) {
            Some(Cell::Date(value)) => Some(*value),
            _ => None,
        }
    }

    pub(in crate::intake) fn integer(&self, index: usize) -> Option<i64> {
        match self.cell(index) {
            Some(Cell::Integer(value)) => Some(*value),
            _ => None,
        }
    }

    /// The minute in the cell that stands so many places before the end of the template.
    pub(in crate::intake) fn minute_from_end(&self, places: usize) -> Option<NaiveDateTime> {
        match self.cell(self.0.len().checked_sub(places)?) {
            Some(Cell::Minute(value)) => Some(*value),
            _ => None,
        }
    }

    /// Whether the cell holds something; absent where the cell was refused.
    pub(in crate::intake) fn is_given(&self, index: usize) -> Option<bool> {
        self.cell(index).map(|cell| *cell != Cell::Empty)
    }
}

impl Template {
    /// The header line, without a line end.
    pub fn header(&self) -> String {
        self.join(|column| column.name)
    }

    /// The header and one invented row that the template accepts, each with a line end.
    pub fn example_csv(&self) -> String {
        format!(
            "{}\n{}\n",
            self.header(),
            self.join(|column| column.example)
        )
    }

    /// Where the column of this name stands.
    pub fn column(&self, name: &str) -> Option<usize> {
        self.columns.iter().position(|column| column.name == name)
    }

    fn join(&self, part: fn(&Column) -> &'static str) -> String {
        let parts: Vec<_> = self.columns.iter().map(part).collect();
        parts.join(",")
    }
}
