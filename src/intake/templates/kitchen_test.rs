//! Kitchen performance tests: one row per kitchen, day, device and fuel.

use super::shared::{self, mass};
use crate::intake::kinds::BatchKind;
use crate::intake::rejection::{Fault, code};
use crate::intake::template::{RowRule, SoundCells, Template};

pub(in crate::intake) const HOUSEHOLD_CODE: usize = 0;
pub(in crate::intake) const MEASURED_ON: usize = 1;
pub(in crate::intake) const DEVICE: usize = 2;
pub(in crate::intake) const FUEL: usize = 3;
pub(in crate::intake) const STOCK_START: usize = 4;
pub(in crate::intake) const ADDED: usize = 5;
pub(in crate::intake) const STOCK_END: usize = 6;
pub(in crate::intake) const MOISTURE: usize = 7;
/// Children, women, men, men over 59 stand here and in the next three columns.
pub(in crate::intake) const PEOPLE: usize = 8;

pub(in crate::intake) static TEMPLATE: Template = Template {
    kind: BatchKind::KitchenTest,
    title: "Kitchen performance test",
    columns: &[
        shared::HOUSEHOLD_CODE,
        shared::day("measured_on", "Day of the test", "2025-05-12"),
        shared::DEVICE,
        shared::FUEL,
        mass(
            "stock_start_wet_kg",
            "Fuel in stock at the start of the day, as weighed",
            "6.20",
        ),
        mass(
            "added_wet_kg",
            "Fuel brought in during the day, as weighed",
            "1.50",
        ),
        mass(
            "stock_end_wet_kg",
            "Fuel in stock at the end of the day, as weighed",
            "4.35",
        ),
        shared::FUEL_MOISTURE,
        shared::CHILDREN,
        shared::WOMEN,
        shared::MEN,
        shared::OLDER_MEN,
        shared::ENUMERATOR,
        shared::STARTED_AT,
        shared::ENDED_AT,
    ],
    rules: &[
        shared::VISIT_IN_ORDER,
        RowRule {
            says: "stock_end_wet_kg is at most stock_start_wet_kg + added_wet_kg",
            check: stock_did_not_grow,
        },
    ],
};

fn stock_did_not_grow(cells: &SoundCells<'_>) -> Option<(&'static str, Fault)> {
    let (start, added) = (cells.decimal(STOCK_START)?, cells.decimal(ADDED)?);
    let (end, had) = (cells.decimal(STOCK_END)?, start.checked_add(added)?);
    (end > had).then(|| {
        let detail = format!(
            "{end} kg are left of {had} kg ({start} at the start and {added} added): \
             more fuel than there was"
        );
        ("stock_end_wet_kg", Fault::new(code::STOCK_GREW, detail))
    })
}
