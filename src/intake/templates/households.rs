//! The census: one row per household.

use super::shared;
use crate::intake::kinds::BatchKind;
use crate::intake::rejection::{Fault, code};
use crate::intake::template::{Column, RowRule, SoundCells, Template};

pub(in crate::intake) const HOUSEHOLD_CODE: usize = 0;
pub(in crate::intake) const SITE_CODE: usize = 1;
/// Children, women, men, men over 59 stand here and in the next three columns.
pub(in crate::intake) const PEOPLE: usize = 2;

pub(in crate::intake) static TEMPLATE: Template = Template {
    kind: BatchKind::Households,
    title: "Households",
    columns: &[
        shared::HOUSEHOLD_CODE,
        Column {
            name: "site_code",
            value: shared::CODE,
            required: true,
            unit: None,
            description: "Site of the household: village, cooperative or zone",
            example: "NORTH",
        },
        shared::CHILDREN,
        shared::WOMEN,
        shared::MEN,
        shared::OLDER_MEN,
    ],
    rules: &[RowRule {
        says: "a household has at least one person",
        check: someone_lives_there,
    }],
};

fn someone_lives_there(cells: &SoundCells<'_>) -> Option<(&'static str, Fault)> {
    for index in PEOPLE..PEOPLE + 4 {
        if cells.integer(index)? != 0 {
            return None;
        }
    }
    let detail = "the household has no people: at least one of the four counts must be over 0";
    Some(("children_0_14", Fault::new(code::NO_PEOPLE, detail)))
}
