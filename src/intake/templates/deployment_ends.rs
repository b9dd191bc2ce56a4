//! Ends of deployments that were recorded without one.

use super::shared;
use crate::intake::kinds::BatchKind;
use crate::intake::template::{Column, RowRule, Template, ValueRule};

pub(in crate::intake) const SERIAL: usize = 0;
pub(in crate::intake) const INSTALLED_ON: usize = 1;
pub(in crate::intake) const ENDED_ON: usize = 2;
pub(in crate::intake) const END_REASON: usize = 3;

pub(in crate::intake) static TEMPLATE: Template = Template {
    kind: BatchKind::DeploymentEnds,
    title: "Ends of deployments",
    columns: &[
        shared::SERIAL,
        shared::INSTALLED_ON,
        shared::day("ended_on", "First day without the stove", "2025-09-30"),
        Column {
            name: "end_reason",
            value: ValueRule::OneOf(shared::END_REASONS),
            required: true,
            unit: None,
            description: "Why the deployment ended",
            example: "dropped_out",
        },
    ],
    rules: &[RowRule {
        says: "ended_on is after installed_on",
        check: |cells| shared::end_after_start(cells, INSTALLED_ON, ENDED_ON),
    }],
};
