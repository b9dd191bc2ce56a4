//! The list for the field: whom to visit, in which order, in the columns of the survey's template.

use super::steps_of;
use crate::accounting::rounds::frame::FrameUnit;
use crate::service::rounds::round_by_code;
use crate::service::{Caller, Service, ServiceError};
use crate::store;
use std::collections::BTreeMap;

/// Rows of the list with their header; every cell is safe in a spreadsheet.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FieldList {
    pub header: Vec<&'static str>,
    pub rows: Vec<Vec<String>>,
}

const HEADER: [&str; 8] = [
    "household_code",
    "serial",
    "site_code",
    "model",
    "age_band",
    "group",
    "standing",
    "place",
];

impl FieldList {
    /// The list as CSV.
    pub fn csv(&self) -> String {
        let mut text = String::new();
        let header = self.header.iter().map(|cell| (*cell).to_owned()).collect();
        for row in std::iter::once(&header).chain(&self.rows) {
            let cells: Vec<String> = row.iter().map(|cell| quoted(cell)).collect();
            text.push_str(&cells.join(","));
            text.push('\n');
        }
        text
    }
}

/// A cell in quotes where it needs them (RFC 4180).
fn quoted(cell: &str) -> String {
    if cell.contains([',', '"', '\n', '\r']) {
        format!("\"{}\"", cell.replace('"', "\"\""))
    } else {
        cell.to_owned()
    }
}

/// Text that no spreadsheet takes for a formula: an apostrophe goes before it.
fn plain(cell: &str) -> String {
    if cell.starts_with(['=', '+', '-', '@', '\t', '\r']) {
        format!("'{cell}")
    } else {
        cell.to_owned()
    }
}

impl Service {
    /// The sample, then the reserve in order, group after group; of the caller's own sites.
    pub async fn list_rows(&self, caller: &Caller, round: &str) -> Result<FieldList, ServiceError> {
        let mut connection = self.reading(caller).await?;
        round_by_code(&mut connection, caller, round).await?;
        if steps_of(&mut connection, caller, round)
            .await?
            .draw
            .is_none()
        {
            return Err(ServiceError::not_found("draw of round", round));
        }
        let programme = caller.programme_id;
        let drawn = store::drawn_rounds::draw(&mut connection, programme, round).await?;
        let frame = store::drawn_rounds::frame(&mut connection, programme, round).await?;
        let by_unit: BTreeMap<&str, &FrameUnit> = frame
            .iter()
            .map(|unit| (unit.unit.as_str(), unit))
            .collect();
        let rows = drawn
            .iter()
            .filter_map(|unit| Some((unit, *by_unit.get(unit.unit.as_str())?)))
            .filter(|(_, known)| caller.sees(&known.site_code))
            .map(|(unit, known)| {
                let cells = [
                    known.household_code.as_str(),
                    &known.serial,
                    &known.site_code,
                    &known.model,
                    &known.age_band.to_string(),
                    &unit.group,
                    unit.standing(),
                    &unit.place.to_string(),
                ];
                cells.iter().map(|cell| plain(cell)).collect()
            });
        Ok(FieldList {
            header: HEADER.to_vec(),
            rows: rows.collect(),
        })
    }

    /// The ids of the frame in the order of their bytes, one a line: what the frame's hash is over.
    pub async fn frame_lines(&self, caller: &Caller, round: &str) -> Result<String, ServiceError> {
        caller.must_see_every_site()?;
        let mut connection = self.reading(caller).await?;
        round_by_code(&mut connection, caller, round).await?;
        let frame = store::drawn_rounds::frame(&mut connection, caller.programme_id, round).await?;
        if frame.is_empty() {
            return Err(ServiceError::not_found("frame of round", round));
        }
        Ok(frame
            .iter()
            .map(|unit| format!("{}\n", unit.unit))
            .collect())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_cell_is_a_formula_and_commas_stay_inside_their_cell() {
        assert_eq!(plain("=1+1"), "'=1+1");
        assert_eq!(plain("-2"), "'-2");
        assert_eq!(plain("H-1"), "H-1");
        let list = FieldList {
            header: vec!["a", "b"],
            rows: vec![vec!["NORTH, age 1".into(), "say \"x\"".into()]],
        };
        assert_eq!(list.csv(), "a,b\n\"NORTH, age 1\",\"say \"\"x\"\"\"\n");
    }
}
