//! A file of any format that the field sends, as a stream of rows: the format is told by the
//! first bytes, never by a name.

use crate::intake::csv_reader::CsvReader;
use crate::intake::encoding::unreadable;
use crate::intake::naming::Naming;
use crate::intake::rejection::Rejection;
use crate::intake::row::Row;
use crate::intake::template::Template;
use crate::intake::workbook;
use std::io::{Read, Seek, SeekFrom};

/// The formats that batches come in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum FileFormat {
    Csv,
    Workbook,
}

impl FileFormat {
    /// Tells a workbook (a ZIP archive) from everything else, and stands at the start again.
    ///
    /// # Errors
    /// The file cannot be read.
    pub fn of<R: Read + Seek>(file: &mut R) -> std::io::Result<Self> {
        let mut start = Vec::new();
        file.seek(SeekFrom::Start(0))?;
        file.by_ref().take(4).read_to_end(&mut start)?;
        file.seek(SeekFrom::Start(0))?;
        Ok(match start.as_slice() {
            b"PK\x03\x04" => FileFormat::Workbook,
            _ => FileFormat::Csv,
        })
    }

    pub fn media_type(self) -> &'static str {
        match self {
            FileFormat::Csv => "text/csv; charset=utf-8",
            FileFormat::Workbook => {
                "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
            }
        }
    }

    /// Ending of a file's name, without the point.
    pub fn ending(self) -> &'static str {
        match self {
            FileFormat::Csv => "csv",
            FileFormat::Workbook => "xlsx",
        }
    }
}

/// How a file turned out to be laid out.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Layout {
    /// Sheet that was read; absent for a CSV file.
    pub sheet: Option<String>,
    /// Names of the columns as the file writes them, in the order of the template; empty where
    /// the header was refused.
    pub own_names: Vec<String>,
}

impl Layout {
    /// Lets a rejection name the column as the file does.
    pub fn name_own_column(&self, template: &Template, rejection: &mut Rejection) {
        let named = rejection.column.as_deref();
        let index = named.and_then(|name| template.column(name));
        if let Some(own) = index.and_then(|index| self.own_names.get(index))
            && !own.is_empty()
        {
            rejection.column = Some(own.clone());
        }
    }
}

/// Takes a row, or all that is wrong with one; answers whether to go on.
pub type TakeRow<'a> = dyn FnMut(Result<Row, Vec<Rejection>>) -> bool + 'a;

/// Reads a file of one template to its end, row by row, whichever its format.
///
/// Faults of the file and of its header go the way of the rows.
pub fn read_rows<R: Read + Seek>(
    template: &'static Template,
    naming: &Naming<'_>,
    mut file: R,
    take: &mut TakeRow<'_>,
) -> Layout {
    match FileFormat::of(&mut file) {
        Ok(FileFormat::Workbook) => workbook::read_rows(template, naming, file, take),
        Ok(FileFormat::Csv) => read_csv(template, naming, file, take),
        Err(error) => {
            take(Err(vec![unreadable(&error).of_file()]));
            Layout::default()
        }
    }
}

fn read_csv<R: Read>(
    template: &'static Template,
    naming: &Naming<'_>,
    file: R,
    take: &mut TakeRow<'_>,
) -> Layout {
    let mut reader = match CsvReader::open_named(template, naming, file) {
        Ok(reader) => reader,
        Err(refused) => {
            take(Err(refused.list));
            return Layout::default();
        }
    };
    while let Some(row) = reader.next_row() {
        if !take(row) {
            break;
        }
    }
    Layout {
        sheet: None,
        own_names: reader.into_own_names(),
    }
}
