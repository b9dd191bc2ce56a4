//! Controlled cooking tests: one row per test, that is one cook, one dish, one device.

use super::shared;
use crate::intake::kinds::BatchKind;
use crate::intake::template::{Column, RowRule, Template};

pub(in crate::intake) const TEST_CODE: usize = 0;
pub(in crate::intake) const COOK_CODE: usize = 1;
pub(in crate::intake) const TESTED_ON: usize = 2;
pub(in crate::intake) const DEVICE: usize = 3;
pub(in crate::intake) const DISH: usize = 4;
pub(in crate::intake) const FUEL: usize = 5;
pub(in crate::intake) const FUEL_WET: usize = 6;
pub(in crate::intake) const MOISTURE: usize = 7;
pub(in crate::intake) const CHAR_LEFT: usize = 8;
pub(in crate::intake) const FOOD: usize = 9;
pub(in crate::intake) const MINUTES: usize = 10;

pub(in crate::intake) static TEMPLATE: Template = Template {
    kind: BatchKind::CookingTest,
    title: "Controlled cooking test",
    columns: &[
        shared::own_code(
            "test_code",
            "The programme's own code of the test",
            "CT-001",
        ),
        shared::own_code(
            "cook_code",
            "The programme's own pseudonym of the cook, never a person's name",
            "COOK-1",
        ),
        shared::day("tested_on", "Day of the test", "2025-02-11"),
        shared::DEVICE,
        shared::own_code("dish", "Code of the dish that was cooked", "bean_stew"),
        shared::FUEL,
        shared::TEST_FUEL,
        shared::FUEL_MOISTURE,
        shared::CHAR_LEFT,
        Column {
            name: "food_kg",
            value: shared::TEST_MASS,
            required: true,
            unit: Some("kg as cooked"),
            description: "Food at the end of the test, as cooked, without its pot",
            example: "3.05",
        },
        Column {
            name: "minutes",
            value: shared::DURATION,
            required: false,
            unit: Some(shared::MINUTES),
            description: "Time from lighting to the dish being done",
            example: "72",
        },
        shared::ENUMERATOR,
        shared::STARTED_AT,
        shared::ENDED_AT,
    ],
    rules: &[
        shared::VISIT_IN_ORDER,
        RowRule {
            says: "char_left_dry_kg is at most the dry fuel, fuel_wet_kg * (1 - moisture_wb)",
            check: |cells| shared::char_within_fuel(cells, FUEL_WET, MOISTURE, CHAR_LEFT),
        },
    ],
};
