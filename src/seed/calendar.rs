//! The days of the invented programme: its horizon, its period and its rounds.

use super::SeedError;
use super::programme::Round;
use crate::accounting::inputs::Period;
use crate::accounting::records::RoundKind;
use chrono::{Days, NaiveDate};

#[derive(Debug, Clone)]
pub(super) struct Calendar {
    /// First day on which a stove may be handed out.
    pub(super) starts_on: NaiveDate,
    /// First day after the horizon.
    pub(super) ends_on: NaiveDate,
    pub(super) last_year: i32,
    pub(super) period: Period,
    /// In order of their first day.
    pub(super) rounds: Vec<Round>,
}

const BASELINE_DESIGN: &str = "Simple random sample of the households on the list before any stove was handed out; \
     every fuel weighed on at least 3 consecutive days, moisture read each day. \
     None of them is in the project round: the two groups are independent.";
const PROJECT_DESIGN: &str = "Simple random sample of the households that have had a stove for 60 days or more; every \
     fuel and device of the kitchen weighed on at least 3 consecutive days, the open fire too.";
const USAGE_DESIGN: &str = "Simple random sample of the stoves in each age band (whole years since installation on \
     the day of the visit); second stoves are not in the frame.";
const WEIGHING_DESIGN: &str = "Simple random sample of the households with a stove through the whole year; their char \
     is weighed once a month.";

const SURVEY_DESIGN: &str = "Simple random sample of the households on the list before any stove was handed out, asked \
     what they burn on a usual day; the pile was shown and weighed where that could be done.";
const COOKING_DESIGN: &str = "Five cooks, two dishes of the district, each made once on the open fire and once in the \
     gasifier: five tests of each dish on each device, the same cooks on both.";
const STOVE_DESIGN: &str = "Three burns of the open fire and of the gasifier new, one and two years old; the aged \
     stoves were drawn from those that had been in use. Invented laboratory LAB-A.";
const LAB_DESIGN: &str = "Three samples of each feedstock, each mixed from the char bins of ten households. \
     Invented laboratory LAB-B.";
const MOISTURE_DESIGN: &str = "Simple random sample of the households with a stove; each fuel at hand read with a meter \
     on one visit, the mean of five pieces.";

impl Calendar {
    pub(super) fn new(first_year: i32, years: u32) -> Result<Self, SeedError> {
        if !(2..=20).contains(&years) {
            return Err(SeedError::Scale("it takes 2 to 20 years"));
        }
        let refused = SeedError::Scale("its years must lie from 2001 to 2090");
        let last_year = i32::try_from(years)
            .ok()
            .and_then(|years| first_year.checked_add(years - 1));
        let Some(last_year) = last_year.filter(|last| first_year >= 2001 && *last <= 2090) else {
            return Err(refused);
        };
        Self::build(first_year, last_year).ok_or(refused)
    }

    fn build(first_year: i32, last_year: i32) -> Option<Self> {
        let day = NaiveDate::from_ymd_opt;
        let new_year = |year| day(year, 1, 1);
        let round = |code: String, kind, starts_on, ends_on, design: &str| Round {
            file: format!("{code}.csv"),
            code,
            kind,
            starts_on,
            ends_on,
            design: design.to_owned(),
        };
        let before = first_year - 1;
        let mut rounds = vec![
            round(
                "kitchen-baseline".to_owned(),
                RoundKind::KitchenBaseline,
                day(before, 11, 7)?,
                day(before, 12, 12)?,
                BASELINE_DESIGN,
            ),
            round(
                "kitchen-project".to_owned(),
                RoundKind::KitchenProject,
                day(last_year, 5, 5)?,
                day(last_year, 6, 30)?,
                PROJECT_DESIGN,
            ),
        ];
        for (code, kind, from, until, design) in [
            (
                "baseline-survey".to_owned(),
                RoundKind::BaselineSurvey,
                day(before, 9, 5)?,
                day(before, 10, 10)?,
                SURVEY_DESIGN,
            ),
            (
                "cooking-tests".to_owned(),
                RoundKind::CookingTest,
                day(last_year, 2, 10)?,
                day(last_year, 3, 3)?,
                COOKING_DESIGN,
            ),
            (
                "stove-tests".to_owned(),
                RoundKind::StoveTest,
                day(last_year, 3, 10)?,
                day(last_year, 4, 1)?,
                STOVE_DESIGN,
            ),
            (
                "char-lab".to_owned(),
                RoundKind::CharLab,
                day(last_year, 4, 7)?,
                day(last_year, 5, 1)?,
                LAB_DESIGN,
            ),
            (
                format!("moisture-{last_year}"),
                RoundKind::Moisture,
                day(last_year, 7, 7)?,
                day(last_year, 8, 4)?,
                MOISTURE_DESIGN,
            ),
        ] {
            rounds.push(round(code, kind, from, until, design));
        }
        for year in [last_year - 1, last_year] {
            rounds.push(round(
                format!("usage-{year}"),
                RoundKind::UsageSurvey,
                day(year, 9, 1)?,
                day(year, 10, 13)?,
                USAGE_DESIGN,
            ));
            rounds.push(round(
                format!("char-weighings-{year}"),
                RoundKind::CharWeighing,
                new_year(year)?,
                new_year(year + 1)?,
                WEIGHING_DESIGN,
            ));
        }
        rounds.sort_by_key(|round| round.starts_on);
        let (starts_on, ends_on) = (new_year(first_year)?, new_year(last_year + 1)?);
        let period = Period {
            code: last_year.to_string(),
            starts_on: new_year(last_year)?,
            ends_on,
        };
        Some(Calendar {
            starts_on,
            ends_on,
            last_year,
            period,
            rounds,
        })
    }
}

/// Days from `start` to `end`; 0 where the end is not after the start.
pub(super) fn days_between(start: NaiveDate, end: NaiveDate) -> u64 {
    u64::try_from((end - start).num_days()).unwrap_or_default()
}

/// The day `days` after `day`.
pub(super) fn days_after(day: NaiveDate, days: u64) -> NaiveDate {
    day.checked_add_days(Days::new(days)).unwrap_or(day)
}
