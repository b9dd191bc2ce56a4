//! The template of a kind as a workbook: a sheet to fill, whose cells know what they may hold,
//! and a sheet that explains each column.

use crate::intake::naming::EXAMPLE;
use crate::intake::template::{Column, Template, ValueRule};
use rust_decimal::Decimal;
use rust_decimal::prelude::ToPrimitive;
use rust_xlsxwriter::{
    Color, DataValidation, DataValidationRule, DocProperties, ExcelDateTime, Format, Note,
    Workbook, Worksheet, XlsxError,
};

/// Rows, header and example included, whose cells are checked as they are filled.
const CHECKED_ROWS: u32 = 100_000;

const DAY_FORMAT: &str = "yyyy-mm-dd";

/// The template of a kind as the bytes of a workbook; the same kind gives the same bytes.
///
/// The header names each column with its unit in brackets, and the row below it is an example:
/// its first cell says so, and it is passed over when the sheet is read.
///
/// # Errors
/// The workbook cannot be written, which no template leads to.
pub fn workbook_template(template: &Template) -> Result<Vec<u8>, XlsxError> {
    let mut workbook = Workbook::new();
    let made = ExcelDateTime::from_ymd(2000, 1, 1)?;
    workbook.set_properties(&DocProperties::new().set_creation_datetime(&made));
    fill_rows(workbook.add_worksheet(), template)?;
    explain(workbook.add_worksheet(), template)?;
    workbook.save_to_buffer()
}

/// A column's name as the header of a workbook writes it.
fn heading(column: &Column) -> String {
    match column.unit {
        Some(unit) => format!("{} [{unit}]", column.name),
        None => column.name.to_owned(),
    }
}

fn fill_rows(sheet: &mut Worksheet, template: &Template) -> Result<(), XlsxError> {
    sheet.set_name(template.kind.code())?;
    sheet.set_freeze_panes(1, 0)?;
    let head = Format::new()
        .set_bold()
        .set_background_color(Color::RGB(0xEC_E5D3));
    let example = || {
        Format::new()
            .set_italic()
            .set_font_color(Color::RGB(0x77_7777))
    };
    for (at, column) in (0_u16..).zip(template.columns) {
        let name = heading(column);
        let width = name.chars().count().clamp(10, 40) + 3;
        sheet.set_column_width(at, width as f64)?;
        let number_format = match column.value {
            ValueRule::Date => DAY_FORMAT,
            // As text a code keeps its leading zeros and never turns into a date.
            ValueRule::Code { .. } => "@",
            _ => "General",
        };
        sheet.set_column_format(at, &Format::new().set_num_format(number_format))?;
        sheet.write_string_with_format(0, at, &name, &head)?;
        let note = Note::new(format!("{}\n{}", column.description, allowed(column)));
        sheet.insert_note(0, at, &note.set_author("Emberbook"))?;
        let look = example().set_num_format(number_format);
        match column.value {
            _ if at == 0 => {
                let text = format!("{EXAMPLE} {}", column.example);
                sheet.write_string_with_format(1, at, text, &look)?;
            }
            ValueRule::Date if !column.example.is_empty() => {
                let day = ExcelDateTime::parse_from_str(column.example)?;
                sheet.write_datetime_with_format(1, at, &day, &look)?;
            }
            ValueRule::Decimal { .. } | ValueRule::Integer { .. } => {
                match column.example.parse::<f64>() {
                    Ok(number) => sheet.write_number_with_format(1, at, number, &look)?,
                    Err(_) => sheet.write_string_with_format(1, at, column.example, &look)?,
                };
            }
            _ => {
                sheet.write_string_with_format(1, at, column.example, &look)?;
            }
        }
        if let Some(check) = check_of(column)? {
            sheet.add_data_validation(2, at, CHECKED_ROWS, at, &check)?;
        }
    }
    Ok(())
}

