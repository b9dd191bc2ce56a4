//! Bytes to records of cells, by RFC 4180, with the line each record starts on.
//!
//! Stricter than common CSV libraries, which read a stray quote as a letter and
//! so run two rows together: here a broken quote, a lone carriage return, a NUL
//! byte and a record over 64 KiB end the reading. Memory is one record and one
//! read buffer, however long the file.

use crate::intake::encoding::unreadable;
use crate::intake::rejection::{Fault, Rejection, code};
use std::io::{BufRead, BufReader, ErrorKind, Read};

/// Bytes of one record, quotes, commas and line end included.
pub(in crate::intake) const RECORD_BYTES_MAX: usize = 64 * 1024;

/// Bytes read from the input at a time.
pub(in crate::intake) const BUFFER_BYTES: usize = 16 * 1024;

/// The cells of one record, end to end, reused from record to record.
#[derive(Debug, Default)]
pub(in crate::intake) struct Record {
    /// Line on which the record starts.
    pub line: u64,
    bytes: Vec<u8>,
    /// Where each cell ends in `bytes`.
    ends: Vec<usize>,
}

impl Record {
    pub fn len(&self) -> usize {
        self.ends.len()
    }

    pub fn cells(&self) -> impl Iterator<Item = &[u8]> {
        let starts = std::iter::once(0).chain(self.ends.iter().copied());
        starts
            .zip(&self.ends)
            .map(|(start, end)| self.bytes.get(start..*end).unwrap_or_default())
    }

    /// A blank line, or the row of commas that a spreadsheet leaves below a table.
    pub fn is_blank(&self) -> bool {
        self.bytes.iter().all(|byte| matches!(byte, b' ' | b'\t'))
    }

    fn start(&mut self, line: u64) {
        self.line = line;
        self.bytes.clear();
        self.ends.clear();
    }

    fn end_cell(&mut self) {
        self.ends.push(self.bytes.len());
    }
}

/// Where the lexer stands within a record.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum State {
    /// Before the first byte of a cell.
    CellStart,
    Bare,
    Quoted,
    /// After a quote inside a quoted cell: its end, or the first half of a doubled quote.
    QuoteInQuoted,
    /// After the carriage return that starts a line end.
    CarriageReturn,
}

enum Step {
    More,
    RecordEnds,
}

/// The state machine; apart from the input so that both can be borrowed at once.
#[derive(Debug)]
struct Machine {
    state: State,
    /// Line of the next byte.
    line: u64,
    /// Line on which the open quote stands.
    quote_line: u64,
    record_bytes: usize,
}

pub(in crate::intake) struct Lexer<R> {
    input: BufReader<R>,
    machine: Machine,
}

impl<R: Read> Lexer<R> {
    pub fn new(input: R) -> Self {
        Lexer {
            input: BufReader::with_capacity(BUFFER_BYTES, input),
            machine: Machine {
                state: State::CellStart,
                line: 1,
                quote_line: 1,
                record_bytes: 0,
            },
        }
    }

    /// Reads the next record that is not blank; `false` at the end of the file.
    /// After an error the lexer must not be asked again.
    pub fn read(&mut self, record: &mut Record) -> Result<bool, Rejection> {
        while self.read_any(record)? {
            if !record.is_blank() {
                return Ok(true);
            }
        }
        Ok(false)
    }

    pub fn read_any(&mut self, record: &mut Record) -> Result<bool, Rejection> {
        record.start(self.machine.line);
        self.machine.start();
        loop {
            let chunk = match self.input.fill_buf() {
                Ok(chunk) => chunk,
                Err(error) if error.kind() == ErrorKind::Interrupted => continue,
                Err(error) => return Err(unreadable(&error).at_line(self.machine.line)),
            };
            if chunk.is_empty() {
                return self.machine.finish(record);
            }
            let mut used = 0;
            let mut ended = false;
            for byte in chunk {
                used += 1;
                if let Step::RecordEnds = self.machine.step(*byte, record)? {
                    ended = true;
                    break;
                }
            }
            self.input.consume(used);
            if ended {
                return Ok(true);
            }
        }
    }
}

impl Machine {
    fn start(&mut self) {
        self.state = State::CellStart;
        self.record_bytes = 0;
    }

