//! The list for the field: whom to visit, in which order, in the columns of the survey's template.

mod workbook;

use super::steps_of;
use crate::accounting::rounds::drawing::DrawnUnit;
use crate::accounting::rounds::frame::FrameUnit;
use crate::accounting::rounds::plan::SampleUnit;
use crate::intake::{FileFormat, neutral};
use crate::service::rounds::round_by_code;
use crate::service::{Caller, Service, ServiceError};
use crate::store;

/// Rows of the list with their header; every cell is safe in a spreadsheet.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FieldList {
    pub header: &'static [&'static str],
    pub rows: Vec<Vec<String>>,
}

/// Of stoves and households.
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

/// Of weighings, whose samples go to the laboratory.
const SAMPLES_HEADER: [&str; 8] = [
    "sample_code",
    "household_code",
    "site_code",
    "weighed_on",
    "feedstock",
    "group",
    "standing",
    "place",
];

/// Columns that hold whole numbers; all others hold text.
const NUMBERS: [&str; 2] = ["age_band", "place"];

impl FieldList {
    fn of_unit(unit: SampleUnit) -> Self {
        let header: &'static [&'static str] = match unit {
            SampleUnit::CharWeighing => &SAMPLES_HEADER,
            _ => &HEADER,
        };
        FieldList {
            header,
            rows: Vec::new(),
        }
    }

    fn push(&mut self, drawn: &DrawnUnit, known: &FrameUnit) {
        let age = known.age_band.map(|age| age.to_string());
        let weighed_on = known.weighed_on.map(|day| day.to_string());
        let cells = self.header.iter().map(|column| match *column {
            "sample_code" => known.unit.clone(),
            "household_code" => known.household_code.clone(),
            "serial" => known.serial.clone(),
            "site_code" => known.site_code.clone(),
            "model" => known.model.clone(),
            "age_band" => age.clone().unwrap_or_default(),
            "weighed_on" => weighed_on.clone().unwrap_or_default(),
            "feedstock" => known.feedstock.clone(),
            "group" => drawn.group.clone(),
            "standing" => drawn.standing().to_owned(),
            _ => drawn.place.to_string(),
        });
        let cells = cells.map(|cell| neutral(&cell).into_owned()).collect();
        self.rows.push(cells);
    }

    /// The list as a file.
    pub fn file(&self, format: FileFormat) -> Result<Vec<u8>, ServiceError> {
        match format {
            FileFormat::Csv => Ok(self.csv().into_bytes()),
            FileFormat::Workbook => self
                .workbook()
                .map_err(|e| ServiceError::Internal(format!("list for the field: {e}"))),
        }
    }

    fn csv(&self) -> String {
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

impl Service {
    /// The sample, then the reserve in order, group after group; of the caller's own sites.
    pub async fn list_rows(&self, caller: &Caller, round: &str) -> Result<FieldList, ServiceError> {
        let mut connection = self.reading(caller).await?;
        round_by_code(&mut connection, caller, round).await?;
        let steps = steps_of(&mut connection, caller, round).await?;
        let (Some((_, planned)), Some(_)) = (steps.plan, steps.draw) else {
            return Err(ServiceError::not_found("draw of round", round));
        };
        let programme = caller.programme_id;
        let drawn = store::drawn_rounds::draw(&mut connection, programme, round).await?;
        let known = store::drawn_rounds::drawn_of_frame(&mut connection, programme, round).await?;
        let mut list = FieldList::of_unit(planned.plan.unit);
        for unit in &drawn {
            if let Some(known) = known.get(&unit.unit)
                && caller.sees(&known.site_code)
            {
                list.push(unit, known);
            }
        }
        Ok(list)
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
        let mut list = FieldList::of_unit(SampleUnit::Stove);
        let drawn = DrawnUnit {
            group: "NORTH, age 1".into(),
            place: 3,
            reserve: true,
            hash: String::new(),
            unit: "S-1".into(),
        };
        let known = FrameUnit {
            unit: "S-1".into(),
            group: drawn.group.clone(),
            household_code: "=1+1".into(),
            serial: "007".into(),
            site_code: "-2+3".into(),
            model: "@G1@1".into(),
            age_band: Some(1),
            weighed_on: None,
            feedstock: String::new(),
        };
        list.push(&drawn, &known);
        assert_eq!(
            list.csv(),
            "household_code,serial,site_code,model,age_band,group,standing,place\n\
             '=1+1,007,'-2+3,'@G1@1,1,\"NORTH, age 1\",reserve,3\n"
        );
    }
}
