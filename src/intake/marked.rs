//! A refused file given back with its faults written beside the rows, ready to be mended.
//!
//! A workbook comes back with the cells of the sheet that was read: a column "what is wrong",
//! the wrong cells filled and with a note. A CSV file comes back with that column. Cells that a
//! spreadsheet could take for formulas are made text by an apostrophe before them.

use crate::intake::lexer::{Lexer, Record};
use crate::intake::naming::WHAT_IS_WRONG;
use crate::intake::neutral::neutral;
use crate::intake::reading::FileFormat;
use crate::intake::rejection::{Rejection, Rejections};
use crate::intake::template::Template;
use crate::intake::workbook::{SheetCell, SheetRow, each_row};
use rust_xlsxwriter::{
    Color, DocProperties, ExcelDateTime, Format, Note, Workbook, Worksheet, XlsxError,
};
use std::collections::BTreeMap;
use std::io::{Read, Seek, SeekFrom};

/// Characters of a sentence in a cell or a note; a spreadsheet takes 32,767.
const TEXT_MAX: usize = 2_000;

/// A file with its faults beside the rows.
#[derive(Debug)]
pub struct Marked {
    pub format: FileFormat,
    pub bytes: Vec<u8>,
}

/// Writes the faults into a copy of the file. Nothing where the file cannot be read to its end,
/// so that no row would be lost in silence.
pub fn mark<R: Read + Seek>(
    template: &Template,
    mut file: R,
    rejections: &Rejections,
) -> Option<Marked> {
    let format = FileFormat::of(&mut file).ok()?;
    let faults = Faults::new(rejections);
    let bytes = match format {
        FileFormat::Csv => mark_csv(file, &faults)?,
        FileFormat::Workbook => mark_workbook(template, file, &faults)?,
    };
    Some(Marked { format, bytes })
}

/// The faults by line.
struct Faults<'a> {
    by_line: BTreeMap<u64, Vec<&'a Rejection>>,
    of_file: Vec<&'a Rejection>,
    /// Faults that are counted and not kept.
    more: u64,
}

impl<'a> Faults<'a> {
    fn new(rejections: &'a Rejections) -> Self {
        let mut by_line: BTreeMap<u64, Vec<&Rejection>> = BTreeMap::new();
        let mut of_file = Vec::new();
        for rejection in &rejections.list {
            match rejection.line {
                Some(line) => by_line.entry(line).or_default().push(rejection),
                None => of_file.push(rejection),
            }
        }
        let more = rejections
            .count
            .saturating_sub(rejections.list.len() as u64);
        Faults {
            by_line,
            of_file,
            more,
        }
    }

    fn at(&self, line: u64) -> &[&'a Rejection] {
        self.by_line.get(&line).map_or(&[], Vec::as_slice)
    }

    /// All that is wrong with a row, in one text.
    fn sentence(&self, line: u64) -> String {
        let parts: Vec<String> = self.at(line).iter().map(|fault| told(fault)).collect();
        shortened(&parts.join("; "))
    }

    /// What is wrong with the file as a whole.
    fn sentence_of_file(&self) -> String {
        let mut parts: Vec<String> = self.of_file.iter().map(|fault| told(fault)).collect();
        if self.more > 0 {
            parts.push(format!("{} more faults are not marked", self.more));
        }
        shortened(&parts.join("; "))
    }
}

fn told(fault: &Rejection) -> String {
    match &fault.column {
        Some(column) => format!("{column}: {}", fault.detail),
        None => fault.detail.clone(),
    }
}

fn shortened(text: &str) -> String {
    text.chars().take(TEXT_MAX).collect()
}

