//! Phone forms: held against forms of an independent converter, and against bad input.

mod converter;
mod forms;
mod properties;
mod submissions;

use super::{FormId, write_form};

/// The form of this name.
pub(super) fn form(name: &str) -> String {
    let id: FormId = name.parse().expect("a form");
    write_form(id).xml
}

/// A usage survey with these parts inside of its first element.
pub(super) fn usage(parts: &str) -> String {
    format!("<data id=\"usage_survey--2025\" version=\"1\">{parts}</data>")
}

pub(super) const META: &str = "<meta><instanceID>uuid:11111111-2222-4333-8444-555555555555\
                               </instanceID></meta>";

pub(super) const ANSWERS: &str = "<household_code>HH-1</household_code><serial>S-1</serial>\
    <surveyed_on>2025-09-10</surveyed_on><outcome>in_use</outcome>\
    <days_used_last_week>7</days_used_last_week><share_of_meals>0.5</share_of_meals>";
