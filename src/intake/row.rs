//! One row: its cells checked by their columns, then by the rules between them.

use crate::intake::rejection::{Fault, Rejection, code};
use crate::intake::template::{SoundCells, Template};
use crate::intake::value::{Cell, read_cell};
use serde_json::{Map, Value};
use std::fmt::Write;
use std::ops::Range;

/// A row that its template accepts.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Row {
    /// Line of the file on which the row starts; the first line is 1.
    pub line: u64,
    /// In the order of the template, whatever the order of the file.
    pub cells: Vec<Cell>,
}

impl Row {
    /// The canonical text of a cell; empty where the cell is empty or the row has no such cell.
    ///
    /// Dates are ISO 8601, flags `yes` or `no`, decimals as they were entered but for a plus
    /// sign and leading zeros: `+01.50` becomes `1.50`.
    pub fn text(&self, index: usize) -> String {
        self.cells
            .get(index)
            .map(Cell::to_string)
            .unwrap_or_default()
    }

    /// The row as an object from column name to canonical text, `null` where a cell is empty.
    /// This is what is canonicalised and hashed. Empty cells of columns that a file may leave
    /// out are not in it.
    pub fn to_json(&self, template: &Template) -> Value {
        let members = template
            .columns
            .iter()
            .zip(&self.cells)
            .filter(|(column, cell)| **cell != Cell::Empty || !column.may_be_left_out())
            .map(|(column, cell)| {
                let value = match cell {
                    Cell::Empty => Value::Null,
                    cell => Value::String(cell.to_string()),
                };
                (column.name.to_owned(), value)
            });
        Value::Object(members.collect::<Map<_, _>>())
    }
}

/// The canonical texts of one row's cells, end to end; to be filled again row by row.
#[derive(Debug, Default)]
pub struct CellTexts {
    text: String,
    /// Where the text of each cell stands; absent where the cell is empty.
    places: Vec<Option<Range<usize>>>,
}

impl CellTexts {
    /// Takes the texts of this row in place of those of the last one.
    pub fn fill(&mut self, row: &Row) {
        self.text.clear();
        self.places.clear();
        for cell in &row.cells {
            let start = self.text.len();
            // Writing to a text cannot fail.
            let _ = write!(self.text, "{cell}");
            let is_given = *cell != Cell::Empty;
            self.places.push(is_given.then_some(start..self.text.len()));
        }
    }

    /// The text at this place of the template; absent where the cell is empty.
    pub fn get(&self, index: usize) -> Option<&str> {
        let place = self.places.get(index)?.clone()?;
        self.text.get(place)
    }

    /// The texts in the order of the template.
    pub fn iter(&self) -> impl Iterator<Item = Option<&str>> {
        (0..self.places.len()).map(|index| self.get(index))
    }
}

/// Checks cell texts, given in the order of the template, by the template's rules.
///
/// # Errors
/// Every cell that is wrong, in the order of the template, and every broken row rule whose
/// cells are sound; or a wrong number of cells alone.
pub fn row_from_texts<'a>(
    template: &Template,
    line: u64,
    texts: impl Iterator<Item = &'a str>,
) -> Result<Row, Vec<Rejection>> {
    row_from_read(template, line, texts.map(Ok))
}

/// The same for cells that may have been refused before their text was known.
pub(in crate::intake) fn row_from_read<'a>(
    template: &Template,
    line: u64,
    texts: impl Iterator<Item = Result<&'a str, Fault>>,
) -> Result<Row, Vec<Rejection>> {
    let wanted = template.columns.len();
    let mut texts = texts;
    let mut cells = Vec::with_capacity(wanted);
    let mut rejections = Vec::new();
    for (found, column) in template.columns.iter().enumerate() {
        let Some(text) = texts.next() else {
            if column.may_be_left_out() {
                cells.push(Some(Cell::Empty));
                continue;
            }
            return Err(vec![wrong_cell_count(wanted, found).at_line(line)]);
        };
        match text.and_then(|text| read_cell(column, text)) {
            Ok(cell) => cells.push(Some(cell)),
            Err(fault) => {
                rejections.push(fault.at(line, column.name));
                cells.push(None);
            }
        }
    }
    let surplus = texts.count();
    if surplus > 0 {
        return Err(vec![
            wrong_cell_count(wanted, wanted.saturating_add(surplus)).at_line(line),
        ]);
    }
    for rule in template.rules {
        if let Some((column, fault)) = (rule.check)(&SoundCells(&cells)) {
            rejections.push(fault.at(line, column));
        }
    }
    if rejections.is_empty() {
        Ok(Row {
            line,
            cells: cells.into_iter().flatten().collect(),
        })
    } else {
        Err(rejections)
    }
}

/// The fault of a row that has not one cell for each column.
pub(in crate::intake) fn wrong_cell_count(wanted: usize, found: usize) -> Fault {
    if found < wanted {
        let detail = format!(
            "the row has {found} cells, the header has {wanted} columns; \
             an empty cell still needs its comma"
        );
        Fault::new(code::TOO_FEW_CELLS, detail)
    } else {
        let detail = format!(
            "the row has {found} cells, the header has {wanted} columns; \
             a decimal comma splits a cell in two, and a text with a comma needs quotes"
        );
        Fault::new(code::TOO_MANY_CELLS, detail)
    }
}