fn mark_csv<R: Read>(file: R, faults: &Faults<'_>) -> Option<Vec<u8>> {
    let input = crate::intake::encoding::admit(file).ok()?;
    let mut lexer = Lexer::new(input);
    let mut record = Record::default();
    let mut out = Vec::new();
    let mut has_header = false;
    while lexer.read_any(&mut record).ok()? {
        if record.is_blank() && record.len() <= 1 {
            out.push(b'\n');
            continue;
        }
        for (at, cell) in record.cells().enumerate() {
            if at > 0 {
                out.push(b',');
            }
            write_cell(&mut out, &neutral(std::str::from_utf8(cell).ok()?));
        }
        out.push(b',');
        let of_row = faults.sentence(record.line);
        let text = if has_header {
            of_row
        } else {
            heading(&of_row, &faults.sentence_of_file())
        };
        write_cell(&mut out, &neutral(&text));
        out.push(b'\n');
        has_header = true;
    }
    has_header.then_some(out)
}

/// The heading of the column, with what is wrong with the header and the file after a colon.
fn heading(of_row: &str, of_file: &str) -> String {
    let parts: Vec<&str> = [of_row, of_file]
        .into_iter()
        .filter(|part| !part.is_empty())
        .collect();
    if parts.is_empty() {
        WHAT_IS_WRONG.to_owned()
    } else {
        format!("{WHAT_IS_WRONG}: {}", parts.join("; "))
    }
}

/// RFC 4180: a cell with a comma, a quote or a line end stands in quotes, its own quotes doubled.
fn write_cell(out: &mut Vec<u8>, text: &str) {
    if text.contains(['"', ',', '\n', '\r']) {
        out.push(b'"');
        out.extend(text.replace('"', "\"\"").bytes());
        out.push(b'"');
    } else {
        out.extend(text.bytes());
    }
}

fn mark_workbook<R: Read + Seek>(
    template: &Template,
    mut file: R,
    faults: &Faults<'_>,
) -> Option<Vec<u8>> {
    // The column of the faults stands beside everything, so the widest row must be known first.
    let mut columns = 0;
    let (name, outcome) = each_row(template, &mut file, &mut |row| {
        let end = row.cells.last().map_or(0, |(at, _)| at + 1);
        columns = columns.max(end);
        true
    });
    outcome.ok()?;
    file.seek(SeekFrom::Start(0)).ok()?;
    let mut workbook = Workbook::new();
    let made = ExcelDateTime::from_ymd(2000, 1, 1).ok()?;
    workbook.set_properties(&DocProperties::new().set_creation_datetime(&made));
    let sheet = workbook.add_worksheet_with_constant_memory().ok()?;
    let name = name.map_or_else(|| "rows".to_owned(), |sheet| sheet.name);
    sheet.set_name(name).ok()?;
    sheet.set_freeze_panes(1, 0).ok()?;
    let mut writer = MarkedSheet {
        sheet,
        looks: Looks::new(),
        faults,
        mark: u16::try_from(columns).ok()?,
        names: None,
    };
    let mut written = Ok(());
    let (_, outcome) = each_row(template, &mut file, &mut |row| {
        written = writer.write(&row);
        written.is_ok()
    });
    outcome.ok()?;
    written.ok()?;
    workbook.save_to_buffer().ok()
}

/// How the cells look.
struct Looks {
    plain: [Format; 3],
    wrong: [Format; 3],
    told: Format,
}

impl Looks {
    fn new() -> Self {
        let formats = ["General", "yyyy-mm-dd", "yyyy-mm-dd hh:mm:ss"];
        let plain = formats.map(|number| Format::new().set_num_format(number));
        let filled = |format: &Format| format.clone().set_background_color(Color::RGB(0xFF_C7CE));
        Looks {
            wrong: [filled(&plain[0]), filled(&plain[1]), filled(&plain[2])],
            plain,
            told: Format::new().set_font_color(Color::RGB(0x9B_1313)),
        }
    }
}

struct MarkedSheet<'a> {
    sheet: &'a mut Worksheet,
    looks: Looks,
    faults: &'a Faults<'a>,
    /// Place of the column that tells what is wrong.
    mark: u16,
    /// Names of the header, once it has passed.
    names: Option<Vec<String>>,
}

