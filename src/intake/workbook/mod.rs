//! A sheet of a workbook (XLSX) as a stream of rows; one row is in memory at a time, beside the
//! workbook's table of texts.
//!
//! The sheet that is named like the kind is read, else the first one. The line of a row is the
//! spreadsheet's own row number. Of a formula the value that was stored with it is taken.

mod cell;
mod guard;
#[cfg(test)]
mod tests;

pub(in crate::intake) use cell::SheetCell;

use crate::intake::header::{Header, ROWS_LOOKED_AT, header_below, read_header};
use crate::intake::naming::{Naming, is_example};
use crate::intake::reading::{Layout, TakeRow};
use crate::intake::rejection::{Fault, Rejection, Rejections, code, shown};
use crate::intake::row::{Row, row_from_read};
use crate::intake::template::Template;
use calamine::{Reader, Xlsx};
use std::borrow::Cow;
use std::io::{BufReader, Read, Seek};
use std::panic::{AssertUnwindSafe, catch_unwind};

/// Rows and columns that a sheet may have (Excel specifications and limits; MEMORY).
const ROWS_MAX: u32 = 1_048_576;
const COLUMNS_MAX: u32 = 16_384;
/// Bytes of the texts of one row, as for a record of a CSV file.
const ROW_BYTES_MAX: usize = crate::intake::lexer::RECORD_BYTES_MAX;

/// One row that holds something.
#[derive(Debug)]
pub(in crate::intake) struct SheetRow {
    /// Row number, counted from 1.
    pub line: u64,
    /// Filled cells with their places, counted from 0, from left to right.
    pub cells: Vec<(usize, SheetCell)>,
}

/// Reads the rows of a workbook of one template to their end.
pub(in crate::intake) fn read_rows<R: Read + Seek>(
    template: &'static Template,
    naming: &Naming<'_>,
    file: R,
    take: &mut TakeRow<'_>,
) -> Layout {
    let mut table = Table {
        template,
        naming,
        header: None,
        refused: None,
        stands_below: false,
        has_rows: false,
        ended: false,
    };
    let (sheet, outcome) = each_row(template, file, &mut |row| table.take(&row, take));
    if let Some((mut refused, _)) = table.refused.take() {
        if !table.stands_below {
            refused.extend(sheet.as_ref().and_then(|sheet| sheet.others(template)));
        }
        take(Err(refused.list));
    } else if !table.ended {
        if let Err(rejection) = outcome {
            take(Err(vec![rejection]));
        } else if table.header.is_none() {
            let detail = format!(
                "the sheet is empty; its first row must be {}",
                template.header()
            );
            take(Err(vec![Fault::new(code::EMPTY_FILE, detail).of_file()]));
        } else if !table.has_rows {
            let detail = "the sheet has a header and no rows";
            take(Err(vec![Fault::new(code::NO_ROWS, detail).of_file()]));
        }
    }
    Layout {
        sheet: sheet.map(|sheet| sheet.name),
        own_names: table.header.map(Header::into_own_names).unwrap_or_default(),
    }
}

/// A sheet's header, and how its rows are read by it.
struct Table<'a> {
    template: &'static Template,
    naming: &'a Naming<'a>,
    header: Option<Header>,
    /// What was wrong with the first row, and how many rows below it were looked at.
    refused: Option<(Rejections, usize)>,
    /// Whether one of them is the header.
    stands_below: bool,
    has_rows: bool,
    /// Whether the header was refused, or nobody wants more rows.
    ended: bool,
}

