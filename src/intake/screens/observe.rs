//! Checked rows as the observations of the screens.

use crate::intake::kinds::BatchKind;
use crate::intake::row::Row;
use crate::intake::template::Template;
use crate::intake::value::Cell;
use crate::statistics::screens::{self, Observation};
use chrono::{NaiveDate, NaiveDateTime};
use rust_decimal::Decimal;
use rust_decimal::prelude::ToPrimitive;
use std::collections::BTreeSet;

/// Rows of one kind, their cells found by the names of their columns.
pub(super) struct Field<'a> {
    pub kind: BatchKind,
    pub rows: &'a [Row],
    template: &'static Template,
    enumerator: Option<usize>,
    started_at: Option<usize>,
    household: Option<usize>,
}

impl<'a> Field<'a> {
    pub fn of(kind: BatchKind, rows: &'a [Row]) -> Self {
        let template = kind.template();
        Field {
            kind,
            rows,
            template,
            enumerator: template.column("enumerator_code"),
            started_at: template.column("started_at"),
            household: template.column("household_code"),
        }
    }

    pub fn column(&self, name: &str) -> Option<usize> {
        self.template.column(name)
    }

    pub fn enumerator<'r>(&self, row: &'r Row) -> Option<&'r str> {
        text(row, self.enumerator)
    }

    pub fn household<'r>(&self, row: &'r Row) -> Option<&'r str> {
        text(row, self.household)
    }

    pub fn started_at(&self, row: &Row) -> Option<NaiveDateTime> {
        minute(row, self.started_at)
    }

    /// The day that the row is of: its first column of days.
    pub fn day(&self, row: &Row) -> Option<NaiveDate> {
        row.cells.iter().find_map(|cell| match cell {
            Cell::Date(day) => Some(*day),
            _ => None,
        })
    }

    /// The row at a place, as an observation without answers.
    pub fn bare(&self, place: usize, row: &Row, unit: String) -> Observation {
        Observation {
            line: place,
            unit,
            enumerator: self.enumerator(row).map(str::to_owned),
            at: self.started_at(row).map(minutes_since_1970),
            answers: Vec::new(),
        }
    }

    /// Every row with its answers to `questions`; the unit is named by the columns `unit`.
    pub fn observations(&self, unit: &[&str], questions: &[&str]) -> Vec<Observation> {
        let unit: Vec<usize> = unit.iter().filter_map(|name| self.column(name)).collect();
        let asked = self.places(questions);
        let rows = self.rows.iter().enumerate();
        rows.map(|(place, row)| {
            let parts: Vec<String> = unit.iter().map(|column| row.text(*column)).collect();
            let mut observation = self.bare(place, row, parts.join(" "));
            observation.answers = asked
                .iter()
                .filter_map(|(name, column)| Some((*name, row.cells.get(*column)?)))
                .filter_map(|(name, cell)| Some((name.to_owned(), answer(cell)?)))
                .collect();
            observation
        })
        .collect()
    }

    /// The same without zeros: where nothing was there, nothing was read off a scale.
    pub fn observations_of_more_than_nothing(&self, questions: &[&str]) -> Vec<Observation> {
        if questions.is_empty() {
            return Vec::new();
        }
        let mut observations = self.observations(&["household_code"], questions);
        for observation in &mut observations {
            observation.answers.retain(|(_, answer)| {
                !matches!(answer, screens::Cell::Number { value, .. } if *value == 0.0)
            });
        }
        observations
    }

    /// Every row under the unit that a draw may know it by: the stove where stoves were drawn,
    /// else the household.
    pub fn observations_as_drawn(&self, drawn: &BTreeSet<&str>) -> Vec<Observation> {
        let serial = self.column("serial");
        let rows = self.rows.iter().enumerate();
        rows.map(|(place, row)| {
            let stove = text(row, serial).filter(|serial| drawn.contains(serial));
            let unit = stove.or(self.household(row)).unwrap_or_default();
            self.bare(place, row, unit.to_owned())
        })
        .collect()
    }

    fn places<'q>(&self, questions: &[&'q str]) -> Vec<(&'q str, usize)> {
        let place = |name: &&'q str| Some((*name, self.column(name)?));
        questions.iter().filter_map(place).collect()
    }
}

pub(super) fn text(row: &Row, column: Option<usize>) -> Option<&str> {
    match row.cells.get(column?) {
        Some(Cell::Text(text)) => Some(text),
        _ => None,
    }
}

pub(super) fn minute(row: &Row, column: Option<usize>) -> Option<NaiveDateTime> {
    match row.cells.get(column?) {
        Some(Cell::Minute(at)) => Some(*at),
        _ => None,
    }
}

fn minutes_since_1970(at: NaiveDateTime) -> i64 {
    at.and_utc().timestamp().div_euclid(60)
}

/// A number as a screen compares it.
pub(super) fn number(value: Decimal) -> Option<screens::Cell> {
    Some(screens::Cell::Number {
        value: value.to_f64()?,
        written: value.to_string(),
    })
}

fn answer(cell: &Cell) -> Option<screens::Cell> {
    match cell {
        Cell::Empty => None,
        Cell::Decimal(value) => number(*value),
        Cell::Integer(value) => number(Decimal::from(*value)),
        other => Some(screens::Cell::Text(other.to_string())),
    }
}
