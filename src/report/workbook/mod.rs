//! The report as a workbook: the same figures, as numbers that can be counted on.
//!
//! Text is written as text: nothing in a cell is ever a formula. The bytes are a function of
//! the source, so the date within is that of the statement.

mod figures;
mod sheets;
mod writing;

use crate::report::source::ReportSource;
use chrono::{DateTime, Datelike, Timelike};
use rust_xlsxwriter::{DocProperties, ExcelDateTime, Workbook, XlsxError};

/// Names of the sheets, in their order.
pub const SHEETS: [&str; 10] = [
    "Summary",
    "Figures",
    "Nodes",
    "Species",
    "Factors",
    "Rounds and samples",
    "Corrections and flags",
    "Findings",
    "Trail",
    "Cautions",
];

/// Writes the workbook; the same source gives the same bytes.
///
/// # Errors
/// The workbook cannot be written, which no source should lead to.
pub fn workbook(source: &ReportSource) -> Result<Vec<u8>, XlsxError> {
    let mut workbook = Workbook::new();
    workbook.set_properties(
        &DocProperties::new()
            .set_title(format!(
                "Monitoring report of {}, period {}",
                source.statement.programme.name, source.statement.period.code
            ))
            .set_comment(source.standing())
            .set_creation_datetime(&made(source)?),
    );
    let [
        summary,
        stated,
        nodes,
        species,
        factors,
        rounds,
        corrections,
        findings,
        trail,
        cautions,
    ] = SHEETS;
    sheets::summary(workbook.add_worksheet().set_name(summary)?, source)?;
    figures::figures(workbook.add_worksheet().set_name(stated)?, source)?;
    figures::nodes(workbook.add_worksheet().set_name(nodes)?, source)?;
    figures::species(workbook.add_worksheet().set_name(species)?, source)?;
    sheets::factors(workbook.add_worksheet().set_name(factors)?, source)?;
    sheets::rounds(workbook.add_worksheet().set_name(rounds)?, source)?;
    sheets::corrections(workbook.add_worksheet().set_name(corrections)?, source)?;
    sheets::findings(workbook.add_worksheet().set_name(findings)?, source)?;
    sheets::trail(workbook.add_worksheet().set_name(trail)?, source)?;
    sheets::cautions(workbook.add_worksheet().set_name(cautions)?, source)?;
    workbook.save_to_buffer()
}

/// The time of the statement's entry, as spreadsheets count time.
fn made(source: &ReportSource) -> Result<ExcelDateTime, XlsxError> {
    let Ok(at) = DateTime::parse_from_rfc3339(&source.made_at) else {
        return ExcelDateTime::from_ymd(2000, 1, 1);
    };
    let small = |number: u32| u8::try_from(number).unwrap_or(1);
    let small16 = |number: u32| u16::try_from(number).unwrap_or(0);
    ExcelDateTime::from_ymd(
        u16::try_from(at.year()).unwrap_or(2000),
        small(at.month()),
        small(at.day()),
    )?
    .and_hms(small16(at.hour()), small(at.minute()), at.second())
}