impl MarkedSheet<'_> {
    fn write(&mut self, row: &SheetRow) -> Result<(), XlsxError> {
        let at_row = u32::try_from(row.line - 1).unwrap_or(u32::MAX);
        let is_header = self.names.is_none();
        if is_header {
            let mut names = vec![String::new(); usize::from(self.mark)];
            for (at, cell) in &row.cells {
                if let Some(name) = names.get_mut(*at) {
                    *name = cell.text().into_owned();
                }
            }
            self.names = Some(names);
        }
        let faults = self.faults.at(row.line);
        let mut wrong: BTreeMap<u16, Vec<&str>> = BTreeMap::new();
        for fault in faults {
            if let Some(at) = self.place_of(fault) {
                wrong.entry(at).or_default().push(&fault.detail);
            }
        }
        for (at, cell) in &row.cells {
            let at = u16::try_from(*at).unwrap_or(u16::MAX);
            self.write_cell(at_row, at, cell, wrong.contains_key(&at))?;
        }
        let filled = |at: u16| row.cells.iter().any(|(place, _)| *place == usize::from(at));
        for (at, details) in &wrong {
            if !filled(*at) {
                self.sheet.write_blank(at_row, *at, &self.looks.wrong[0])?;
            }
            let note = Note::new(shortened(&details.join("\n"))).set_author("Emberbook");
            self.sheet.insert_note(at_row, *at, &note)?;
        }
        let of_row = self.faults.sentence(row.line);
        if is_header {
            self.sheet.write_string_with_format(
                at_row,
                self.mark,
                WHAT_IS_WRONG,
                &self.looks.told,
            )?;
            let parts = [of_row, self.faults.sentence_of_file()];
            let parts: Vec<String> = parts.into_iter().filter(|part| !part.is_empty()).collect();
            if !parts.is_empty() {
                let note = Note::new(parts.join("\n")).set_author("Emberbook");
                self.sheet.insert_note(at_row, self.mark, &note)?;
            }
        } else if !of_row.is_empty() {
            let text = neutral(&of_row).into_owned();
            self.sheet
                .write_string_with_format(at_row, self.mark, text, &self.looks.told)?;
        }
        Ok(())
    }

    /// Place of the cell that a fault is about.
    fn place_of(&self, fault: &Rejection) -> Option<u16> {
        let column = fault.column.as_deref()?;
        let names = self.names.as_ref()?;
        // A rejection carries the start of a long name.
        let is_it = |name: &String| {
            name.chars().take(64).eq(column.chars().take(64))
                || name
                    .split_once(" [")
                    .is_some_and(|(stem, _)| stem == column)
        };
        u16::try_from(names.iter().position(is_it)?).ok()
    }

    fn write_cell(
        &mut self,
        row: u32,
        at: u16,
        cell: &SheetCell,
        is_wrong: bool,
    ) -> Result<(), XlsxError> {
        let looks = if is_wrong {
            &self.looks.wrong
        } else {
            &self.looks.plain
        };
        match cell {
            SheetCell::Number(number) if number.is_finite() => {
                self.sheet
                    .write_number_with_format(row, at, *number, &looks[0])?;
            }
            SheetCell::Flag(flag) => {
                self.sheet
                    .write_boolean_with_format(row, at, *flag, &looks[0])?;
            }
            SheetCell::Day(day) => {
                let day = ExcelDateTime::parse_from_str(&day.to_string())?;
                self.sheet
                    .write_datetime_with_format(row, at, &day, &looks[1])?;
            }
            SheetCell::Moment(_) => {
                let moment = ExcelDateTime::parse_from_str(&cell.text())?;
                self.sheet
                    .write_datetime_with_format(row, at, &moment, &looks[2])?;
            }
            other => {
                let text = neutral(&other.text()).into_owned();
                self.sheet
                    .write_string_with_format(row, at, text, &looks[0])?;
            }
        }
        Ok(())
    }
}
