//! Checked rows as the types of the accounting.
//!
//! A row that passed its template always converts. The conversions still answer
//! with an error, because a row carries no mark of its template and the offline
//! verifier is handed bags by strangers.

use crate::accounting::evidence::{
    BaselineSurveyAnswer, CharLabTest, CharWeighing, CookingTest, Deployment, DeploymentEnd,
    Household, KitchenDay, MoistureReading, People, StoveTest, UsageAnswer, UsageOutcome,
};
use crate::intake::kinds::BatchKind;
use crate::intake::row::Row;
use crate::intake::template::Template;
use crate::intake::templates::{
    baseline_survey, char_lab, char_weighing, cooking_test, deployment_ends, deployments,
    households, kitchen_test, moisture_reading, stove_test, usage_survey,
};
use crate::intake::value::Cell;
use chrono::NaiveDate;
use rust_decimal::Decimal;

/// A row that is not one of the template it is taken for.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum TypedError {
    #[error("line {line}: a row of {kind} has {wanted} cells, this one has {found}")]
    CellCount {
        line: u64,
        kind: BatchKind,
        wanted: usize,
        found: usize,
    },
    #[error("line {line}: column {column} of {kind} must hold {wanted}")]
    Cell {
        line: u64,
        kind: BatchKind,
        column: &'static str,
        wanted: &'static str,
    },
}

/// The cells of one row, read as the types their columns promise.
struct Cells<'a> {
    template: &'static Template,
    row: &'a Row,
}

impl<'a> Cells<'a> {
    fn of(kind: BatchKind, row: &'a Row) -> Result<Self, TypedError> {
        let template = kind.template();
        let (wanted, found) = (template.columns.len(), row.cells.len());
        if wanted == found {
            Ok(Cells { template, row })
        } else {
            Err(TypedError::CellCount {
                line: row.line,
                kind,
                wanted,
                found,
            })
        }
    }

    fn wrong(&self, index: usize, wanted: &'static str) -> TypedError {
        let column = self
            .template
            .columns
            .get(index)
            .map_or("", |column| column.name);
        TypedError::Cell {
            line: self.row.line,
            kind: self.template.kind,
            column,
            wanted,
        }
    }

    /// The cell read by `read`; absent where it is empty.
    fn optional<T>(
        &self,
        index: usize,
        wanted: &'static str,
        read: impl FnOnce(&Cell) -> Option<T>,
    ) -> Result<Option<T>, TypedError> {
        match self.row.cells.get(index) {
            Some(Cell::Empty) => Ok(None),
            Some(cell) => read(cell)
                .map(Some)
                .ok_or_else(|| self.wrong(index, wanted)),
            None => Err(self.wrong(index, wanted)),
        }
    }

    fn text_if_given(&self, index: usize) -> Result<Option<String>, TypedError> {
        self.optional(index, "a text", |cell| match cell {
            Cell::Text(text) => Some(text.clone()),
            _ => None,
        })
    }

    fn date_if_given(&self, index: usize) -> Result<Option<NaiveDate>, TypedError> {
        self.optional(index, "a date", |cell| match cell {
            Cell::Date(day) => Some(*day),
            _ => None,
        })
    }

    fn decimal_if_given(&self, index: usize) -> Result<Option<Decimal>, TypedError> {
        self.optional(index, "a decimal number", |cell| match cell {
            Cell::Decimal(number) => Some(*number),
            _ => None,
        })
    }

    fn count_if_given(&self, index: usize) -> Result<Option<u32>, TypedError> {
        self.optional(index, "a whole number from 0", |cell| match cell {
            Cell::Integer(number) => u32::try_from(*number).ok(),
            _ => None,
        })
    }

    fn flag_if_given(&self, index: usize) -> Result<Option<bool>, TypedError> {
        self.optional(index, "yes or no", |cell| match cell {
            Cell::Flag(flag) => Some(*flag),
            _ => None,
        })
    }

    fn text(&self, index: usize) -> Result<String, TypedError> {
        self.text_if_given(index)?
            .ok_or_else(|| self.wrong(index, "a text"))
    }

    fn date(&self, index: usize) -> Result<NaiveDate, TypedError> {
        self.date_if_given(index)?
            .ok_or_else(|| self.wrong(index, "a date"))
    }

    fn decimal(&self, index: usize) -> Result<Decimal, TypedError> {
        self.decimal_if_given(index)?
            .ok_or_else(|| self.wrong(index, "a decimal number"))
    }

    fn count(&self, index: usize) -> Result<u32, TypedError> {
        self.count_if_given(index)?
            .ok_or_else(|| self.wrong(index, "a whole number from 0"))
    }

    /// The four counts of people that start at `index`.
    fn people(&self, index: usize) -> Result<People, TypedError> {
        Ok(People {
            children_0_14: self.count(index)?,
            women_over_14: self.count(index + 1)?,
            men_15_59: self.count(index + 2)?,
            men_over_59: self.count(index + 3)?,
        })
    }
}

impl TryFrom<&Row> for Household {
    type Error = TypedError;