impl Table<'_> {
    fn take(&mut self, row: &SheetRow, take: &mut TakeRow<'_>) -> bool {
        let Some(header) = &self.header else {
            let end = row.cells.last().map_or(0, |(at, _)| at + 1);
            let mut names = vec![Cow::Borrowed(""); end];
            for (at, cell) in &row.cells {
                if let Some(name) = names.get_mut(*at) {
                    *name = cell.text();
                }
            }
            let names: Vec<&str> = names.iter().map(Cow::as_ref).collect();
            return self.take_header(row.line, &names);
        };
        let first = |(at, cell): &&(usize, SheetCell)| {
            header.column(*at) == Some(0) && is_example(&cell.text())
        };
        let marked_only =
            |(at, _): &(usize, SheetCell)| *at < header.len() && header.column(*at).is_none();
        if row.cells.iter().find(first).is_some() || row.cells.iter().all(marked_only) {
            return true;
        }
        self.has_rows = true;
        let more = take(read_row(self.template, header, row));
        self.ended = !more;
        more
    }
}

impl Table<'_> {
    /// Takes the first row as the header; one that is refused is told once it is known whether
    /// a row below it is the header.
    fn take_header(&mut self, line: u64, names: &[&str]) -> bool {
        if let Some((refused, looked_at)) = &mut self.refused {
            if let Some(below) = header_below(self.template, line, names, self.naming) {
                *refused = below.into();
                self.stands_below = true;
                return false;
            }
            *looked_at += 1;
            return *looked_at < ROWS_LOOKED_AT;
        }
        match read_header(self.template, line, names, self.naming) {
            Ok(header) => self.header = Some(header),
            Err(refused) => self.refused = Some((refused, 0)),
        }
        true
    }
}

fn read_row(
    template: &'static Template,
    header: &Header,
    row: &SheetRow,
) -> Result<Row, Vec<Rejection>> {
    let mut texts: Vec<Result<Cow<'_, str>, Fault>> = template
        .columns
        .iter()
        .map(|_| Ok(Cow::Borrowed("")))
        .collect();
    let mut beyond = Vec::new();
    for (at, cell) in &row.cells {
        if let Some(index) = header.column(*at) {
            if let (Some(place), Some(column)) = (texts.get_mut(index), template.columns.get(index))
            {
                *place = cell.text_for(column);
            }
        } else if *at >= header.len() {
            let detail = format!(
                "the cell in column {} stands beside the table, whose header has {} columns",
                column_letters(*at),
                header.len()
            );
            beyond.push(Fault::new(code::TOO_MANY_CELLS, detail).at_line(row.line));
        }
    }
    let texts = texts.iter().map(|text| match text {
        Ok(text) => Ok(text.as_ref()),
        Err(fault) => Err(fault.clone()),
    });
    let read = row_from_read(template, row.line, texts).map_err(|mut rejections| {
        let empty = |fault: &&mut Rejection| fault.code == code::MISSING_VALUE;
        for fault in rejections.iter_mut().filter(empty) {
            fault.detail += "; of merged cells only the first holds the value, so unmerge them";
        }
        rejections
    });
    match (read, beyond.is_empty()) {
        (read, true) => read,
        (Ok(_), false) => Err(beyond),
        (Err(mut rejections), false) => {
            rejections.extend(beyond);
            Err(rejections)
        }
    }
}

/// The letters by which a spreadsheet names a column, counted from 0.
fn column_letters(at: usize) -> String {
    let mut letters = Vec::new();
    let mut rest = at + 1;
    while rest > 0 {
        rest -= 1;
        letters.push(char::from(b'A' + u8::try_from(rest % 26).unwrap_or(0)));
        rest /= 26;
    }
    letters.iter().rev().collect()
}

/// The sheet that was read.
#[derive(Debug)]
pub(in crate::intake) struct Sheet {
    pub name: String,
    /// Sheets of the workbook.
    of: usize,
}

impl Sheet {
    /// What to do where another sheet may be the one that was meant.
    fn others(&self, template: &Template) -> Option<Rejection> {
        (self.of > 1).then(|| {
            let detail = format!(
                "of the {} sheets of the workbook {} was read; if the rows are on another one, \
                 name that {} or put it first",
                self.of,
                shown(&self.name),
                shown(template.kind.code())
            );
            Fault::new(code::OTHER_SHEETS, detail).of_file()
        })
    }
}

