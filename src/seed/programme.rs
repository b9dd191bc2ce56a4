//! `programme.json`: the frame of the programme that the rows are sent into.

use super::calendar::Calendar;
use crate::accounting::factor::FactorId;
use crate::accounting::inputs::Period;
use crate::accounting::records::RoundKind;
use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use std::io::{self, Write};

/// What `programme.json` holds.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ProgrammeFile {
    pub code: String,
    pub name: String,
    /// Says that all is invented.
    pub note: String,
    pub sites: Vec<Site>,
    pub stove_models: Vec<StoveModel>,
    pub rounds: Vec<Round>,
    pub period: Period,
    /// `code@version` of a supplied methodology.
    pub methodology: FactorId,
}

/// A stratum of the programme.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Site {
    pub code: String,
    pub name: String,
}

/// One version of a stove design.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct StoveModel {
    pub code: String,
    pub version: u32,
    pub name: String,
    pub char_making: bool,
    /// Device code of the factors, e.g. `gasifier`.
    pub device_class: String,
}

/// A survey or test campaign; its rows stand in `file`.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Round {
    pub code: String,
    pub kind: RoundKind,
    pub starts_on: NaiveDate,
    /// First day after the round.
    pub ends_on: NaiveDate,
    pub design: String,
    pub file: String,
}

/// Code and name of the sites; the names belong to no real place.
pub(super) const SITES: [(&str, &str); 3] = [
    ("NORTH", "North Shore"),
    ("LAGOON", "Lagoon Side"),
    ("HILL", "Hill Gardens"),
];

/// The one stove model, of which there are two versions.
pub(super) const MODEL: &str = "HB";

/// The frame of the programme.
fn programme(calendar: &Calendar) -> ProgrammeFile {
    let model = |version, name: &str| StoveModel {
        code: MODEL.to_owned(),
        version,
        name: name.to_owned(),
        char_making: true,
        device_class: "gasifier".to_owned(),
    };
    ProgrammeFile {
        code: "VELORA".to_owned(),
        name: "Velora Isles stove programme (invented)".to_owned(),
        note: "Everything here is invented: the island district, its sites, households, stoves \
               and measurements. No real programme, place or person stands behind it."
            .to_owned(),
        sites: SITES
            .iter()
            .map(|(code, name)| Site {
                code: (*code).to_owned(),
                name: (*name).to_owned(),
            })
            .collect(),
        stove_models: vec![
            model(1, "Husk batch gasifier, first design"),
            model(2, "Husk batch gasifier, wider air ring"),
        ],
        rounds: calendar.rounds.clone(),
        period: calendar.period.clone(),
        methodology: FactorId {
            code: "kitchen-test-households".to_owned(),
            version: 1,
        },
    }
}

pub(super) fn write(calendar: &Calendar, out: &mut dyn Write) -> io::Result<()> {
    serde_json::to_writer_pretty(&mut *out, &programme(calendar))?;
    out.write_all(b"\n")
}
