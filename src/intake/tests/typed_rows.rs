//! Rows as the accounting takes them.

use crate::accounting::evidence::{
    CharWeighing, Deployment, DeploymentEnd, Household, KitchenDay, People, UsageAnswer,
    UsageOutcome,
};
use crate::intake::typed::TypedError;
use crate::intake::{BatchKind, Cell, Row, row_from_texts};
use chrono::NaiveDate;
use rust_decimal::Decimal;

fn example(kind: BatchKind) -> Row {
    let template = kind.template();
    row_from_texts(
        template,
        2,
        template.columns.iter().map(|column| column.example),
    )
    .unwrap()
}

fn day(year: i32, month: u32, day: u32) -> NaiveDate {
    NaiveDate::from_ymd_opt(year, month, day).unwrap()
}

const PEOPLE: People = People {
    children_0_14: 3,
    women_over_14: 2,
    men_15_59: 1,
    men_over_59: 0,
};

#[test]
fn register_rows_become_their_types_field_by_field() {
    assert_eq!(
        Household::try_from(&example(BatchKind::Households)),
        Ok(Household {
            household_code: "HH-0001".into(),
            site_code: "NORTH".into(),
            people: PEOPLE
        })
    );
    assert_eq!(
        Deployment::try_from(&example(BatchKind::Deployments)),
        Ok(Deployment {
            serial: "GS-000001".into(),
            model_code: "G1".into(),
            model_version: 1,
            household_code: "HH-0001".into(),
            installed_on: day(2025, 1, 15),
            ended_on: None,
            end_reason: None,
            second_stove: false,
        })
    );
    assert_eq!(
        DeploymentEnd::try_from(&example(BatchKind::DeploymentEnds)),
        Ok(DeploymentEnd {
            serial: "GS-000001".into(),
            installed_on: day(2025, 1, 15),
            ended_on: day(2025, 9, 30),
            end_reason: "dropped_out".into(),
        })
    );
}

#[test]
fn evidence_rows_become_their_types_field_by_field() {
    assert_eq!(
        UsageAnswer::try_from(&example(BatchKind::UsageSurvey)),
        Ok(UsageAnswer {
            household_code: "HH-0001".into(),
            serial: "GS-000001".into(),
            surveyed_on: day(2025, 6, 10),
            outcome: UsageOutcome::InUse,
            days_used_last_week: Some(6),
            share_of_meals: Some(Decimal::new(75, 2)),
        })
    );
    assert_eq!(
        KitchenDay::try_from(&example(BatchKind::KitchenTest)),
        Ok(KitchenDay {
            household_code: "HH-0001".into(),
            measured_on: day(2025, 5, 12),
            device: "gasifier".into(),
            fuel: "coconut_husk".into(),
            stock_start_wet_kg: Decimal::new(620, 2),
            added_wet_kg: Decimal::new(150, 2),
            stock_end_wet_kg: Decimal::new(435, 2),
            moisture_wb: Decimal::new(14, 2),
            people: PEOPLE,
        })
    );
    assert_eq!(
        CharWeighing::try_from(&example(BatchKind::CharWeighing)),
        Ok(CharWeighing {
            household_code: "HH-0001".into(),
            weighed_on: day(2025, 5, 12),
            feedstock: "coconut_husk".into(),
            fuel_burnt_wet_kg: Some(Decimal::new(540, 2)),
            fuel_moisture_wb: Some(Decimal::new(13, 2)),
            char_wet_kg: Decimal::new(105, 2),
            char_moisture_wb: Decimal::new(6, 2),
            fate: "soil".into(),
        })
    );
}

#[test]
fn empty_cells_become_absences_and_an_empty_second_stove_is_no() {
    let texts = ["S", "G1", "1", "H", "2025-01-01", "2025-02-01", "moved", ""];
    let row = row_from_texts(BatchKind::Deployments.template(), 2, texts.into_iter()).unwrap();
    let deployment = Deployment::try_from(&row).unwrap();
    assert!(!deployment.second_stove);
    assert_eq!(deployment.ended_on, Some(day(2025, 2, 1)));
    assert_eq!(deployment.end_reason.as_deref(), Some("moved"));
    let texts = ["S", "G1", "1", "H", "2025-01-01", "", "", "yes"];
    let row = row_from_texts(BatchKind::Deployments.template(), 2, texts.into_iter()).unwrap();
    assert!(Deployment::try_from(&row).unwrap().second_stove);
}

#[test]
fn a_row_of_another_template_is_refused_with_the_place() {
    let short = Household::try_from(&example(BatchKind::DeploymentEnds)).unwrap_err();
    assert_eq!(
        short.to_string(),
        "line 2: a row of households has 6 cells, this one has 4"
    );
    let mut wrong = example(BatchKind::UsageSurvey);
    wrong.cells.truncate(6);
    let wrong = Household::try_from(&wrong).unwrap_err();
    assert_eq!(
        wrong.to_string(),
        "line 2: column children_0_14 of households must hold a whole number from 0"
    );
    let mut emptied = example(BatchKind::KitchenTest);
    emptied.cells[7] = Cell::Empty;
    assert_eq!(
        KitchenDay::try_from(&emptied),
        Err(TypedError::Cell {
            line: 2,
            kind: BatchKind::KitchenTest,
            column: "moisture_wb",
            wanted: "a decimal number",
        })
    );
    let mut negative = example(BatchKind::Households);
    negative.cells[2] = Cell::Integer(-1);
    assert!(Household::try_from(&negative).is_err());
    let mut invented = example(BatchKind::UsageSurvey);
    invented.cells[3] = Cell::Text("lent".into());
    assert!(UsageAnswer::try_from(&invented).is_err());
}