    fn step(&mut self, byte: u8, record: &mut Record) -> Result<Step, Rejection> {
        self.record_bytes += 1;
        if self.record_bytes > RECORD_BYTES_MAX {
            return Err(self.too_long(record));
        }
        if byte == 0 {
            let detail = "the line holds a NUL byte: the file is damaged or not a text file";
            return Err(Fault::new(code::NUL_BYTE, detail).at_line(self.line));
        }
        match (self.state, byte) {
            (State::Quoted, b'"') => self.state = State::QuoteInQuoted,
            (State::Quoted, _) => {
                record.bytes.push(byte);
                self.line += u64::from(byte == b'\n');
            }
            (State::QuoteInQuoted, b'"') => {
                record.bytes.push(b'"');
                self.state = State::Quoted;
            }
            (State::CarriageReturn, b'\n') => return Ok(self.end_line(record)),
            (State::CarriageReturn, _) => {
                let detail = "the line ends with a carriage return alone: \
                              end lines with a line feed, or with both";
                return Err(Fault::new(code::LINE_END, detail).at_line(self.line));
            }
            (_, b',') => {
                record.end_cell();
                self.state = State::CellStart;
            }
            (_, b'\n') => return Ok(self.end_line(record)),
            (_, b'\r') => self.state = State::CarriageReturn,
            (State::QuoteInQuoted, _) => return Err(self.after_quote(byte)),
            (State::CellStart, b'"') => {
                self.quote_line = self.line;
                self.state = State::Quoted;
            }
            (State::Bare, b'"') => {
                let detail = "a quote stands inside a cell that does not start with one: \
                              put the whole cell in quotes and double each quote in it";
                return Err(Fault::new(code::BROKEN_QUOTE, detail).at_line(self.line));
            }
            (State::CellStart | State::Bare, _) => {
                record.bytes.push(byte);
                self.state = State::Bare;
            }
        }
        Ok(Step::More)
    }

    fn end_line(&mut self, record: &mut Record) -> Step {
        record.end_cell();
        self.line += 1;
        Step::RecordEnds
    }

    /// The end of the input: `false` where no record had started.
    fn finish(&mut self, record: &mut Record) -> Result<bool, Rejection> {
        if self.record_bytes == 0 {
            return Ok(false);
        }
        if self.state == State::Quoted {
            let detail = "the quote opened on this line is never closed";
            return Err(Fault::new(code::BROKEN_QUOTE, detail).at_line(self.quote_line));
        }
        record.end_cell();
        Ok(true)
    }

    fn after_quote(&self, byte: u8) -> Rejection {
        let fault = match byte {
            b';' => delimiter("semicolons"),
            b'\t' => delimiter("tabs"),
            _ => Fault::new(
                code::BROKEN_QUOTE,
                "text follows a closing quote: double each quote inside a quoted cell",
            ),
        };
        fault.at_line(self.line)
    }

    fn too_long(&self, record: &Record) -> Rejection {
        let hint = if self.state == State::Quoted && self.quote_line < self.line {
            format!(
                "; the quote opened on line {} may never be closed",
                self.quote_line
            )
        } else {
            String::new()
        };
        let detail = format!(
            "the row that starts on this line is longer than {RECORD_BYTES_MAX} bytes{hint}"
        );
        Fault::new(code::RECORD_TOO_LONG, detail).at_line(record.line)
    }
}

/// The fault of a file whose cells are parted by something else than commas.
pub(in crate::intake) fn delimiter(what: &str) -> Fault {
    let detail = format!(
        "the cells of this file are parted by {what}: save it with commas between the cells \
         and points in the decimals"
    );
    Fault::new(code::DELIMITER, detail)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn records(text: &str) -> Vec<(u64, Vec<String>)> {
        let mut lexer = Lexer::new(text.as_bytes());
        let mut record = Record::default();
        let mut records = Vec::new();
        while lexer.read(&mut record).unwrap() {
            let cells = record
                .cells()
                .map(|cell| String::from_utf8_lossy(cell).into_owned());
            records.push((record.line, cells.collect()));
        }
        records
    }

    /// RFC 4180, section 2, the examples of items 1, 2, 5, 6 and 7 (SEEN-2ND, in a copy of the text).
    #[test]
    fn the_examples_of_rfc_4180_are_cut_as_it_says() {
        let cells = |cells: [&str; 3]| cells.map(str::to_owned).to_vec();
        let plain = vec![
            (1, cells(["aaa", "bbb", "ccc"])),
            (2, cells(["zzz", "yyy", "xxx"])),
        ];
        assert_eq!(records("aaa,bbb,ccc\r\nzzz,yyy,xxx\r\n"), plain);
        assert_eq!(records("aaa,bbb,ccc\r\nzzz,yyy,xxx"), plain);
        assert_eq!(records("\"aaa\",\"bbb\",\"ccc\"\r\nzzz,yyy,xxx"), plain);
        assert_eq!(
            records("\"aaa\",\"b\r\nbb\",\"ccc\"\r\nzzz,yyy,xxx"),
            [
                (1, cells(["aaa", "b\r\nbb", "ccc"])),
                (3, cells(["zzz", "yyy", "xxx"]))
            ]
        );
        assert_eq!(
            records("\"aaa\",\"b\"\"bb\",\"ccc\""),
            [(1, cells(["aaa", "b\"bb", "ccc"]))]
        );
    }
}