/// What a spreadsheet program lets into the cells of a column; the service checks again, and more.
fn check_of(column: &Column) -> Result<Option<DataValidation>, XlsxError> {
    let check = match column.value {
        ValueRule::Code { max_len } => {
            let most = u32::try_from(max_len).unwrap_or(u32::MAX);
            DataValidation::new().allow_text_length(DataValidationRule::Between(1, most))
        }
        ValueRule::OneOf(words) => DataValidation::new().allow_list_strings(words)?,
        ValueRule::YesNo => DataValidation::new().allow_list_strings(&["yes", "no"])?,
        ValueRule::Date => DataValidation::new().allow_date(DataValidationRule::Between(
            ExcelDateTime::from_ymd(2000, 1, 1)?,
            ExcelDateTime::from_ymd(2100, 12, 31)?,
        )),
        // Text and cells of date and time are both taken, and no check of a spreadsheet lets in both.
        ValueRule::Minute => return Ok(None),
        ValueRule::Integer { min, max } => {
            let (Ok(min), Ok(max)) = (i32::try_from(min), i32::try_from(max)) else {
                return Ok(None);
            };
            DataValidation::new().allow_whole_number(DataValidationRule::Between(min, max))
        }
        ValueRule::Decimal { min, max, .. } => {
            let number = |bound: Decimal| bound.to_f64();
            let (Some(min), Some(max)) = (number(min), number(max)) else {
                return Ok(None);
            };
            DataValidation::new().allow_decimal_number(DataValidationRule::Between(min, max))
        }
    };
    let message: String = allowed(column).chars().take(250).collect();
    Ok(Some(check.ignore_blank(true).set_error_message(message)?))
}

/// What a cell of the column may hold, in words.
fn allowed(column: &Column) -> String {
    match column.value {
        ValueRule::Code { max_len } => {
            format!("a code of at most {max_len} letters A to Z, digits and - _ . / without spaces")
        }
        ValueRule::OneOf(words) => format!("one of: {}", words.join(", ")),
        ValueRule::Date => "a day from 2000-01-01 to 2100-12-31".into(),
        ValueRule::Minute => "a day and a time of the programme to the minute, without seconds: 2025-03-01T08:30 as text, or a cell of date and time".into(),
        ValueRule::Decimal {
            min,
            max,
            scale_max,
        } => {
            format!("a number from {min} to {max} with at most {scale_max} decimals")
        }
        ValueRule::Integer { min, max } => format!("a whole number from {min} to {max}"),
        ValueRule::YesNo => "yes or no".into(),
    }
}

fn explain(sheet: &mut Worksheet, template: &Template) -> Result<(), XlsxError> {
    sheet.set_name("columns")?;
    sheet.set_freeze_panes(1, 0)?;
    let bold = Format::new().set_bold();
    let wrap = Format::new().set_text_wrap();
    let heads = [
        "column",
        "what it is",
        "unit",
        "what it may hold",
        "must be filled",
        "example",
    ];
    for ((at, head), width) in (0_u16..)
        .zip(heads)
        .zip([26.0, 50.0, 22.0, 60.0, 14.0, 20.0])
    {
        sheet.write_string_with_format(0, at, head, &bold)?;
        sheet.set_column_width(at, width)?;
    }
    let mut row = 1;
    for column in template.columns {
        let cells = [
            column.name.to_owned(),
            column.description.to_owned(),
            column.unit.unwrap_or("none").to_owned(),
            allowed(column),
            if column.required { "yes" } else { "no" }.to_owned(),
            column.example.to_owned(),
        ];
        for (at, cell) in (0_u16..).zip(&cells) {
            sheet.write_string_with_format(row, at, cell, &wrap)?;
        }
        row += 1;
    }
    row += 1;
    let said = template.rules.iter().map(|rule| rule.says.to_owned());
    let example = format!(
        "The row whose first cell begins with \"{EXAMPLE}\" is an invented example and is never \
         taken as data; it may stay."
    );
    for sentence in said.chain([example]) {
        sheet.write_string(row, 0, sentence)?;
        row += 1;
    }
    Ok(())
}
