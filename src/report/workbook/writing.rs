//! Tables in sheets: a head that stays, numbers as numbers, text as nothing but text.

use chrono::NaiveDate;
use rust_decimal::Decimal;
use rust_decimal::prelude::ToPrimitive;
use rust_xlsxwriter::{ExcelDateTime, Format, FormatAlign, Worksheet, XlsxError};

/// What a cell holds.
pub(super) enum Cell {
    Empty,
    Text(String),
    Number(Decimal),
    Count(u64),
    Day(NaiveDate),
}

impl Cell {
    pub fn text(text: impl Into<String>) -> Self {
        Cell::Text(text.into())
    }

    pub fn number(value: Option<Decimal>) -> Self {
        value.map_or(Cell::Empty, Cell::Number)
    }
}

/// A column's head and its width in letters.
pub(super) type Head = (&'static str, f64);

/// Whether some program could take the text for a formula when it comes to work on it.
fn looks_like_formula(text: &str) -> bool {
    text.starts_with(['=', '+', '-', '@', '\t', '\r'])
}

/// Decimals that show six significant digits, as figures are rounded.
fn number_format(value: Decimal) -> &'static str {
    match value.abs() {
        size if size.is_zero() || value.fract().is_zero() => "#,##0",
        size if size >= Decimal::from(1_000) => "#,##0.0",
        size if size >= Decimal::ONE => "0.000",
        size if size >= Decimal::new(1, 3) => "0.000000",
        _ => "0.000E+00",
    }
}

/// Writes a table from `row` on and returns the row below it.
pub(super) fn table(
    sheet: &mut Worksheet,
    row: u32,
    heads: &[Head],
    rows: impl IntoIterator<Item = Vec<Cell>>,
) -> Result<u32, XlsxError> {
    let look = Format::new()
        .set_bold()
        .set_text_wrap()
        .set_align(FormatAlign::Top);
    for (column, (name, width)) in (0_u16..).zip(heads) {
        sheet.set_column_width(column, *width)?;
        sheet.write_string_with_format(row, column, *name, &look)?;
    }
    let mut at = row;
    for cells in rows {
        at += 1;
        for (column, cell) in (0_u16..).zip(cells) {
            write(sheet, (at, column), cell)?;
        }
    }
    Ok(at + 1)
}

/// The same with a head that stays in sight, for a sheet that is one table.
pub(super) fn whole(
    sheet: &mut Worksheet,
    heads: &[Head],
    rows: impl IntoIterator<Item = Vec<Cell>>,
) -> Result<(), XlsxError> {
    sheet.set_freeze_panes(1, 0)?;
    sheet.set_landscape().set_print_fit_to_pages(1, 0);
    sheet.set_paper_size(9).set_repeat_rows(0, 0)?;
    table(sheet, 0, heads, rows)?;
    Ok(())
}

pub(super) fn write(
    sheet: &mut Worksheet,
    (row, column): (u32, u16),
    cell: Cell,
) -> Result<(), XlsxError> {
    let top = || Format::new().set_align(FormatAlign::Top);
    match cell {
        Cell::Empty => {}
        Cell::Text(text) => {
            let mut look = top().set_text_wrap();
            if looks_like_formula(&text) {
                look = look.set_quote_prefix();
            }
            let text: String = text.chars().take(32_000).collect();
            sheet.write_string_with_format(row, column, text, &look)?;
        }
        Cell::Number(value) => {
            let look = top().set_num_format(number_format(value));
            let number = value.to_f64().unwrap_or(f64::NAN);
            sheet.write_number_with_format(row, column, number, &look)?;
        }
        Cell::Count(count) => {
            let look = top().set_num_format("#,##0");
            sheet.write_number_with_format(row, column, count as f64, &look)?;
        }
        Cell::Day(day) => {
            let look = top().set_num_format("yyyy-mm-dd");
            let day = ExcelDateTime::parse_from_str(&day.to_string())?;
            sheet.write_datetime_with_format(row, column, &day, &look)?;
        }
    }
    Ok(())
}
