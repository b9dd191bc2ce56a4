//! The list for the field as a workbook: codes stay text, the header stays in sight.

use super::{FieldList, NUMBERS};
use rust_xlsxwriter::{
    Color, DocProperties, ExcelDateTime, Format, Workbook, Worksheet, XlsxError,
};

/// Widest and narrowest column, in characters.
const WIDTHS: std::ops::RangeInclusive<usize> = 8..=40;

impl FieldList {
    /// The bytes of a workbook with one sheet; the same list gives the same bytes.
    pub(super) fn workbook(&self) -> Result<Vec<u8>, XlsxError> {
        let mut workbook = Workbook::new();
        let made = ExcelDateTime::from_ymd(2000, 1, 1)?;
        workbook.set_properties(&DocProperties::new().set_creation_datetime(&made));
        self.fill(workbook.add_worksheet())?;
        workbook.save_to_buffer()
    }

    fn fill(&self, sheet: &mut Worksheet) -> Result<(), XlsxError> {
        sheet.set_name("field list")?;
        sheet.set_freeze_panes(1, 0)?;
        // The header is printed on every page of a list that goes to the field.
        sheet.set_repeat_rows(0, 0)?;
        let head = Format::new()
            .set_bold()
            .set_background_color(Color::RGB(0xEC_E5D3));
        // As text a code keeps its leading zeros and never turns into a date.
        let text = Format::new().set_num_format("@");
        let number = Format::new().set_num_format("0");
        for (at, name) in (0_u16..).zip(self.header) {
            let column = usize::from(at);
            let cells = || self.rows.iter().filter_map(|row| row.get(column));
            let longest = cells().map(|cell| cell.chars().count()).max();
            let width = longest
                .unwrap_or(0)
                .max(name.chars().count())
                .clamp(*WIDTHS.start(), *WIDTHS.end());
            sheet.set_column_width(at, width as f64 + 2.0)?;
            sheet.write_string_with_format(0, at, *name, &head)?;
            let is_number = NUMBERS.contains(name);
            for (row, cell) in (1_u32..).zip(cells()) {
                match cell.parse::<u32>() {
                    Ok(value) if is_number => {
                        sheet.write_number_with_format(row, at, value, &number)?;
                    }
                    _ => {
                        sheet.write_string_with_format(row, at, cell, &text)?;
                    }
                }
            }
        }
        Ok(())
    }
}
