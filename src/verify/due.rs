//! A table of a bag that is due to hold certain rows, compared with them one by one as they are
//! made, so that neither side is ever held whole.

use super::report::{Fault, Level, Report};
use crate::trail::bag::Bag;
use std::fs::File;
use std::io::BufReader;

pub(super) struct DueTable {
    file: &'static str,
    csv: Option<csv::Reader<BufReader<File>>>,
    record: csv::StringRecord,
    line: u64,
    /// Rows that were due so far, the header left out.
    rows: u64,
    faults: Vec<Fault>,
}

impl DueTable {
    /// Opens the table and compares its header.
    pub fn open(bag: &Bag, file: &'static str, header: &[&str]) -> Self {
        let mut table = DueTable {
            file,
            csv: None,
            record: csv::StringRecord::new(),
            line: 0,
            rows: 0,
            faults: Vec::new(),
        };
        match bag.payload(file) {
            Ok(reader) => {
                let mut settings = csv::ReaderBuilder::new();
                settings.has_headers(false).flexible(true);
                table.csv = Some(settings.from_reader(reader));
                table.compare(header.iter().copied());
            }
            Err(error) => table
                .faults
                .push(Fault::of_payload(file, error.to_string())),
        }
        table
    }

    /// Compares the next row with the one that is due.
    pub fn row<'a>(&mut self, cells: impl IntoIterator<Item = &'a str>) {
        self.rows += 1;
        self.compare(cells);
    }

    pub fn rows(&self) -> u64 {
        self.rows
    }

    fn compare<'a>(&mut self, cells: impl IntoIterator<Item = &'a str>) {
        let problem = match self.next() {
            None => return,
            Some(true) if self.record.iter().eq(cells) => return,
            Some(true) => "this line is not what register, seed and draw give: it was changed",
            Some(false) => {
                self.csv = None;
                "lines that were recorded are missing"
            }
        };
        let fault = Fault::of_payload(self.file, problem).at_line(self.line);
        self.faults.push(fault);
    }

    /// Reads the next line, if there is one; nothing once the table has come to its end.
    fn next(&mut self) -> Option<bool> {
        let csv = self.csv.as_mut()?;
        self.line += 1;
        match csv.read_record(&mut self.record) {
            Ok(found) => Some(found),
            Err(error) => {
                let problem = format!("it cannot be read: {error}");
                let fault = Fault::of_payload(self.file, problem).at_line(self.line);
                self.faults.push(fault);
                self.csv = None;
                None
            }
        }
    }

    /// Nothing may follow; tells the report what was wrong.
    pub fn close(mut self, level: Level, report: &mut Report) {
        if self.next() == Some(true) {
            let problem = "there are lines beyond those that were recorded";
            let fault = Fault::of_payload(self.file, problem).at_line(self.line);
            self.faults.push(fault);
        }
        for fault in self.faults {
            report.fault(level, fault);
        }
    }
}