    fn try_from(row: &Row) -> Result<Self, TypedError> {
        let cells = Cells::of(BatchKind::Households, row)?;
        Ok(Household {
            household_code: cells.text(households::HOUSEHOLD_CODE)?,
            site_code: cells.text(households::SITE_CODE)?,
            people: cells.people(households::PEOPLE)?,
        })
    }
}

impl TryFrom<&Row> for Deployment {
    type Error = TypedError;

    fn try_from(row: &Row) -> Result<Self, TypedError> {
        let cells = Cells::of(BatchKind::Deployments, row)?;
        Ok(Deployment {
            serial: cells.text(deployments::SERIAL)?,
            model_code: cells.text(deployments::MODEL_CODE)?,
            model_version: cells.count(deployments::MODEL_VERSION)?,
            household_code: cells.text(deployments::HOUSEHOLD_CODE)?,
            installed_on: cells.date(deployments::INSTALLED_ON)?,
            ended_on: cells.date_if_given(deployments::ENDED_ON)?,
            end_reason: cells.text_if_given(deployments::END_REASON)?,
            second_stove: cells
                .flag_if_given(deployments::SECOND_STOVE)?
                .unwrap_or(false),
        })
    }
}

impl TryFrom<&Row> for DeploymentEnd {
    type Error = TypedError;

    fn try_from(row: &Row) -> Result<Self, TypedError> {
        let cells = Cells::of(BatchKind::DeploymentEnds, row)?;
        Ok(DeploymentEnd {
            serial: cells.text(deployment_ends::SERIAL)?,
            installed_on: cells.date(deployment_ends::INSTALLED_ON)?,
            ended_on: cells.date(deployment_ends::ENDED_ON)?,
            end_reason: cells.text(deployment_ends::END_REASON)?,
        })
    }
}

impl TryFrom<&Row> for UsageAnswer {
    type Error = TypedError;

    fn try_from(row: &Row) -> Result<Self, TypedError> {
        let cells = Cells::of(BatchKind::UsageSurvey, row)?;
        let outcome = match cells.text(usage_survey::OUTCOME)?.as_str() {
            "in_use" => UsageOutcome::InUse,
            "not_in_use" => UsageOutcome::NotInUse,
            "not_found" => UsageOutcome::NotFound,
            "refused" => UsageOutcome::Refused,
            _ => return Err(cells.wrong(usage_survey::OUTCOME, "an outcome of the list")),
        };
        Ok(UsageAnswer {
            household_code: cells.text(usage_survey::HOUSEHOLD_CODE)?,
            serial: cells.text(usage_survey::SERIAL)?,
            surveyed_on: cells.date(usage_survey::SURVEYED_ON)?,
            outcome,
            days_used_last_week: cells.count_if_given(usage_survey::DAYS_USED_LAST_WEEK)?,
            share_of_meals: cells.decimal_if_given(usage_survey::SHARE_OF_MEALS)?,
        })
    }
}

impl TryFrom<&Row> for KitchenDay {
    type Error = TypedError;

    fn try_from(row: &Row) -> Result<Self, TypedError> {
        let cells = Cells::of(BatchKind::KitchenTest, row)?;
        Ok(KitchenDay {
            household_code: cells.text(kitchen_test::HOUSEHOLD_CODE)?,
            measured_on: cells.date(kitchen_test::MEASURED_ON)?,
            device: cells.text(kitchen_test::DEVICE)?,
            fuel: cells.text(kitchen_test::FUEL)?,
            stock_start_wet_kg: cells.decimal(kitchen_test::STOCK_START)?,
            added_wet_kg: cells.decimal(kitchen_test::ADDED)?,
            stock_end_wet_kg: cells.decimal(kitchen_test::STOCK_END)?,
            moisture_wb: cells.decimal(kitchen_test::MOISTURE)?,
            people: cells.people(kitchen_test::PEOPLE)?,
        })
    }
}

impl TryFrom<&Row> for CharWeighing {
    type Error = TypedError;

    fn try_from(row: &Row) -> Result<Self, TypedError> {
        let cells = Cells::of(BatchKind::CharWeighing, row)?;
        Ok(CharWeighing {
            household_code: cells.text(char_weighing::HOUSEHOLD_CODE)?,
            weighed_on: cells.date(char_weighing::WEIGHED_ON)?,
            feedstock: cells.text(char_weighing::FEEDSTOCK)?,
            fuel_burnt_wet_kg: cells.decimal_if_given(char_weighing::FUEL_BURNT)?,
            fuel_moisture_wb: cells.decimal_if_given(char_weighing::FUEL_MOISTURE)?,
            char_wet_kg: cells.decimal(char_weighing::CHAR)?,
            char_moisture_wb: cells.decimal(char_weighing::CHAR_MOISTURE)?,
            fate: cells.text(char_weighing::FATE)?,
        })
    }
}

impl TryFrom<&Row> for BaselineSurveyAnswer {
    type Error = TypedError;

