//! The parts of a form that each question has: its bind in the model, its control in the body.

use super::question::{choices, constraint, data_type, in_words, question_label};
use super::xml_text;
use crate::intake::template::Column;
use std::fmt::Write;

/// Type, duty and bounds of the answer.
pub(super) fn write_bind(column: &Column, text: &mut String) {
    // Writing to a text cannot fail.
    let _ = write!(
        text,
        "      <bind nodeset=\"/data/{}\" type=\"{}\"",
        column.name,
        data_type(&column.value)
    );
    if column.required {
        text.push_str(" required=\"true()\" jr:requiredMsg=\"This question must be answered\"");
    }
    if let Some(constraint) = constraint(column) {
        let _ = write!(
            text,
            " constraint=\"{}\" jr:constraintMsg=\"{}\"",
            xml_text(&constraint.condition),
            xml_text(&constraint.message)
        );
    }
    text.push_str("/>\n");
}

/// What the phone shows, and where the answer goes.
pub(super) fn write_control(column: &Column, text: &mut String) {
    let words = choices(&column.value);
    let control = if words.is_some() { "select1" } else { "input" };
    let _ = write!(
        text,
        "    <{control} ref=\"/data/{}\">\n      <label>{}</label>\n      <hint>{}</hint>\n",
        column.name,
        xml_text(&question_label(column)),
        xml_text(column.description)
    );
    for word in words.unwrap_or_default() {
        let _ = writeln!(
            text,
            "      <item><label>{}</label><value>{word}</value></item>",
            xml_text(&in_words(word))
        );
    }
    let _ = writeln!(text, "    </{control}>");
}
