//! A CSV file as a stream of rows; one record is in memory at a time.

use crate::intake::encoding::{Admitted, admit, utf8};
use crate::intake::header::{Header, ROWS_LOOKED_AT, header_below, read_header};
use crate::intake::lexer::{Lexer, Record};
use crate::intake::naming::{Naming, is_example};
use crate::intake::rejection::{Fault, Rejection, Rejections, code};
use crate::intake::row::{Row, row_from_texts, wrong_cell_count};
use crate::intake::template::Template;
use std::io::Read;

/// Rows of a CSV file of one template: UTF-8, comma, RFC 4180 quotes, LF or CRLF.
///
/// Blank lines and rows of empty cells are passed over.
pub struct CsvReader<R: Read> {
    template: &'static Template,
    lexer: Lexer<Admitted<R>>,
    header: Header,
    record: Record,
    has_rows: bool,
    ended: bool,
}

impl<R: Read> CsvReader<R> {
    /// Reads the first bytes and the header.
    ///
    /// # Errors
    /// The file is empty, is not UTF-8 or not CSV, or its header is not that of the template;
    /// every fault of the header is named.
    pub fn open(template: &'static Template, input: R) -> Result<Self, Rejections> {
        CsvReader::open_named(template, &Naming::default(), input)
    }

    /// The same for a file whose columns may go by the programme's own names.
    ///
    /// # Errors
    /// As [`CsvReader::open`].
    pub fn open_named(
        template: &'static Template,
        naming: &Naming<'_>,
        input: R,
    ) -> Result<Self, Rejections> {
        let input = admit(input).map_err(Fault::of_file)?;
        let mut lexer = Lexer::new(input);
        let mut record = Record::default();
        if !lexer.read(&mut record)? {
            let detail = format!(
                "the file is empty; its first line must be {}",
                template.header()
            );
            return Err(Fault::new(code::EMPTY_FILE, detail).of_file().into());
        }
        let line = record.line;
        let names: Result<Vec<&str>, Fault> = record.cells().map(utf8).collect();
        let names = names.map_err(|fault| fault.at_line(line))?;
        let header = match read_header(template, line, &names, naming) {
            Ok(header) => header,
            Err(refused) => {
                return Err(match look_below(template, naming, &mut lexer) {
                    Some(below) => below.into(),
                    None => refused,
                });
            }
        };
        Ok(CsvReader {
            template,
            lexer,
            header,
            record,
            has_rows: false,
            ended: false,
        })
    }

    /// The next row, or all that is wrong with it; nothing at the end of the file.
    ///
    /// After a fault of the file itself (not UTF-8, a broken quote, a row over 64 KiB, an
    /// unreadable input), and after `no_rows` for a file with a header alone, nothing follows.
    pub fn next_row(&mut self) -> Option<Result<Row, Vec<Rejection>>> {
        if self.ended {
            return None;
        }
        loop {
            let found = self.next_record()?;
            match found {
                Ok(None) => {}
                Ok(Some(row)) => return Some(Ok(row)),
                Err(rejections) => return Some(Err(rejections)),
            }
        }
    }

    /// The names of the columns as the file writes them, in the order of the template.
    pub fn into_own_names(self) -> Vec<String> {
        self.header.into_own_names()
    }

    /// A row, or nothing where the row is an example; absent at the end of the file.
    fn next_record(&mut self) -> Option<Result<Option<Row>, Vec<Rejection>>> {
        match self.lexer.read(&mut self.record) {
            Ok(true) => Some(self.read_record()),
            Ok(false) => {
                self.ended = true;
                let detail = "the file has a header and no rows";
                (!self.has_rows).then(|| Err(vec![Fault::new(code::NO_ROWS, detail).of_file()]))
            }
            Err(rejection) => {
                self.ended = true;
                Some(Err(vec![rejection]))
            }
        }
    }

    fn read_record(&mut self) -> Result<Option<Row>, Vec<Rejection>> {
        let line = self.record.line;
        let (wanted, found) = (self.header.len(), self.record.len());
        let mut texts = vec![""; self.template.columns.len()];
        for (at, bytes) in self.record.cells().enumerate() {
            let column = self.header.column(at);
            let text = match (utf8(bytes), column) {
                (Ok(text), _) => text,
                (Err(fault), column) => {
                    self.ended = true;
                    let name = column.and_then(|column| self.template.columns.get(column));
                    return Err(vec![match name {
                        Some(column) => fault.at(line, column.name),
                        None => fault.at_line(line),
                    }]);
                }
            };
            if let Some(place) = column.and_then(|column| texts.get_mut(column)) {
                *place = text;
            }
        }
        if texts.first().is_some_and(|first| is_example(first)) {
            return Ok(None);
        }
        self.has_rows = true;
        if found != wanted {
            return Err(vec![wrong_cell_count(wanted, found).at_line(line)]);
        }
        row_from_texts(self.template, line, texts.into_iter()).map(Some)
    }
}

/// The header, where it stands below a first row that is none.
fn look_below<R: Read>(
    template: &Template,
    naming: &Naming<'_>,
    lexer: &mut Lexer<R>,
) -> Option<Rejection> {
    let mut record = Record::default();
    for _ in 0..ROWS_LOOKED_AT {
        if !lexer.read(&mut record).ok()? {
            return None;
        }
        let names: Vec<&str> = record.cells().filter_map(|cell| utf8(cell).ok()).collect();
        if let Some(found) = header_below(template, record.line, &names, naming) {
            return Some(found);
        }
    }
    None
}
