//! The tables of a bag that retell the trail: sites, stove models, rounds, periods, batches and
//! corrections. The export writes them from the entries, the verifier makes them anew and compares.

use super::layout;
use crate::accounting::inputs::Period;
use crate::accounting::records::corrections::{
    BatchWithdrawnRecord, RowExcludedRecord, RowSupersededRecord,
};
use crate::accounting::records::{
    BatchRecord, PeriodClosedRecord, RoundRecord, SiteRecord, StoveModelRecord, kind,
};
use crate::intake::neutral;
use serde::de::DeserializeOwned;
use std::io::Write;

/// One of the tables.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Table {
    Sites,
    StoveModels,
    Rounds,
    Periods,
    Batches,
    Corrections,
}

impl Table {
    pub const ALL: [Table; 6] = [
        Table::Sites,
        Table::StoveModels,
        Table::Rounds,
        Table::Periods,
        Table::Batches,
        Table::Corrections,
    ];

    /// Its path under `data/`.
    pub fn file(self) -> &'static str {
        match self {
            Table::Sites => "register/sites.csv",
            Table::StoveModels => "register/stove-models.csv",
            Table::Rounds => "rounds/rounds.csv",
            Table::Periods => "periods.csv",
            Table::Batches => "batches.csv",
            Table::Corrections => "corrections.csv",
        }
    }

    pub fn header(self) -> &'static [&'static str] {
        match self {
            Table::Sites => &["site_code", "name", "entry"],
            Table::StoveModels => &[
                "model_code",
                "model_version",
                "name",
                "device",
                "char_making",
                "entry",
            ],
            Table::Rounds => &["round", "kind", "starts_on", "ends_on", "design", "entry"],
            Table::Periods => &["period", "starts_on", "ends_on", "entry", "closed_by"],
            Table::Batches => &[
                "batch",
                "kind",
                "round",
                "rows",
                "root",
                "file_name",
                "file_sha256",
                "file",
                "entry",
            ],
            Table::Corrections => &["entry", "kind", "batch", "line", "replaced_by"],
        }
    }
}

/// The rows of all tables, in the order of the trail.
#[derive(Debug, Default)]
pub struct Tables {
    sites: Vec<[String; 3]>,
    models: Vec<[String; 6]>,
    rounds: Vec<[String; 6]>,
    periods: Vec<[String; 5]>,
    batches: Vec<[String; 9]>,
    corrections: Vec<[String; 5]>,
}

impl Tables {
    /// Takes in the content of one entry; entries of other kinds are passed over.
    ///
    /// # Errors
    /// A sentence where the content is not what its kind says.
    pub fn take(&mut self, sequence: u64, entry_kind: &str, content: &[u8]) -> Result<(), String> {
        let entry = sequence.to_string();
        match entry_kind {
            kind::SITE_ADDED => {
                let site: SiteRecord = read(content)?;
                self.sites.push([site.code, told(&site.name), entry]);
            }
            kind::STOVE_MODEL_ADDED => {
                let model: StoveModelRecord = read(content)?;
                let char_making = if model.char_making { "yes" } else { "no" };
                self.models.push([
                    model.code,
                    model.version.to_string(),
                    told(&model.name),
                    model.device,
                    char_making.to_owned(),
                    entry,
                ]);
            }
            kind::ROUND_OPENED => {
                let round: RoundRecord = read(content)?;
                self.rounds.push([
                    round.code,
                    round.kind.code().to_owned(),
                    round.starts_on.to_string(),
                    round.ends_on.to_string(),
                    told(&round.design),
                    entry,
                ]);
            }
            kind::PERIOD_OPENED => {
                let period: Period = read(content)?;
                self.periods.push([
                    period.code,
                    period.starts_on.to_string(),
                    period.ends_on.to_string(),
                    entry,
                    String::new(),
                ]);
            }
            kind::PERIOD_CLOSED => {
                let closed: PeriodClosedRecord = read(content)?;
                for [code, .., closed_by] in &mut self.periods {
                    if *code == closed.code {
                        closed_by.clone_from(&entry);
                    }
                }
            }
            kind::BATCH_ACCEPTED => self.add_batch(read(content)?, entry),
            kind::ROW_SUPERSEDED => {
                let record: RowSupersededRecord = read(content)?;
                let (line, new) = (record.line.to_string(), record.replacement.id.to_string());
                self.correct("superseded", record.batch.to_string(), line, new, &entry);
                self.add_batch(record.replacement, entry);
            }
            kind::ROW_EXCLUDED => {
                let record: RowExcludedRecord = read(content)?;
                let (batch, line) = (record.batch.to_string(), record.line.to_string());
                self.correct("excluded", batch, line, String::new(), &entry);
            }
            kind::BATCH_WITHDRAWN => {
                let record: BatchWithdrawnRecord = read(content)?;
                let (batch, none) = (record.batch.to_string(), String::new());
                self.correct("withdrawn", batch, none.clone(), none, &entry);
            }
            _ => {}
        }
        Ok(())
    }

    fn add_batch(&mut self, batch: BatchRecord, entry: String) {
        let file = match batch.file_kept {
            true => format!("data/{}", layout::uploaded_file(&batch.file_sha256)),
            false => String::new(),
        };
        self.batches.push([
            batch.id.to_string(),
            batch.kind,
            batch.round.unwrap_or_default(),
            batch.rows.to_string(),
            batch.root,
            told(&batch.file_name.unwrap_or_default()),
            batch.file_sha256,
            file,
            entry,
        ]);
    }

    fn correct(&mut self, how: &str, batch: String, line: String, new: String, entry: &str) {
        self.corrections
            .push([entry.to_owned(), how.to_owned(), batch, line, new]);
    }

    /// Writes one table as CSV, lines ended by a line feed alone.
    ///
    /// # Errors
    /// Writing fails.
    pub fn write(&self, table: Table, out: impl Write) -> csv::Result<()> {
        let mut csv = csv::WriterBuilder::new()
            .terminator(csv::Terminator::Any(b'\n'))
            .from_writer(out);
        csv.write_record(table.header())?;
        match table {
            Table::Sites => write_all(&mut csv, &self.sites)?,
            Table::StoveModels => write_all(&mut csv, &self.models)?,
            Table::Rounds => write_all(&mut csv, &self.rounds)?,
            Table::Periods => write_all(&mut csv, &self.periods)?,
            Table::Batches => write_all(&mut csv, &self.batches)?,
            Table::Corrections => write_all(&mut csv, &self.corrections)?,
        }
        csv.flush()?;
        Ok(())
    }
}

fn write_all<W: Write, const N: usize>(
    csv: &mut csv::Writer<W>,
    rows: &[[String; N]],
) -> csv::Result<()> {
    rows.iter().try_for_each(|row| csv.write_record(row))
}

/// A free text as it may stand in a sheet.
fn told(text: &str) -> String {
    neutral(text).into_owned()
}

fn read<T: DeserializeOwned>(content: &[u8]) -> Result<T, String> {
    serde_json::from_slice(content).map_err(|e| format!("its content cannot be read: {e}"))
}