/// Hands over every row that holds something, in order, until there is none or no more is wanted.
/// Answers with the sheet that was read, and what was wrong with the workbook itself.
pub(in crate::intake) fn each_row<R: Read + Seek>(
    template: &Template,
    mut file: R,
    take: &mut dyn FnMut(SheetRow) -> bool,
) -> (Option<Sheet>, Result<(), Rejection>) {
    if let Err(fault) = guard::check(&mut file) {
        return (None, Err(fault.of_file()));
    }
    let mut sheet = None;
    // Whatever a damaged workbook does to the library that reads it is the workbook's fault.
    let outcome = catch_unwind(AssertUnwindSafe(|| {
        read_sheet(template, file, &mut sheet, take)
    }));
    let outcome = outcome.unwrap_or_else(|_| Err(damaged("its parts contradict each other")));
    (sheet, outcome)
}

fn read_sheet<R: Read + Seek>(
    template: &Template,
    file: R,
    sheet: &mut Option<Sheet>,
    take: &mut dyn FnMut(SheetRow) -> bool,
) -> Result<(), Rejection> {
    let broken = |error: calamine::XlsxError| damaged(&error.to_string());
    let mut workbook: Xlsx<_> = Xlsx::new(BufReader::new(file)).map_err(broken)?;
    let names = workbook.sheet_names();
    let like_the_kind = |name: &&String| {
        let kind = template.kind;
        [kind.code(), kind.file_stem(), template.title]
            .iter()
            .any(|each| each.eq_ignore_ascii_case(name.trim()))
    };
    let chosen = names.iter().find(like_the_kind).or(names.first()).cloned();
    let Some(chosen) = chosen else {
        return Err(damaged("it has no sheet"));
    };
    *sheet = Some(Sheet {
        name: chosen.chars().take(64).collect(),
        of: names.len(),
    });
    let mut cells = workbook.worksheet_cells_reader(&chosen).map_err(broken)?;
    let mut row = SheetRow {
        line: 0,
        cells: Vec::new(),
    };
    let mut row_bytes = 0;
    while let Some(found) = cells.next_cell_with_formula_metadata().map_err(broken)? {
        let (at_row, at_column) = found.pos;
        let line = u64::from(at_row) + 1;
        let out_of_order = line < row.line
            || (line == row.line
                && row
                    .cells
                    .last()
                    .is_some_and(|(at, _)| *at >= at_column as usize));
        if at_row >= ROWS_MAX || at_column >= COLUMNS_MAX || out_of_order {
            let place = format!("a cell stands out of order or beyond the sheet, near row {line}");
            return Err(damaged(&place));
        }
        if line > row.line {
            let full = std::mem::replace(
                &mut row,
                SheetRow {
                    line,
                    cells: Vec::new(),
                },
            );
            row_bytes = 0;
            if !hand_over(full, take) {
                return Ok(());
            }
        }
        if let Some(cell) = SheetCell::of(found.value, found.formula.is_some()) {
            if let SheetCell::Text(text) = &cell {
                row_bytes += text.len();
            }
            if row_bytes > ROW_BYTES_MAX {
                let detail = format!("the row holds more than {ROW_BYTES_MAX} bytes of text");
                return Err(Fault::new(code::RECORD_TOO_LONG, detail).at_line(line));
            }
            row.cells.push((at_column as usize, cell));
        }
    }
    hand_over(row, take);
    Ok(())
}

/// A row without anything in it is no row.
fn hand_over(row: SheetRow, take: &mut dyn FnMut(SheetRow) -> bool) -> bool {
    row.cells.iter().all(|(_, cell)| cell.is_blank()) || take(row)
}

fn damaged(reason: &str) -> Rejection {
    let detail = format!("the workbook cannot be read ({reason}): save it again as XLSX");
    Fault::new(code::NOT_A_WORKBOOK, detail).of_file()
}