    fn try_from(row: &Row) -> Result<Self, TypedError> {
        let cells = Cells::of(BatchKind::BaselineSurvey, row)?;
        Ok(BaselineSurveyAnswer {
            household_code: cells.text(baseline_survey::HOUSEHOLD_CODE)?,
            surveyed_on: cells.date(baseline_survey::SURVEYED_ON)?,
            device: cells.text(baseline_survey::DEVICE)?,
            fuel: cells.text(baseline_survey::FUEL)?,
            fuel_wet_kg_per_day: cells.decimal(baseline_survey::FUEL_PER_DAY)?,
            moisture_wb: cells.decimal(baseline_survey::MOISTURE)?,
            people: cells.people(baseline_survey::PEOPLE)?,
        })
    }
}

impl TryFrom<&Row> for CookingTest {
    type Error = TypedError;

    fn try_from(row: &Row) -> Result<Self, TypedError> {
        let cells = Cells::of(BatchKind::CookingTest, row)?;
        Ok(CookingTest {
            test_code: cells.text(cooking_test::TEST_CODE)?,
            cook_code: cells.text(cooking_test::COOK_CODE)?,
            tested_on: cells.date(cooking_test::TESTED_ON)?,
            device: cells.text(cooking_test::DEVICE)?,
            dish: cells.text(cooking_test::DISH)?,
            fuel: cells.text(cooking_test::FUEL)?,
            fuel_wet_kg: cells.decimal(cooking_test::FUEL_WET)?,
            moisture_wb: cells.decimal(cooking_test::MOISTURE)?,
            char_left_kg: cells.decimal(cooking_test::CHAR_LEFT)?,
            food_kg: cells.decimal(cooking_test::FOOD)?,
            minutes: cells.decimal_if_given(cooking_test::MINUTES)?,
        })
    }
}

impl TryFrom<&Row> for StoveTest {
    type Error = TypedError;

    fn try_from(row: &Row) -> Result<Self, TypedError> {
        let cells = Cells::of(BatchKind::StoveTest, row)?;
        Ok(StoveTest {
            test_code: cells.text(stove_test::TEST_CODE)?,
            laboratory: cells.text(stove_test::LABORATORY)?,
            tested_on: cells.date(stove_test::TESTED_ON)?,
            device: cells.text(stove_test::DEVICE)?,
            stove_age_years: cells.count(stove_test::STOVE_AGE)?,
            fuel: cells.text(stove_test::FUEL)?,
            fuel_wet_kg: cells.decimal(stove_test::FUEL_WET)?,
            moisture_wb: cells.decimal(stove_test::MOISTURE)?,
            fuel_ncv_dry_mj_per_kg: cells.decimal(stove_test::FUEL_NCV)?,
            char_left_kg: cells.decimal(stove_test::CHAR_LEFT)?,
            char_ncv_mj_per_kg: cells.decimal(stove_test::CHAR_NCV)?,
            water_start_kg: cells.decimal(stove_test::WATER_START)?,
            water_end_kg: cells.decimal(stove_test::WATER_END)?,
            water_start_c: cells.decimal(stove_test::START_CELSIUS)?,
            water_end_c: cells.decimal(stove_test::END_CELSIUS)?,
            minutes: cells.decimal(stove_test::MINUTES)?,
            co_g: cells.decimal_if_given(stove_test::CO)?,
            pm25_mg: cells.decimal_if_given(stove_test::PM25)?,
            safety_score: cells.decimal_if_given(stove_test::SAFETY)?,
            durability_score: cells.decimal_if_given(stove_test::DURABILITY)?,
        })
    }
}

impl TryFrom<&Row> for CharLabTest {
    type Error = TypedError;

    fn try_from(row: &Row) -> Result<Self, TypedError> {
        let cells = Cells::of(BatchKind::CharLab, row)?;
        Ok(CharLabTest {
            sample_code: cells.text(char_lab::SAMPLE_CODE)?,
            laboratory: cells.text(char_lab::LABORATORY)?,
            sampled_on: cells.date(char_lab::SAMPLED_ON)?,
            feedstock: cells.text(char_lab::FEEDSTOCK)?,
            carbon_total: cells.decimal(char_lab::CARBON_TOTAL)?,
            carbon_inorganic: cells.decimal(char_lab::CARBON_INORGANIC)?,
            hydrogen: cells.decimal(char_lab::HYDROGEN)?,
            ash: cells.decimal_if_given(char_lab::ASH)?,
        })
    }
}

impl TryFrom<&Row> for MoistureReading {
    type Error = TypedError;

    fn try_from(row: &Row) -> Result<Self, TypedError> {
        let cells = Cells::of(BatchKind::MoistureReading, row)?;
        Ok(MoistureReading {
            household_code: cells.text(moisture_reading::HOUSEHOLD_CODE)?,
            measured_on: cells.date(moisture_reading::MEASURED_ON)?,
            fuel: cells.text(moisture_reading::FUEL)?,
            moisture_wb: cells.decimal(moisture_reading::MOISTURE)?,
        })
    }
}
